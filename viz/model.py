"""An animated 3D model (glTF 2.0, .glb) of a recording, for any viewer that reads that standard.

Lengths are metres and Y points up, as the standard has it: one root turns our Z-up millimetres.
Motion is sampled so that straight interpolation stays within half a micrometre of the recording;
what comes and goes does so by a stepped scale of 1 or 0.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from drytouch.sim.errors import DrytouchError, InputError
from drytouch.sim.extras import install_hint
from drytouch.sim.recording import Recording
from drytouch.sim.scenario.files import write_atomically
from drytouch.sim.scene.bodies import Body
from drytouch.viz import look, words
from drytouch.viz.poses import TURNS_WITH_SPINDLE, bends, setter_of

ALLOWED_MM = 0.4e-3
"""Furthest that an interpolated position may be from the true one: half of what is promised."""
LEAST_STEP_S = 1e-5
"""Below this float32 times near a minute can't be told apart any more."""
MAX_SAMPLES = 400_000
HIDDEN, SHOWN = (0.0, 0.0, 0.0), (1.0, 1.0, 1.0)
FLOAT, UINT = 5126, 5125
ARRAY_BUFFER, ELEMENT_BUFFER = 34962, 34963


class ModelMissing(DrytouchError):
    """The library that writes models is not installed. Arguments: none."""

    def __init__(self) -> None:
        super().__init__()

    def __str__(self) -> str:
        return f"3D models need pygltflib, which is not installed\n  fix: {install_hint('model')}"


def write_model(recording: Recording, path: str | Path) -> Path:
    """Write the recording as an animated .glb; gives back its path.

    Raises ``ModelMissing`` without pygltflib, InputError when the file can't be written or the
    recording is too long to be sampled.
    """
    try:
        import pygltflib
    except ImportError:
        raise ModelMissing from None
    writer = _Writer(pygltflib)
    writer.fill(recording)
    write_atomically(path, writer.to_bytes())
    return Path(path)


def linear(colour: str) -> tuple[float, float, float]:
    """A colour "#rrggbb" as linear light 0-1 (the sRGB transfer curve, IEC 61966-2-1)."""
    parts = [int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]
    r, g, b = (p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts)
    return r, g, b


def sample(
    at: Callable[[float], tuple[float, ...]], stops: list[float]
) -> tuple[list[float], list[tuple[float, ...]]]:
    """Times and values whose straight interpolation is within ``ALLOWED_MM`` of ``at``.

    Times are float32 already, and the values are taken at those very times.
    """
    marks: list[float] = []
    for stop in (float(np.float32(t)) for t in stops):
        if not marks or stop > marks[-1]:
            marks.append(stop)
    times, values = [marks[0]], [at(marks[0])]
    for end in marks[1:]:
        _refine(at, times[-1], values[-1], end, at(end), times, values, 0)
        if len(times) > MAX_SAMPLES:
            raise InputError(
                "the recording moves too long for a model", fix="make a movie or a page instead"
            )
    return _thinned(times, values)


def _refine(
    at: Callable[[float], tuple[float, ...]], t0: float, a: tuple[float, ...], t1: float,
    b: tuple[float, ...], times: list[float], values: list[tuple[float, ...]], depth: int,
) -> None:  # fmt: skip
    middle = float(np.float32((t0 + t1) / 2))
    if t1 - t0 > LEAST_STEP_S and t0 < middle < t1 and depth < 20:
        off = max(
            abs(value - (u + (v - u) * (t - t0) / (t1 - t0)))
            # Thirds as well: the error of a cubic may vanish in the middle.
            for t in (t0 + (t1 - t0) * 0.3, middle, t0 + (t1 - t0) * 0.7)
            for value, u, v in zip(at(t), a, b, strict=True)
        )
        if off > ALLOWED_MM:
            value = at(middle)
            _refine(at, t0, a, middle, value, times, values, depth + 1)
            _refine(at, middle, value, t1, b, times, values, depth + 1)
            return
    times.append(t1)
    values.append(b)


