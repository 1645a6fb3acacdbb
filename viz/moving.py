"""A stage for motion: each body's meshes are made once, afterwards only its pose changes.

Nothing is kept per frame, so that an hour's recording needs no more memory than a second's.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np

from drytouch.sim.scene.bodies import Body
from drytouch.sim.scene.shapes import Vector
from drytouch.viz import look, opengl
from drytouch.viz.overlay import Overlay
from drytouch.viz.poses import Pose, matrix_of
from drytouch.viz.view import View

CACHE = 64
"""Versions of bodies kept ready; a run that changes more of them makes them again."""


class _Cast(NamedTuple):
    """The actors of one version of a body."""

    actors: tuple[Any, ...]
    kind: str


class MovingStage:
    """Draws poses from a view. ``size``: pixels of the picture; ``plotter``: an own one to use.

    ``scale``: by how much the picture is larger than it will be shown.
    """

    def __init__(self, size: tuple[int, int], plotter: Any = None, scale: float = 1.0) -> None:
        if plotter is None:
            opengl.require()
        import pyvista

        self.size = size
        self._pyvista = pyvista
        self._own = plotter is None
        self.plotter: Any = plotter or pyvista.Plotter(
            off_screen=True, window_size=list(size), lighting="none"
        )
        self._casts: dict[tuple[str, int], _Cast] = {}
        self.view: View | None = None
        self._bytes: Any = None
        self._overlay = Overlay(self.plotter, scale)
        self._light()

    def _light(self) -> None:
        # One light and a flat ground draw twice as fast in software as the stills' three lights;
        # off the axis of the eye, so that round things look round.
        self.plotter.add_light(
            self._pyvista.Light(
                position=(-0.55, 0.8, 1.0), intensity=0.86, light_type="camera light"
            )
        )
        self.plotter.set_background(look.BACKGROUND_LOW)
        if self._own:
            # The movie is scaled down from a larger picture, which smooths it at less cost.
            self.plotter.ren_win.SetMultiSamples(0)

    def show(
        self,
        poses: dict[str, Pose],
        view: View | None,
        hidden: Iterable[str] = (),
        believed: Sequence[Pose] = (),
    ) -> None:
        """Put everything where it belongs; ``view`` None leaves the camera where it is.

        ``hidden``: kinds of bodies to leave out; ``believed``: what to outline where it is taken
        to be.
        """
        self._overlay.show(believed)
        shown = set()
        unseen = set(hidden)
        for name, pose in poses.items():
            if pose.body.kind in unseen:
                continue
            key = (name, hash(pose.body.parts))
            if key not in self._casts:
                self._make(key, pose.body)
            shown.add(key)
            matrix = matrix_of(pose)
            for actor in self._casts[key].actors:
                actor.user_matrix = matrix
                actor.visibility = True
        for key, cast in self._casts.items():
            if key not in shown:
                for actor in cast.actors:
                    actor.visibility = False
        self._trim(shown)
        if view is not None:
            self.look_from(view)

    def _trim(self, shown: set[tuple[str, int]]) -> None:
        for key in [key for key in self._casts if key not in shown][: -CACHE or None]:
            for actor in self._casts.pop(key).actors:
                self.plotter.remove_actor(actor, render=False)

    def _make(self, key: tuple[str, int], body: Body) -> None:
        from drytouch.viz.meshes import local_parts
        from drytouch.viz.stage import sharp_edges

        actors = []
        for name, mesh in local_parts(body):
            material = look.MATERIALS[name]
            actors.append(
                self.plotter.add_mesh(
                    mesh,
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
            )
            edges = sharp_edges(mesh)
            if material.edges and edges.n_points:
                actors.append(
                    self.plotter.add_mesh(
                        edges,
                        color=look.EDGE_LINE,
                        line_width=1.0,
                        lighting=False,
                        reset_camera=False,
                        show_scalar_bar=False,
                        render=False,
                    )
                )
        self._casts[key] = _Cast(tuple(actors), body.kind)

    def look_from(self, view: View) -> None:
        """Put the camera there."""
        self.view = view
        camera = self.plotter.camera
        camera.focal_point, camera.position, camera.up = view.focus, view.eye, (0.0, 0.0, 1.0)
        camera.view_angle = look.VIEW_ANGLE_DEG
        distance = math.dist(view.eye, view.focus)
        camera.clipping_range = (distance * 0.05, distance * 8.0)

    def pixels(self) -> Any:
        """Render; the picture as an array (height, width, 3) of bytes, good until the next."""
        from vtkmodules.util.numpy_support import vtk_to_numpy
        from vtkmodules.vtkCommonCore import vtkUnsignedCharArray

        width, height = self.size
        window = self.plotter.ren_win
        window.Render()
        if self._bytes is None:
            self._bytes = vtkUnsignedCharArray()
        window.GetPixelData(0, 0, width - 1, height - 1, 0, self._bytes, 0)
        flat: Any = vtk_to_numpy(self._bytes)  # type: ignore[no-untyped-call]
        return flat.reshape(height, width, 3)[::-1]

    def project(self, point: Vector) -> tuple[float, float]:
        """Where a point (mm) is in the picture: pixels from the left and from the top."""
        assert self.view is not None
        return project(self.view, self.size, point)

    def close(self) -> None:
        """Give the graphics memory back."""
        if self._own:
            self.plotter.close()


def project(view: View, size: Sequence[float], point: Vector) -> tuple[float, float]:
    """Where a point (mm) falls in a picture of ``size`` pixels, from its left and top."""
    eye, focus = np.array(view.eye), np.array(view.focus)
    forward = (focus - eye) / np.linalg.norm(focus - eye)
    right = np.cross(forward, (0.0, 0.0, 1.0))
    right /= np.linalg.norm(right)
    up = np.cross(right, forward)
    offset = np.array(point) - eye
    depth = max(float(offset @ forward), 1e-6)
    half = math.tan(math.radians(look.VIEW_ANGLE_DEG / 2)) * depth
    width, height = size
    return (
        width / 2 + float(offset @ right) / half * height / 2,
        height / 2 - float(offset @ up) / half * height / 2,
    )
