"""Outlines over a moving picture: drawn last, so that nothing solid hides what is believed."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from drytouch.viz import look
from drytouch.viz.poses import Pose, matrix_of

LINE_PIXELS = 2.2
"""As thick as a still's outline."""


class Overlay:
    """A second layer of a plotter's window, which looks through the same camera."""

    def __init__(self, plotter: Any, scale: float = 1.0) -> None:
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self._camera = plotter.camera
        self._pixels = LINE_PIXELS * scale
        self._layer = vtkRenderer()
        self._layer.SetLayer(1)
        self._layer.InteractiveOff()
        self._layer.SetActiveCamera(self._camera)
        plotter.ren_win.SetNumberOfLayers(2)
        plotter.ren_win.AddRenderer(self._layer)
        self._drawn: dict[tuple[str, int], tuple[Any, ...]] = {}

    def show(self, poses: Sequence[Pose]) -> None:
        """Outline these, and nothing else."""
        shown = set()
        for pose in poses:
            key = (pose.body.id, hash(pose.body.parts))
            if key not in self._drawn:
                self._drawn[key] = self._made(pose)
            shown.add(key)
            matrix = matrix_of(pose)
            for actor in self._drawn[key]:
                actor.SetUserMatrix(_vtk_matrix(matrix))
                actor.SetVisibility(True)
        for key, actors in self._drawn.items():
            if key not in shown:
                for actor in actors:
                    actor.SetVisibility(False)

    def _made(self, pose: Pose) -> tuple[Any, ...]:
        from vtkmodules.vtkCommonExecutionModel import vtkTrivialProducer

        from drytouch.viz.meshes import local_parts
        from drytouch.viz.stage import sharp_edges

        actors = []
        for _, mesh in local_parts(pose.body):
            edges = sharp_edges(mesh)
            if edges.n_points:
                source = vtkTrivialProducer()
                source.SetOutput(edges)
                actors.append(self._actor(source.GetOutputPort()))
            actors.append(self._contour(mesh))
        return tuple(actors)

    def _contour(self, mesh: Any) -> Any:
        """Where the surface turns away from the eye; found anew whenever the camera has moved."""
        from vtkmodules.vtkFiltersHybrid import vtkPolyDataSilhouette

        finder = vtkPolyDataSilhouette()
        # Points that were split at sharp edges are joined again: an edge needs both its faces.
        finder.SetInputData(mesh.clean())
        finder.SetCamera(self._camera)
        finder.SetEnableFeatureAngle(0)
        actor = self._actor(finder.GetOutputPort())
        finder.SetProp3D(actor)
        return actor

    def _actor(self, port: Any) -> Any:
        from vtkmodules.vtkRenderingCore import vtkActor, vtkPolyDataMapper

        mapper = vtkPolyDataMapper()
        mapper.SetInputConnection(port)
        actor = vtkActor()
        actor.SetMapper(mapper)
        ink = actor.GetProperty()
        red, green, blue = (int(look.BELIEF[i : i + 2], 16) / 255.0 for i in (1, 3, 5))
        ink.SetColor(red, green, blue)
        ink.SetLineWidth(self._pixels)
        ink.LightingOff()
        self._layer.AddActor(actor)
        return actor


def _vtk_matrix(matrix: Any) -> Any:
    from vtkmodules.vtkCommonMath import vtkMatrix4x4

    found = vtkMatrix4x4()
    found.DeepCopy([float(value) for row in matrix for value in row])
    return found