def _thinned(
    times: list[float], values: list[tuple[float, ...]]
) -> tuple[list[float], list[tuple[float, ...]]]:
    """Without samples in the midst of a rest."""
    keep = [
        i
        for i in range(len(times))
        if i in (0, len(times) - 1) or not values[i - 1] == values[i] == values[i + 1]
    ]
    return [times[i] for i in keep], [values[i] for i in keep]


class _Writer:
    def __init__(self, library: Any) -> None:
        self.lib = library
        self.gltf = library.GLTF2(
            asset=library.Asset(version="2.0", generator="drytouch"),
            scene=0,
            buffers=[library.Buffer(byteLength=0)],
        )
        self.blob = bytearray()
        self.animation = library.Animation(name="run", channels=[], samplers=[])
        self._materials: dict[str, int] = {}
        self._meshes: dict[tuple[Any, ...], int] = {}
        self._times: dict[bytes, int] = {}

    def fill(self, recording: Recording) -> None:
        lib, gltf = self.lib, self.gltf
        half = math.sqrt(0.5)
        root = lib.Node(
            name=words.title(recording), rotation=[-half, 0.0, 0.0, half], scale=[1e-3] * 3,
            children=[],
        )  # fmt: skip
        gltf.nodes.append(root)
        gltf.scenes = [lib.Scene(name="machine", nodes=[0])]
        stops = bends(recording)
        for name, factors in recording.data["links"].items():
            index = self._node(root, name)
            fx, fy, fz = factors

            def at(t: float, fx: float = fx, fy: float = fy, fz: float = fz) -> tuple[float, ...]:
                x, y, z = recording.position_at(t)
                return fx * x, fy * y, fz * z

            if recording.lines and any(factors):
                self._moves(index, "translation", *sample(at, stops), "LINEAR")
            else:
                gltf.nodes[index].translation = list(at(0.0))
            self._bodies(recording, name, gltf.nodes[index], stops)
        if self.animation.channels:
            gltf.animations = [self.animation]
        gltf.asset.extras = {
            "caution": look.CAUTION, "unit": "metre", "scenario": words.title(recording),
        }  # fmt: skip

    def _node(self, parent: Any, name: str, mesh: int | None = None) -> int:
        self.gltf.nodes.append(self.lib.Node(name=name, mesh=mesh, children=[]))
        index = len(self.gltf.nodes) - 1
        parent.children.append(index)
        return index

    def _bodies(self, recording: Recording, link: str, parent: Any, stops: list[float]) -> None:
        """A node for each version of each body that is ever on this link."""
        rows: dict[tuple[str, int], list[Any]] = {}
        state: dict[str, Any] = {}
        for t, _, body, pose in recording.data["scene"]:
            before = state.get(body)
            key = None if pose is None else (body, pose["geometry"])
            if before is not None and before != key and before in rows:
                rows[before].append((t, None))
            state[body] = None
            if pose is not None and pose["link"] == link:
                state[body] = key
                rows.setdefault((body, pose["geometry"]), []).append((t, pose))
        first = {item.id: item.body for item in self._bodies_ever(recording)}
        for (body, geometry), changes in rows.items():
            solid = first.get(f"{body}#{geometry}")
            if solid is not None:
                self._body(recording, parent, body, solid, changes, stops)

    def _bodies_ever(self, recording: Recording) -> list[Any]:
        found, seen = [], set()
        for t, _, body, pose in recording.data["scene"]:
            if pose is None or (body, pose["geometry"]) in seen:
                continue
            for item in recording.bodies_at(t):
                if item.id == body:
                    seen.add((body, pose["geometry"]))
                    found.append(item._replace(id=f"{body}#{pose['geometry']}"))
        return found

    def _body(
        self, recording: Recording, parent: Any, name: str, body: Body, changes: list[Any],
        stops: list[float],
    ) -> None:  # fmt: skip
        index = self._node(parent, name, self._mesh(body))
        node = self.gltf.nodes[index]
        if changes[0][0] > 0.0 or len(changes) > 1:
            times = [0.0] if changes[0][0] > 0.0 else []
            scales = [HIDDEN] if times else []
            for t, pose in changes:
                times.append(t)
                scales.append(HIDDEN if pose is None else SHOWN)
            if len(set(scales)) > 1:
                self._moves(index, "scale", *_last_of_each(times, scales), "STEP")
        placed = [(t, pose) for t, pose in changes if pose is not None]

        def offset(t: float) -> tuple[float, ...]:
            there = [pose for time, pose in placed if time <= t] or [placed[0][1]]
            x, y, z = there[-1]["offset"]
            return x, y, z - (recording.pad_depth_at(setter_of(name), t) if body.soft else 0.0)

        if body.soft and setter_of(name) in recording.setters:
            self._moves(index, "translation", *_jumps(offset, placed, stops), "LINEAR")
        elif len({tuple(pose["offset"]) for _, pose in placed}) > 1:
            steps = [(max(t, 0.0), tuple(pose["offset"])) for t, pose in placed]
            self._moves(
                index, "translation", *_last_of_each(*map(list, zip(*steps, strict=True))), "STEP"
            )
        else:
            node.translation = list(offset(placed[0][0]))
        self._turn(recording, index, body, placed)

    def _turn(self, recording: Recording, index: int, body: Body, placed: list[Any]) -> None:
        def quaternion(degrees: float) -> tuple[float, ...]:
            half = math.radians(degrees) / 2
            return 0.0, 0.0, math.sin(half), math.cos(half)

        def turn(t: float) -> float:
            there = [pose for time, pose in placed if time <= t] or [placed[0][1]]
            return float(there[-1]["turn_deg"])

        rows = recording.data["spindle"] if body.kind in TURNS_WITH_SPINDLE else []
        times = sorted({0.0, *(t for t, _ in placed), *(row[0] for row in rows)})
        marks = [(t, quaternion(turn(t))) for t in times]
        ends = [*(row[0] for row in rows), recording.duration_s][1:]
        for (start, _, rpm), after in zip(rows, ends if rows else [], strict=True):
            if rpm == 0.0 or after <= start:
                continue
            # A third of a turn a sample: the shorter way round is then the way it turns.
            step = 20.0 / abs(rpm)
            count = int((after - start) / step)
            if count > MAX_SAMPLES // 4:
                raise InputError(
                    "the spindle turns too long for a model", fix="make a movie or a page instead"
                )
            for n in range(1, count + 1):
                t = start + n * step
                marks.append((t, quaternion(turn(t) + rpm * 6.0 * (t - start))))
        if len({value for _, value in marks}) == 1:
            self.gltf.nodes[index].rotation = list(marks[0][1])
            return
        marks.sort(key=lambda mark: mark[0])
        turning = any(row[2] for row in rows)
        split = _last_of_each([t for t, _ in marks], [value for _, value in marks])
        self._moves(index, "rotation", *split, "LINEAR" if turning else "STEP")

    def _mesh(self, body: Body) -> int:
        key = (body.kind, tuple((p.shape, p.at, p.turn_deg, p.feature) for p in body.parts))
        if key in self._meshes:
            return self._meshes[key]
        from drytouch.viz.meshes import local_parts

        primitives = []
        for name, mesh in local_parts(body):
            faces = np.asarray(mesh.faces.reshape(-1, 4)[:, 1:], np.uint32)
            points = np.asarray(mesh.points, np.float32)
            normals = np.asarray(mesh.point_data["Normals"], np.float32)
            lengths = np.linalg.norm(normals, axis=1, keepdims=True)
            upright = np.array([[0.0, 0.0, 1.0]], np.float32)
            normals = np.where(lengths > 1e-6, normals / np.maximum(lengths, 1e-6), upright)
            attributes = self.lib.Attributes(
                POSITION=self._accessor(points, "VEC3", ARRAY_BUFFER, bounds=True),
                NORMAL=self._accessor(normals.astype(np.float32), "VEC3", ARRAY_BUFFER),
            )
            primitives.append(
                self.lib.Primitive(
                    attributes=attributes,
                    indices=self._accessor(faces.reshape(-1), "SCALAR", ELEMENT_BUFFER),
                    material=self._material(name),
                )
            )
        self.gltf.meshes.append(self.lib.Mesh(name=body.id, primitives=primitives))
        self._meshes[key] = len(self.gltf.meshes) - 1
        return self._meshes[key]

    def _material(self, name: str) -> int:
        if name not in self._materials:
            material = look.MATERIALS[name]
            clear = material.opacity < 1.0
            self.gltf.materials.append(
                self.lib.Material(
                    name=look.LABELS.get(name, name),
                    pbrMetallicRoughness=self.lib.PbrMetallicRoughness(
                        baseColorFactor=[*linear(material.colour), material.opacity],
                        metallicFactor=0.0,
                        # Ward's and Blinn's highlights are about as wide at this roughness.
                        roughnessFactor=round(math.sqrt(2.0 / (material.gloss + 2.0)), 3),
                    ),
                    alphaMode="BLEND" if clear else "OPAQUE",
                    alphaCutoff=None,
                    doubleSided=clear,
                )
            )
            self._materials[name] = len(self.gltf.materials) - 1
        return self._materials[name]

    def _moves(
        self, node: int, path: str, times: list[float], values: list[Any], how: str
    ) -> None:  # fmt: skip
        lib = self.lib
        stamps = np.asarray(times, np.float32)
        key = stamps.tobytes()
        if key not in self._times:
            self._times[key] = self._accessor(stamps, "SCALAR", None, bounds=True)
        kind = "VEC4" if path == "rotation" else "VEC3"
        output = self._accessor(np.asarray(values, np.float32), kind, None)
        self.animation.samplers.append(
            lib.AnimationSampler(input=self._times[key], output=output, interpolation=how)
        )
        target = lib.AnimationChannelTarget(node=node, path=path)
        sampler = len(self.animation.samplers) - 1
        self.animation.channels.append(lib.AnimationChannel(sampler=sampler, target=target))

    def _accessor(self, data: Any, kind: str, target: int | None, bounds: bool = False) -> int:
        lib, gltf = self.lib, self.gltf
        raw = np.ascontiguousarray(data).tobytes()
        gltf.bufferViews.append(
            lib.BufferView(buffer=0, byteOffset=len(self.blob), byteLength=len(raw), target=target)
        )
        # Every component here is four bytes, so each view starts aligned.
        self.blob += raw
        accessor = lib.Accessor(
            bufferView=len(gltf.bufferViews) - 1,
            componentType=UINT if data.dtype == np.uint32 else FLOAT,
            count=len(data),
            type=kind,
        )
        if bounds:
            rows = data.reshape(len(data), -1)
            accessor.min = [float(v) for v in rows.min(axis=0)]
            accessor.max = [float(v) for v in rows.max(axis=0)]
        gltf.accessors.append(accessor)
        return len(gltf.accessors) - 1

    def to_bytes(self) -> bytes:
        for node in self.gltf.nodes:
            node.children = node.children or None
        self.gltf.buffers[0].byteLength = len(self.blob)
        self.gltf.set_binary_blob(bytes(self.blob))
        return b"".join(self.gltf.save_to_bytes())


def _last_of_each(times: list[float], values: list[Any]) -> tuple[list[float], list[Any]]:
    """Strictly rising float32 times; of several values at one time the last counts."""
    kept: dict[float, Any] = {}
    for t, value in zip(times, values, strict=True):
        kept[float(np.float32(t))] = value
    return list(kept), list(kept.values())


def _jumps(
    offset: Callable[[float], tuple[float, ...]], placed: list[Any], stops: list[float]
) -> tuple[list[float], list[tuple[float, ...]]]:
    """A pad's way; where its setter was moved it jumps within the shortest time there is."""
    times, values = sample(offset, stops)
    for t, _ in placed[1:]:
        stamp = np.float32(t)
        before = float(np.nextafter(stamp, np.float32(0.0)))
        index = next((i for i, time in enumerate(times) if time >= float(stamp)), None)
        if index is not None and index > 0 and times[index - 1] < before:
            times.insert(index, before)
            values.insert(index, offset(before))
    return times, values
