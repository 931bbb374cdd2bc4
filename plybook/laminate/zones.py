"""The face divided by equal stacks.

Terms:
    zone: all of the face where the same layers lie, whether in one piece or in several.
    arrangement: the face cut along every outline of every layer.

A layer's region is cut to the net line; a core counts with its full thickness up to the foot of
its bevels, and where an insert is let in the core does not count. Films that are peeled off do
not count. Cells of the arrangement narrower than a knife can follow go to the neighbour with the
longest common border.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import shapely
import shapely.ops

from plybook.diagnostics import Finding, GeometryError, error
from plybook.laminate.bevel import polygons
from plybook.laminate.mass import layer_areal_g_m2
from plybook.laminate.model import LaidLayer, Zone
from plybook.laminate.notation import (
    StackLayer,
    fibre_directions,
    is_balanced,
    is_symmetric,
    laminate_code,
)
from plybook.laminate.stiffness import StackPly, abd
from plybook.spec.limits import Limits
from plybook.spec.model import Film, Insert, PartSpec
from plybook.surface.model import Face

_GRID_MM = 0.01
_NARROW_MM = 1.0


def find_zones(layers: Sequence[LaidLayer], face: Face, spec: PartSpec) -> tuple[Zone, ...]:
    """Divide the face by equal stacks.

    Args:
        layers: as laid, first laid first.
        face: the mould face.
        spec: for materials.

    Returns:
        Zones Z1, Z2 ... from root to tip, then from the top of the pattern down; bare face is no
        zone.

    Raises:
        GeometryError: more zones than the limit of that name allows.
    """
    counted = [layer for layer in layers if counts(layer, spec)]
    net = shapely.Polygon(face.outline_mm, face.holes_mm)
    regions = {layer.id: layer.region for layer in counted}
    for insert in (x for x in spec.layers if isinstance(x, Insert)):
        if insert.id in regions and insert.core in regions:
            regions[insert.core] = regions[insert.core].difference(regions[insert.id])
    limits = Limits(dict(spec.raised))
    cells = _cells(regions, net, limits)
    stacks: dict[tuple[str, ...], list[shapely.Geometry]] = {}
    for ids, cell in cells:
        stacks.setdefault(ids, []).append(cell)
    merged = [
        (ids, shapely.union_all(parts, grid_size=_GRID_MM)) for ids, parts in stacks.items() if ids
    ]
    merged.sort(key=lambda z: _where(z[1]))
    by_id = {layer.id: layer for layer in counted}
    return tuple(
        zone_of(f"Z{n}", [by_id[i] for i in ids], shape, spec)
        for n, (ids, shape) in enumerate(merged, 1)
    )


def counts(layer: LaidLayer, spec: PartSpec) -> bool:
    """Whether a layer stays in the part and has thickness."""
    if layer.kind != "film":
        return True
    film = next((x for x in spec.layers if x.id == layer.id), None)
    return isinstance(film, Film) and not film.removed_after and layer.thickness_mm > 0


def stack_layer(layer: LaidLayer, spec: PartSpec) -> StackLayer:
    """A laid layer as the laminate code sees it."""
    directions: tuple[float, ...] = ()
    if layer.kind == "ply":
        directions = fibre_directions(spec.materials.cloths[layer.material], layer.angle_deg)
    elif layer.kind == "rod":
        directions = (layer.angle_deg,)
    return StackLayer(
        layer.id, layer.kind, layer.material, layer.angle_deg, layer.thickness_mm, directions
    )


def stack_plies(layers: Sequence[LaidLayer], spec: PartSpec) -> list[StackPly] | None:
    """The stack for lamination theory; None where a cloth has no elastic constants."""
    found = []
    for layer in layers:
        elastic = None
        if layer.kind == "ply":
            elastic = spec.materials.cloths[layer.material].elastic
            if elastic is None:
                return None
        elif layer.kind == "rod":
            return None
        found.append(StackPly(layer.thickness_mm, layer.angle_deg, elastic))
    return found if any(p.elastic for p in found) else None


def zone_of(
    label: str, layers: Sequence[LaidLayer], shape: shapely.Geometry, spec: PartSpec
) -> Zone:
    """The zone of a stack of layers over a shape in pattern mm."""
    stack = [stack_layer(layer, spec) for layer in layers]
    plies = stack_plies(layers, spec)
    area_m2 = shape.area / 1e6
    return Zone(
        label=label,
        region=shape,
        layers=tuple(layer.id for layer in layers),
        code=laminate_code(stack),
        thickness_mm=sum(layer.thickness_mm for layer in layers),
        mass_g=area_m2 * sum(layer_areal_g_m2(layer, spec) for layer in layers),
        symmetric=is_symmetric(stack),
        balanced=is_balanced(stack),
        abd=None if plies is None else abd(plies),
        area_m2=area_m2,
    )


def _where(shape: shapely.Geometry) -> tuple[float, float]:
    point = shape.representative_point() if shape.is_empty else shape.centroid
    return round(point.x, 1), -round(point.y, 1)


# ---------------------------------------------------------------- the arrangement


def _cells(
    regions: Mapping[str, shapely.Geometry], net: shapely.Polygon, limits: Limits
) -> list[tuple[tuple[str, ...], shapely.Polygon]]:
    """Polygons of the arrangement with the layers that lie on each."""
    whole = shapely.set_precision(net, _GRID_MM)
    snapped = {
        name: shapely.intersection(region, whole, grid_size=_GRID_MM)
        for name, region in regions.items()
    }
    outlines = _distinct([g.boundary for g in [whole, *snapped.values()] if not g.is_empty])
    lines = shapely.union_all(outlines, grid_size=_GRID_MM)
    parts = [p for p in shapely.ops.polygonize(lines) if p.area > 0]
    inside = np.array([p.representative_point() for p in parts])
    shapely.prepare(whole)
    cells = [p for p, ok in zip(parts, shapely.intersects(whole, inside), strict=True) if ok]
    points = np.array([p.representative_point() for p in cells])
    covers = np.zeros((len(cells), len(regions)), bool)
    for column, region in enumerate(snapped.values()):
        shapely.prepare(region)
        covers[:, column] = shapely.intersects(region, points)
    laid_on = covers[covers.any(axis=1)]
    stacks = len(np.unique(np.packbits(laid_on, axis=1), axis=0))
    if stacks > limits["zones"]:
        raise GeometryError(_too_many(stacks, limits))
    names = np.array(list(regions), dtype=object)
    named = [(tuple(names[lies]), cell) for lies, cell in zip(covers, cells, strict=True)]
    return _without_slivers(named)


def _too_many(stacks: int, limits: Limits) -> Finding:
    return error(
        "too-many",
        f"the outlines of the layers cut the face into {stacks} different stacks; "
        f"at most {limits['zones']:.0f} are told apart",
        limits.why("zones"),
    )


def _distinct(shapes: Sequence[shapely.Geometry]) -> list[shapely.Geometry]:
    """Each outline once: most plies share theirs with others."""
    return list({shapely.to_wkb(shapely.normalize(s)): s for s in shapes}.values())


def _without_slivers(
    cells: list[tuple[tuple[str, ...], shapely.Polygon]],
) -> list[tuple[tuple[str, ...], shapely.Polygon]]:
    """Give every sliver to the neighbour it has the longest border with."""
    thin = [2 * c.area / c.length < _NARROW_MM for _, c in cells]
    if not any(thin) or all(thin):
        return cells
    wide = [cell for cell, t in zip(cells, thin, strict=True) if not t]
    extra: dict[int, list[shapely.Polygon]] = {}
    tree = shapely.STRtree([c for _, c in wide])
    for (_, sliver), is_thin in zip(cells, thin, strict=True):
        if not is_thin:
            continue
        near = tree.query(sliver.buffer(_GRID_MM))
        border = [
            (-sliver.buffer(_GRID_MM).intersection(wide[i][1].boundary).length, int(i))
            for i in near
        ]
        if border:
            extra.setdefault(min(border)[1], []).append(sliver)
    return [
        (ids, cell if i not in extra else polygons(shapely.union_all([cell, *extra[i]]))[0])
        for i, (ids, cell) in enumerate(wide)
    ]
