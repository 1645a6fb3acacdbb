"""Meshes from STL files, checked at the door. The file's length unit must be said: STL has none.

Layout of the binary form: an 80-byte header, a little-endian count, then 50 bytes a triangle (a
normal, three corners, two spare bytes), as published with the format in 1988.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from drytouch.sim.errors import InputError
from drytouch.sim.scene.shapes import Mesh

MM_PER_UNIT = {"mm": 1.0, "inch": 25.4}
# Contact with a mesh asks each near triangle; more than this make a question last seconds.
MAXIMUM_TRIANGLES = 200_000
# Nothing smaller than 1 mm or larger than 5 m stands on a mill: the unit is probably wrong.
SMALLEST_MM, LARGEST_MM = 1.0, 5000.0
_HEADER_BYTES, _TRIANGLE_BYTES = 84, 50

Corners = npt.NDArray[np.float64]


def read_stl(path: str | Path, units: str) -> Mesh:
    """A watertight mesh, mm, from an ASCII or binary STL file drawn in ``units`` (mm or inch).

    Raises ``InputError`` with file and fix: unit not stated, missing, empty or truncated file,
    coordinates that are no numbers, more than 200,000 triangles (told before they are read), a
    surface that is not closed, or a size that no workpiece or fixture has.
    """
    file = str(path)
    scale = _scale(units, file)
    corners = _read(Path(path), file) * scale
    if not np.isfinite(corners).all():
        bad = int((~np.isfinite(corners)).any(axis=(1, 2)).sum())
        raise InputError(
            f"{bad} of {len(corners)} triangles have a corner that is not a finite number",
            file,
            fix="export the mesh again",
        )
    _check_size(corners, units, file)
    return _closed(corners, file)


def _scale(units: str, file: str) -> float:
    if units not in MM_PER_UNIT:
        said = f"is {units!r}" if units else "is not stated"
        raise InputError(
            f"the mesh's length unit {said}; an STL file does not say it itself",
            file,
            "units",
            fix='set units = "mm" or units = "inch", as the mesh was drawn',
        )
    return MM_PER_UNIT[units]


def _read(path: Path, file: str) -> Corners:
    try:
        size = path.stat().st_size
        with path.open("rb") as stream:
            return _read_stream(stream, size, file)
    except OSError as error:
        raise InputError(
            f"can't be read: {error.strerror or error}", file, fix="check the path"
        ) from error


def _read_stream(stream: BinaryIO, size: int, file: str) -> Corners:
    if size == 0:
        raise InputError("the file is empty", file, fix="export the mesh again")
    head = stream.read(_HEADER_BYTES)
    count = int.from_bytes(head[80:84], "little") if len(head) == _HEADER_BYTES else -1
    # Some writers begin a binary file with "solid" too: the size decides, then the word.
    if size == _HEADER_BYTES + _TRIANGLE_BYTES * count:
        _check_count(count, file)
        return _binary(stream.read(), count)
    if head.lstrip()[:5].lower() == b"solid":
        return _ascii(stream, head, size, file)
    if count < 0:
        raise InputError(
            f"{size} bytes are no STL file; expected 84 or more",
            file,
            fix="export the mesh as STL, ASCII or binary",
        )
    present = (size - _HEADER_BYTES) // _TRIANGLE_BYTES
    if count > 100 * max(present, 1):
        # No download breaks off that early: these four bytes were never a count.
        raise InputError(
            f"the file is no STL: its size, {size} bytes, fits neither an ASCII nor a binary one",
            file,
            fix="export the mesh as STL, ASCII or binary",
        )
    raise InputError(
        f"the file announces {count} triangles and holds {present}: it is cut short or damaged",
        file,
        fix="copy or export the file again",
    )


def _check_count(count: int, file: str) -> None:
    if count > MAXIMUM_TRIANGLES:
        raise InputError(
            f"{count} triangles; expected at most {MAXIMUM_TRIANGLES}",
            file,
            fix="export it coarser, or reduce it: 0.01 mm is fine enough for a fixture",
        )
    if count == 0:
        raise InputError("the file holds no triangles", file, fix="export the mesh again")


def _binary(data: bytes, count: int) -> Corners:
    layout = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    return np.frombuffer(data, layout, count)["corners"].astype(np.float64)


def _ascii(stream: BinaryIO, head: bytes, size: int, file: str) -> Corners:
    # A rough count from the size refuses a huge file before it is read.
    if size > MAXIMUM_TRIANGLES * 2000:
        _check_count(size // 300, file)
    numbers: list[list[float]] = []
    facets, ended = 0, False
    for line, raw in enumerate((head + stream.read()).splitlines(), 1):
        words = raw.split()
        if not words:
            continue
        if words[0].lower() == b"vertex":
            numbers.append(_vertex(words, line, file))
        elif words[0].lower() == b"endfacet":
            facets += 1
            if facets > MAXIMUM_TRIANGLES:
                _check_count(facets, file)
        elif words[0].lower() == b"endsolid":
            ended = True
    if not ended or len(numbers) != 3 * facets:
        raise InputError(
            f"{len(numbers)} corners in {facets} finished triangles, "
            f"{'with' if ended else 'without'} an end: the file is cut short or damaged",
            file,
            fix="copy or export the file again",
        )
    _check_count(facets, file)
    return np.array(numbers).reshape(-1, 3, 3)


def _vertex(words: list[bytes], line: int, file: str) -> list[float]:
    try:
        x, y, z = (float(word) for word in words[1:])
    except ValueError:
        raise InputError(
            f"expected 'vertex' and three numbers, found {b' '.join(words)!r}",
            file,
            line=line,
            fix="export the mesh again",
        ) from None
    return [x, y, z]


def _check_size(corners: Corners, units: str, file: str) -> None:
    flat = corners.reshape(-1, 3)
    spans = flat.max(axis=0) - flat.min(axis=0)
    largest = float(spans.max())
    if not SMALLEST_MM <= largest <= LARGEST_MM:
        shown = " x ".join(f"{span:.4g}" for span in spans)
        other = "inch" if units == "mm" else "mm"
        raise InputError(
            f"the mesh is {shown} mm with units = {units!r}; "
            f"expected {SMALLEST_MM:g} to {LARGEST_MM:g} mm",
            file,
            "units",
            fix=f"is it drawn in {other}? then set units = {other!r}; else scale the drawing",
        )


def _closed(corners: Corners, file: str) -> Mesh:
    flat = corners.reshape(-1, 3) + 0.0  # makes -0.0 the same corner as 0.0
    points, index = np.unique(flat, axis=0, return_inverse=True)
    triangles = index.reshape(-1, 3)
    # A triangle without area closes nothing, and has no edge of its own to be met by.
    a, b, c = triangles.T
    triangles = triangles[(a != b) & (b != c) & (c != a)]
    open_edges = _open_edges(triangles, len(points))
    if open_edges or len(triangles) < 4:
        raise InputError(
            f"the surface is not closed: {open_edges} of its edges are not shared by two "
            "triangles that run opposite ways",
            file,
            fix="close the holes and unify the normals in the drawing program, then export again",
        )
    p, q, r = points[triangles[:, 0]], points[triangles[:, 1]], points[triangles[:, 2]]
    volume = math.fsum(np.einsum("ij,ij->i", p, np.cross(q, r)).tolist())
    if volume < 0.0:
        triangles = triangles[:, ::-1]
    return Mesh(
        tuple((float(x), float(y), float(z)) for x, y, z in points),
        tuple((int(i), int(j), int(k)) for i, j, k in triangles),
    )


def _open_edges(triangles: npt.NDArray[np.intp], points: int) -> int:
    """Edges without a partner: each must be walked as often one way as the other."""
    begin = triangles.ravel()
    end = np.roll(triangles, -1, axis=1).ravel()
    forward, ways = np.unique(begin.astype(np.int64) * points + end, return_counts=True)
    backward, back = np.unique(end.astype(np.int64) * points + begin, return_counts=True)
    balance = dict(zip(forward.tolist(), ways.tolist(), strict=True))
    for key, count in zip(backward.tolist(), back.tolist(), strict=True):
        balance[key] = balance.get(key, 0) - count
    return int(sum(abs(count) for count in balance.values())) // 2
