"""Mass and centre of gravity of the laminate.

Terms:
    areal mass: g per m2 of one layer as laid and wetted.
    uptake: resin a core takes into its cut cells, per face.

A ply weighs its fibre plus the resin between the fibres: resin = density x (cured thickness -
thickness of the fibre alone), which with the thickness that follows from the fibre share is
fibre x (1 - Wf) / Wf with Wf the fibre share by mass (the arithmetic of ASTM D3171). Nothing beyond
the net line is counted: that is what stays after trimming. Overlaps of splices count twice, as they
are laid.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from plybook.geometry.rings import signed_area_mm2
from plybook.laminate.bevel import bevel_run_mm
from plybook.laminate.model import LaidLayer, LayerMass, Piece, PieceEdge
from plybook.spec.model import Cloth, Film, PartSpec, Resin
from plybook.surface.model import Face

DEFAULT_RESIN_G_CM3 = 1.15  # epoxy, where a cloth names no resin; from memory, typical
_GRID_POINTS = 12000


@dataclass(frozen=True)
class Mass:
    """Mass of the laminate, its centre in part axes, and what each layer weighs."""

    total_g: float
    centre_mm: np.ndarray
    layers: tuple[LayerMass, ...]


def ply_thickness_mm(cloth: Cloth) -> float:
    """Cured thickness from the areal weight: A / (fibre density x fibre volume share)."""
    return cloth.areal_g_m2 / (cloth.fibre_g_cm3 * 1000 * cloth.fibre_volume_share)


def resin_in_cloth_g_m2(cloth: Cloth, resin_g_cm3: float) -> float:
    """Resin in one m2 of cured ply with no voids, for its mass and for its cups.

    Where the card's thickness and fibre share disagree, the one that takes more resin holds: a
    cup may not fall short.
    """
    fibre_mm = cloth.areal_g_m2 / (cloth.fibre_g_cm3 * 1000)
    share = cloth.fibre_volume_share
    return resin_g_cm3 * 1000 * max(fibre_mm * (1 - share) / share, cloth.thickness_mm - fibre_mm)


def density_of(resin: Resin | None) -> float:
    """Density of a resin, or the usual one where a cloth names none, g/cm3."""
    return resin.density_g_cm3 if resin else DEFAULT_RESIN_G_CM3


def layer_areal_g_m2(layer: LaidLayer, spec: PartSpec) -> float:
    """Areal mass of one layer, g/m2, where it has its full thickness."""
    return math.fsum(_dry_and_resin_g_m2(layer, spec))


def _dry_and_resin_g_m2(layer: LaidLayer, spec: PartSpec) -> tuple[float, float]:
    """What one m2 of a layer weighs dry, and the resin it takes up."""
    materials = spec.materials
    match layer.kind:
        case "ply":
            cloth = materials.cloths[layer.material]
            density = density_of(materials.resins.get(cloth.resin))
            return cloth.areal_g_m2, resin_in_cloth_g_m2(cloth, density)
        case "core" | "insert":
            sheet = materials.cores[layer.material]
            return sheet.density_kg_m3 * layer.thickness_mm, 2 * sheet.resin_uptake_g_m2
        case "rod":
            return materials.rods[layer.material].density_g_cm3 * layer.thickness_mm * 1000, 0.0
        case "film":
            film = materials.consumables[layer.material]
            return film.areal_g_m2, film.resin_uptake_g_m2
    raise ValueError(f"unknown kind of layer: {layer.kind}")


def laminate_mass(
    layers: Sequence[LaidLayer], pieces: Sequence[Piece], face: Face, spec: PartSpec
) -> Mass:
    """Weigh the laminate and find its centre of gravity.

    Args:
        layers: as laid, first laid first.
        pieces: their pieces; splice overlaps and core bevels are taken from them.
        face: the mould face, for the place of every layer in space.
        spec: for materials; a film that is peeled off does not count.

    Returns:
        Mass in g and centre in part axes, mm; the origin and 0 g for an empty laminate.
    """
    net = shapely.Polygon(face.outline_mm, face.holes_mm)
    grid, normals, space = _grid(face, net)
    own: dict[str, list[Piece]] = {}
    for piece in pieces:
        own.setdefault(piece.layer, []).append(piece)
    peeled = {x.id for x in spec.layers if isinstance(x, Film) and x.removed_after}

    height = np.zeros(len(grid))
    masses: list[LayerMass] = []
    moment = np.zeros(3)
    seen: dict[bytes, tuple[np.ndarray, np.ndarray]] = {}
    for layer in layers:
        if layer.id in peeled:
            continue
        key = shapely.to_wkb(layer.region)
        if key not in seen:
            seen[key] = _spread(layer.region, grid, space, net, face)
        inside, middle = seen[key]
        weighs = _layer_mass(layer, own.get(layer.id, ()), net, spec)
        masses.append(weighs)
        centre = middle
        if inside.any():
            lift = height[inside] + layer.thickness_mm / 2
            centre = middle + (normals[inside] * lift[:, None]).mean(axis=0)
        moment += weighs.total_g * centre
        if layer.kind != "insert":
            height[inside] += layer.thickness_mm
    total = sum(weighs.total_g for weighs in masses)
    return Mass(total, moment / total if total else np.zeros(3), tuple(masses))


def _grid(face: Face, net: shapely.Polygon) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Evenly spread points of the face, their normals and their places in space."""
    low, high = face.outline_mm.min(axis=0), face.outline_mm.max(axis=0)
    pitch = float(np.sqrt(net.area / _GRID_POINTS))
    x, y = (np.arange(a + pitch / 2, b, pitch) for a, b in zip(low, high, strict=True))
    points = np.array(np.meshgrid(x, y)).reshape(2, -1).T
    shapely.prepare(net)
    points = points[shapely.contains_xy(net, *points.T)]
    return points, np.asarray(face.normals(points)), np.asarray(face.to_space(points))


