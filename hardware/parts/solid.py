"""The few solids that all parts are made of, and what a finished part measures.

Millimetres throughout. Circles have SEGMENTS sides, so a hole of diameter D is narrower by at most
D (1 - cos(pi / SEGMENTS)): 0.01 mm on 22 mm.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import trimesh
from attrs import frozen
from manifold3d import CrossSection, Manifold

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

SEGMENTS = 96
# Two faces that look at one another within this cosine are the sides of a wall; a sharper corner is an edge.
_OPPOSED = 0.85
_HAIR_MM = 1e-4


def box(size: tuple[float, float, float], centre: tuple[float, float, float]) -> Manifold:
    """A box about its centre."""
    return Manifold.cube(size, center=True).translate(centre)


def rod(diameter_mm: float, length_mm: float, *, segments: int = SEGMENTS) -> Manifold:
    """A cylinder on the z axis, from z = 0 up."""
    return Manifold.cylinder(length_mm, diameter_mm / 2, circular_segments=segments)


def cross_rod(diameter_mm: float, length_mm: float, *, segments: int = SEGMENTS) -> Manifold:
    """A cylinder on the y axis about the origin."""
    upright = Manifold.cylinder(length_mm, diameter_mm / 2, circular_segments=segments, center=True)
    return upright.rotate((90.0, 0.0, 0.0))


def long_hole(diameter_mm: float, travel_mm: float, depth_mm: float) -> Manifold:
    """A hole for a screw that can be shifted by travel_mm in x: along z from -depth_mm up to depth_mm."""
    end = CrossSection.circle(diameter_mm / 2, SEGMENTS // 2)
    shape = CrossSection.batch_hull([end.translate((-travel_mm / 2, 0.0)), end.translate((travel_mm / 2, 0.0))])
    return shape.extrude(2 * depth_mm).translate((0.0, 0.0, -depth_mm))


def polygon(points: Iterable[tuple[float, float]]) -> CrossSection:
    """A closed outline, counter-clockwise."""
    return CrossSection([np.array(list(points), dtype=np.float64)])


@frozen
class Measures:
    """What a part is: closed surface, in how many pieces, volume, outer size, and the thinnest wall that was found.

    least_wall_mm is None where no two sides of a wall are opposed.
    """

    watertight: bool
    pieces: int
    volume_mm3: float
    size_mm: tuple[float, float, float]
    least_wall_mm: float | None


def as_mesh(part: Manifold) -> trimesh.Trimesh:
    """The triangles of a part, as they are exported."""
    mesh = part.to_mesh()
    return trimesh.Trimesh(mesh.vert_properties[:, :3], mesh.tri_verts, process=False)


def as_stl(part: Manifold) -> bytes:
    """A part as a binary STL file, in mm."""
    content = as_mesh(part).export(file_type="stl")
    assert isinstance(content, bytes)  # noqa: S101 - the library's promise for this format
    return content


def measured(part: Manifold, *, rays: int = 400, seed: int = 1) -> Measures:
    """Measures of a part. The wall is looked for with that many rays from points drawn evenly over the surface."""
    mesh = as_mesh(part)
    size = mesh.extents
    return Measures(
        watertight=bool(mesh.is_watertight and mesh.is_winding_consistent),
        pieces=len(part.decompose()),
        volume_mm3=float(part.volume()),
        size_mm=(float(size[0]), float(size[1]), float(size[2])),
        least_wall_mm=_least_wall_mm(part, mesh, rays, seed),
    )


def _least_wall_mm(part: Manifold, mesh: trimesh.Trimesh, rays: int, seed: int) -> float | None:
    """From inside each point straight through the material to the face opposite."""
    points, faces = trimesh.sample.sample_surface(mesh, rays, seed=seed)
    inwards: NDArray[np.float64] = -mesh.face_normals[faces]
    reach = float(np.linalg.norm(mesh.extents)) + 1
    walls = []
    for point, inward in zip(points, inwards, strict=True):
        hits = part.ray_cast(point + _HAIR_MM * inward, point + reach * inward)
        if hits and float(np.dot(hits[0].normal, inward)) > _OPPOSED:
            walls.append(hits[0].distance * (reach - _HAIR_MM) + _HAIR_MM)
    return min(walls) if walls else None
