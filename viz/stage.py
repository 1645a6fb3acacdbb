"""One off-screen plotter, used for picture after picture: bodies in, pixels and projection out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from drytouch.sim.scene.shapes import Vector
from drytouch.viz import look, opengl
from drytouch.viz.meshes import Solid
from drytouch.viz.view import View

OVERSAMPLING = 2
"""Drawn this much larger and scaled down: smooth edges, cheaper than multisampling in software."""


class Stage:
    """Draws solids from a view. ``size``: the picture's width and height in pixels."""

    def __init__(self, size: tuple[int, int]) -> None:
        opengl.require()
        import pyvista

        self.size = size
        self._pyvista = pyvista
        large = [size[0] * OVERSAMPLING, size[1] * OVERSAMPLING]
        self._plotter: Any = pyvista.Plotter(off_screen=True, window_size=large, lighting="none")
        self._lights()
        plotter: Any = self._plotter
        plotter.set_background(look.BACKGROUND_LOW, top=look.BACKGROUND)
        self._view: View | None = None

    def _lights(self) -> None:
        """A key light from the upper left, a fill from the right, and a weak one from the eye."""
        light = self._pyvista.Light
        for position, strength in (((-0.8, 1.1, 0.9), 0.56), ((1.0, 0.5, 0.7), 0.30)):
            self._plotter.add_light(
                light(position=position, intensity=strength, light_type="camera light")
            )
        self._plotter.add_light(light(light_type="headlight", intensity=0.38))

    def draw(self, solids: Sequence[Solid], view: View, ghosts: Sequence[Any] = ()) -> Any:
        """The picture as an array (height, width, 3) of bytes, oversampled.

        ``ghosts``: meshes drawn as outlines only, where they would be if nothing pressed them.
        """
        plotter = self._plotter
        plotter.clear_actors()
        self._view = view
        for solid in solids:
            self._add(solid, view)
        for mesh in ghosts:
            self._outline(mesh, view, look.INK_SOFT, 3.0)
        camera = plotter.camera
        camera.focal_point, camera.position, camera.up = view.focus, view.eye, (0.0, 0.0, 1.0)
        camera.view_angle = look.VIEW_ANGLE_DEG
        distance = math.dist(view.eye, view.focus)
        # Near and far by hand: the default cuts what it thinks is out of sight.
        camera.clipping_range = (distance * 0.05, distance * 8.0)
        plotter.render()
        return plotter.screenshot(return_img=True)

    def _add(self, solid: Solid, view: View) -> None:
        material = look.MATERIALS[solid.look]
        self._plotter.add_mesh(
            solid.mesh,
            color=material.colour,
            opacity=material.opacity,
            ambient=material.ambient,
            diffuse=material.diffuse,
            specular=material.specular,
            specular_power=material.gloss,
            smooth_shading=True,
            reset_camera=False,
            show_scalar_bar=False,
            render=False,
        )
        if material.edges:
            self._outline(solid.mesh, view, look.EDGE_LINE, 2.0)

    def _outline(self, mesh: Any, view: View, colour: str, width: float) -> None:
        """Sharp edges, and the contour as seen from the eye: reads well on a pale projector."""
        for lines in (sharp_edges(mesh), contour(mesh, view)):
            if lines.n_points:
                self._plotter.add_mesh(
                    lines, color=colour, line_width=width * OVERSAMPLING / 2, lighting=False,
                    reset_camera=False, show_scalar_bar=False, render=False,
                )  # fmt: skip

    def outline(self, mesh: Any) -> list[tuple[tuple[float, float], tuple[float, float]]]:
        """Its edges and contour in the picture, hidden ones too, as pairs of pixel positions."""
        assert self._view is not None
        pairs = []
        for lines in (sharp_edges(mesh), contour(mesh, self._view)):
            points = [self.project(tuple(point)) for point in lines.points]
            cells = lines.lines.reshape(-1, 3) if lines.n_cells else ()
            pairs += [(points[a], points[b]) for _, a, b in cells]
        return pairs

    def project(self, point: Vector) -> tuple[float, float]:
        """Where a point (mm) is in the picture: pixels from the left and from the top."""
        assert self._view is not None
        view = self._view
        eye, focus = np.array(view.eye), np.array(view.focus)
        forward = (focus - eye) / np.linalg.norm(focus - eye)
        right = np.cross(forward, (0.0, 0.0, 1.0))
        right /= np.linalg.norm(right)
        up = np.cross(right, forward)
        offset = np.array(point) - eye
        depth = max(float(offset @ forward), 1e-6)
        half = math.tan(math.radians(look.VIEW_ANGLE_DEG / 2)) * depth
        width, height = self.size
        x = width / 2 + float(offset @ right) / half * height / 2
        y = height / 2 - float(offset @ up) / half * height / 2
        return x, y

    def pixels_per_mm(self) -> float:
        """At the focus."""
        assert self._view is not None
        return self.size[1] / 2 / self._view.half_height_mm

    def close(self) -> None:
        """Give the graphics memory back."""
        self._plotter.close()


def sharp_edges(mesh: Any) -> Any:
    """Edges between faces that meet at an angle."""
    return mesh.extract_feature_edges(
        # Meshes come with their points split at sharp edges, which makes those boundaries.
        boundary_edges=True,
        feature_edges=False,
        non_manifold_edges=False,
        manifold_edges=False,
    )


def contour(mesh: Any, view: View) -> Any:
    """The lines where a closed surface turns away from the eye."""
    import pyvista
    from vtkmodules.vtkFiltersHybrid import vtkPolyDataSilhouette
    from vtkmodules.vtkRenderingCore import vtkCamera

    camera = vtkCamera()
    camera.SetPosition(*view.eye)
    camera.SetFocalPoint(*view.focus)
    finder = vtkPolyDataSilhouette()
    # Points that were split at sharp edges are joined again: here an edge needs both its faces.
    finder.SetInputData(mesh.clean())
    finder.SetCamera(camera)
    finder.SetEnableFeatureAngle(0)
    finder.Update()
    return pyvista.wrap(finder.GetOutput())