def _spread(
    region: shapely.Geometry,
    grid: np.ndarray,
    space: np.ndarray,
    net: shapely.Polygon,
    face: Face,
) -> tuple[np.ndarray, np.ndarray]:
    """Which grid points a region holds, and its centroid on the face, part axes.

    The grid's mean is moved by what it misses of the exact centroid in the flat.
    """
    shapely.prepare(region)
    inside = shapely.intersects_xy(region, *grid.T) if len(grid) else np.zeros(0, bool)
    kept = shapely.intersection(region, net)
    point = region.representative_point() if kept.is_empty else kept.centroid
    centre = np.asarray(point.coords[0])
    if not inside.any():
        return inside, np.asarray(face.to_space(centre[None]))[0]
    miss = centre - grid[inside].mean(axis=0)
    step = np.vstack([centre, centre - miss])
    there, short = np.asarray(face.to_space(step))
    return inside, space[inside].mean(axis=0) + there - short


def _layer_mass(
    layer: LaidLayer, pieces: Sequence[Piece], net: shapely.Polygon, spec: PartSpec
) -> LayerMass:
    dry, resin = _dry_and_resin_g_m2(layer, spec)
    area = shapely.intersection(layer.region, net).area
    if layer.kind == "ply" and len(pieces) > 1:
        laid = [shapely.Polygon(p.laid_outline_mm).buffer(0).intersection(net) for p in pieces]
        area = max(area, sum(p.area for p in laid))
    if layer.kind != "core" or not pieces:
        return LayerMass(layer.id, dry * area / 1e6, resin * area / 1e6)
    sheet = spec.materials.cores[layer.material]
    volume = sum(core_volume_mm3(p) for p in pieces)
    uptake = sum(sheet.resin_uptake_g_m2 * (p.area_mm2 + _bag_area(p)) for p in pieces)
    return LayerMass(layer.id, volume * sheet.density_kg_m3 / 1e6, uptake / 1e6)


def core_volume_mm3(piece: Piece) -> float:
    """Volume of a panel with sloped edges.

    The section at a height is a second degree polynomial of it: its value on both sides of the
    sheet and its slope on the mould side (the length of every sloped edge times its run) give it.
    Holes are frusta.
    """
    t = piece.thickness_mm
    if piece.bag_side_outline_mm is None:
        return t * piece.area_mm2
    below = signed_area_mm2(piece.outline_mm)
    above = signed_area_mm2(piece.bag_side_outline_mm)
    taken = sum(
        _run_mm(edge, t) * float(np.hypot(*np.diff(edge.points_mm, axis=0).T).sum())
        for edge in piece.edges
    )
    volume = t * max(0.0, 2 * below / 3 + above / 3 - taken / 6)
    bag_holes = piece.bag_side_holes_mm or piece.holes_mm
    sizes = [sum(signed_area_mm2(h) for h in holes) for holes in (piece.holes_mm, bag_holes)]
    return volume - t * (sum(sizes) + math.sqrt(max(0.0, sizes[0] * sizes[1]))) / 3


def _run_mm(edge: PieceEdge, thickness_mm: float) -> float:
    """How far the bag side stands back from an edge; negative where it is the wide side."""
    if edge.treatment not in ("bevel", "scarf"):
        return 0.0
    run = bevel_run_mm(thickness_mm, edge.angle_deg)
    return run if edge.wide_side == "mould" else -run


def _bag_area(piece: Piece) -> float:
    if piece.bag_side_outline_mm is None:
        return piece.area_mm2
    holes = piece.bag_side_holes_mm or piece.holes_mm
    return shapely.Polygon(piece.bag_side_outline_mm, holes).area
