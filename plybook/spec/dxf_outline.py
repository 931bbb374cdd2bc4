"""A flat outline read from one layer of a DXF file.

Closed polylines and circles are rings as they are; lines, arcs and open polylines are chained end
to end. The largest ring is the outline, rings inside it are holes.
"""

from __future__ import annotations

import math

import numpy as np

from plybook.diagnostics import SpecError, error
from plybook.geometry.rings import signed_area_mm2
from plybook.spec.collect import Collector
from plybook.spec.dxf_entities import READ, DxfFile, Entity, TooMany, Unreadable
from plybook.spec.gather import Folder
from plybook.spec.model import OutlineMould
from plybook.spec.named_sides import named_sides
from plybook.spec.outlines import (
    Boxes,
    arc_points,
    circle,
    clean,
    crossing,
    edges_of,
    inside,
    rings_meet,
)
from plybook.spec.written.mould import DrawnMould
from plybook.units import MM_PER_UNIT, mm

JOIN_MM = 0.05  # ends this near are one point
_MOST_AT_END = 50  # ends at one point; an outline has two
_LAYER_TIMES = 10  # a layer may hold so many times the points of one outline
_LEVEL_MM = 0.1
_MOST_BULGE = 1e6  # an arc that closes to within a millionth of its way round is no drawing's
_INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}


def read_outline(w: DrawnMould, folder: Folder, out: Collector) -> OutlineMould | None:
    """The face drawn on a layer.

    Raises:
        SpecError: the file cannot be read, has no such layer, or its lines make no ring.
    """
    place = w.place_of("dxf")
    content = folder.read(w.dxf, place)
    try:
        drawing = DxfFile(content)
        scale = _scale(drawing, w, place, out)
        rings, chains = _shapes(drawing, scale, w, out)
    except Unreadable as problem:
        raise SpecError(
            error("bad-drawing", f"`{w.dxf}` {problem.message}", problem.help, place)
        ) from None
    except TooMany as problem:
        raise SpecError(_too_many(str(problem), w, out)) from None
    if w.layer not in drawing.layers:
        out.unknown("drawing layer", w.layer, sorted(drawing.layers), w.place_of("layer"))
        return None
    rings += _chained(chains, w, out)
    _refuse_rings(len(rings), w, out)
    if not rings:
        raise SpecError(
            error(
                "outline-too-short",
                f"layer `{w.layer}` of `{w.dxf}` holds no closed outline",
                "draw it as a closed polyline",
                w.place_of("layer"),
            )
        )
    largest = max(float(np.abs(ring).max()) for ring in rings)
    if largest > out.limits["part-mm"]:
        raise SpecError(
            error(
                "out-of-range",
                f"the drawing is {mm(largest):g} large",
                "check its unit, or say `dxf_units`",
                place,
            )
        )
    for ring in rings:
        if np.ptp(ring, axis=0).max() < out.limits["least-mm"]:
            raise SpecError(
                error(
                    "out-of-range",
                    f"layer `{w.layer}` of `{w.dxf}` holds an outline smaller than "
                    f"{mm(out.limits['least-mm']):g}",
                    out.limits.why("least-mm"),
                    place,
                )
            )
        if len(ring) > out.limits["outline-points"]:
            raise SpecError(
                error(
                    "too-many",
                    f"an outline of {len(ring)} points",
                    out.limits.why("outline-points"),
                    place,
                )
            )
        if fault := crossing(ring):
            raise SpecError(
                error("outline-crosses-itself", fault.message, "mend the drawing", place)
            )
    rings.sort(key=lambda r: -abs(signed_area_mm2(r)))
    outline, holes = rings[0], rings[1:]
    boxes = Boxes(holes)
    for n, hole in enumerate(holes):
        meets = rings_meet(outline, hole)
        if meets is not None or not inside(outline, hole[0]):
            raise SpecError(
                error(
                    "hole-outside",
                    f"layer `{w.layer}` of `{w.dxf}` holds two "
                    "outlines that are not inside one another",
                    "leave one outline and its holes on the layer",
                    place,
                )
            )
        for other in (holes[k] for k in boxes.before(n)):
            if rings_meet(other, hole) is not None or inside(other, hole[0]):
                raise SpecError(
                    error(
                        "hole-outside",
                        "two holes of the drawing touch or overlap",
                        "mend the drawing",
                        place,
                    )
                )
    outline, _ = clean(outline, [""] * len(outline))
    return OutlineMould(outline, tuple(holes), edges_of(named_sides(outline, w, out)), w.here)


def _scale(drawing: DxfFile, w: DrawnMould, place, out: Collector) -> float:
    said = _INSUNITS.get(drawing.unit)
    unit = w.dxf_units or said
    if w.dxf_units and said and w.dxf_units != said:
        out.warning(
            "units-disagree",
            f"`{w.dxf}` says that it is drawn in {said}, `dxf_units` says {w.dxf_units}: "
            f"{w.dxf_units} is taken, and 100 of the drawing are "
            f"{mm(100 * MM_PER_UNIT[w.dxf_units]):g}",
            f"measure one edge of the printed template; if the drawing is right, write "
            f"`dxf_units: {said}` or leave it out",
            w.place_of("dxf_units"),
        )
    if unit is None:
        raise SpecError(
            error("no-units", f"`{w.dxf}` does not say its unit", "add `dxf_units: mm`", place)
        )
    return MM_PER_UNIT[unit]


def _too_many(what: str, w: DrawnMould, out: Collector):
    name, most, where = "drawing-entities", out.limits["drawing-entities"], f"`{w.dxf}` holds"
    if what == "points":
        name, most = "outline-points", _LAYER_TIMES * out.limits["outline-points"]
        where = f"layer `{w.layer}` of {where}"
    said = f"{where} more than {most:.0f} {what}"
    return error("too-many", said, out.limits.why(name), w.place_of("dxf"))


def _refuse_rings(count: int, w: DrawnMould, out: Collector) -> None:
    """Refuse more rings than an outline and the holes that a face may have, before all are made."""
    most = out.limits["holes"]
    if count > most + 1:
        said = f"layer `{w.layer}` of `{w.dxf}` holds more than {most:.0f} holes"
        raise SpecError(error("too-many", said, out.limits.why("holes"), w.place_of("dxf")))


def _shapes(drawing: DxfFile, scale: float, w: DrawnMould, out: Collector):
    """Closed rings and open chains of the layer, in mm.

    Raises:
        TooMany: more points than a layer may hold.
        Unreadable: an entity cannot be read.
        SpecError: one that is tilted, or that is nowhere.
    """
    rings: list[np.ndarray] = []
    chains: list[np.ndarray] = []
    odd: set[str] = set()
    heights: list[float] = []
    layer, most, count = w.layer, _LAYER_TIMES * out.limits["outline-points"], 0
    for entity in drawing.on(layer, most, out.limits["drawing-entities"]):
        kind = entity.kind
        if kind in READ:
            _refuse_tilted(entity, w)
            heights = _span(heights + _heights(entity))
            points = _points(entity, scale)
            count += len(points)
            if count > most:
                raise TooMany("points")
            if not np.isfinite(points).all():
                raise SpecError(
                    error(
                        "not-finite",
                        f"a {kind} of `{w.dxf}` holds a coordinate that is no number",
                        "mend the drawing",
                        w.place_of("dxf"),
                    )
                )
            if kind == "CIRCLE":
                rings.append(points)
            elif len(points) >= 2 and (
                (entity.closed and kind.endswith("POLYLINE"))
                or (len(points) > 2 and math.dist(points[0], points[-1]) <= JOIN_MM)
            ):
                ring, _ = clean(points, [""] * len(points))
                if len(ring) and math.dist(ring[0], ring[-1]) <= JOIN_MM:
                    ring = ring[:-1]
                rings.append(ring if len(ring) else points[:1])  # all in one place
            elif len(points) >= 2:
                chains.append(points)
            _refuse_rings(len(rings), w, out)
        else:
            odd.add(kind)
    if heights and (max(heights) - min(heights)) * scale > _LEVEL_MM:
        out.warning(
            "left-out",
            f"the heights z on layer `{layer}` of `{w.dxf}` differ by "
            f"{mm((max(heights) - min(heights)) * scale):.3g} and are not read",
            "a flat face has one height; give a curved one by its stations",
            w.place_of("layer"),
        )
    if odd:
        out.warning(
            "left-out",
            f"layer `{layer}` of `{w.dxf}` also holds {', '.join(sorted(odd))}, which is not read",
            "explode it into lines and arcs, or move it to another layer",
            w.place_of("layer"),
        )
    return rings, chains


def _refuse_tilted(entity: Entity, w: DrawnMould) -> None:
    """Refuse what is drawn in a plane that is not the drawing's: it would be flattened askew."""
    x, y, z = entity.extrusion
    if abs(z) < (1 - 1e-9) * math.hypot(x, y, z) or z == 0:
        raise SpecError(
            error(
                "bad-drawing",
                f"a {entity.kind} on layer `{w.layer}` of `{w.dxf}` is drawn in a tilted plane",
                "draw the outline flat, in the plan view",
                w.place_of("layer"),
            )
        )


def _span(heights: list[float]) -> list[float]:
    return [min(heights), max(heights)] if heights else []


def _heights(entity: Entity) -> list[float]:
    """The heights z of what an entity passes through, in units of the drawing."""
    if entity.kind == "LINE":
        return [entity.get(30), entity.get(31)]
    if entity.kind in ("ARC", "CIRCLE"):
        return [entity.get(30)]
    return _span([z for _, _, z, _ in entity.vertices])


def _points(entity: Entity, scale: float) -> np.ndarray:
    """Points along an entity in mm, (n, 2); a mirrored one (extrusion -z) is turned back."""
    mirrored = entity.extrusion[2] < 0 and not entity.in_space
    flip = np.array([-1.0 if mirrored else 1.0, 1.0]) * scale
    if entity.kind == "LINE":
        return np.array([[entity.need(10), entity.need(20)], [entity.need(11), entity.need(21)]]
                        ) * scale  # fmt: skip
    if entity.kind in ("ARC", "CIRCLE"):
        return _round(entity, flip)
    corners = entity.vertices
    points: list[np.ndarray] = []
    for n, (x, y, _, bulge) in enumerate(corners):
        start = np.array([x, y]) * flip
        points.append(start)
        after = corners[(n + 1) % len(corners)]
        if bulge and (n + 1 < len(corners) or entity.closed):
            points.extend(_bulged(start, np.array(after[:2]) * flip, bulge * np.sign(flip[0])))
    return np.array(points).reshape(-1, 2)


def _round(entity: Entity, flip: np.ndarray) -> np.ndarray:
    """A circle, or an arc with its ends.

    Raises:
        Unreadable: it has no radius.
    """
    centre = np.array([entity.need(10), entity.need(20)]) * abs(flip[1])
    radius = entity.need(40) * abs(flip[1])
    if radius <= 0:
        said = f"holds {'an' if entity.kind == 'ARC' else 'a'} {entity.kind} without a radius"
        raise Unreadable(f"{said} near line {entity.line}", "mend the drawing")
    if entity.kind == "CIRCLE":
        return circle(centre * np.sign(flip), radius)
    first, last = (math.radians(entity.need(code)) for code in (50, 51))
    sweep = (last - first) % math.tau or math.tau
    ends = centre + radius * np.array([[math.cos(a), math.sin(a)] for a in (first, first + sweep)])
    middle = arc_points(centre, radius, first, sweep)
    return np.vstack([ends[:1], middle, ends[1:]]) * np.sign(flip)


def _bulged(start: np.ndarray, end: np.ndarray, bulge: float) -> np.ndarray:
    """Points of the arc between two vertices; bulge is the tangent of a quarter of its sweep."""
    chord = end - start
    if not chord.any():
        return np.empty((0, 2))
    if abs(bulge) > _MOST_BULGE:
        return np.full((1, 2), np.nan)
    left = np.array([-chord[1], chord[0]])
    centre = (start + end) / 2 + left * (1 - bulge * bulge) / (4 * bulge)
    radius = float(np.hypot(*(start - centre)))
    first = math.atan2(*(start - centre)[::-1])
    return arc_points(centre, radius, first, 4 * math.atan(bulge))


def _chained(chains: list[np.ndarray], w: DrawnMould, out: Collector) -> list[np.ndarray]:
    """Open chains joined end to end into rings.

    Raises:
        SpecError: an end that meets nothing, or that too many meet; more points in a ring, or
            more rings, than a face may have.
    """
    if not chains:
        return []
    from scipy.spatial import cKDTree

    ends = np.array([[chain[0], chain[-1]] for chain in chains]).reshape(-1, 2)
    tree = cKDTree(ends)
    crowd = tree.query_ball_point(ends, JOIN_MM, return_length=True)
    if crowd.max() > _MOST_AT_END:
        x, y = ends[int(crowd.argmax())]
        raise SpecError(_open(f"has {crowd.max()} ends at ({x:.4f}, {y:.4f}) mm", w))
    rings, used = [], np.zeros(len(chains), dtype=bool)
    most = out.limits["outline-points"]
    for first in range(len(chains)):
        if used[first]:
            continue
        used[first] = True
        parts, last, count = [chains[first]], chains[first][-1], len(chains[first])
        start = chains[first][0]
        while math.dist(start, last) > JOIN_MM or count < 3:
            near = [k for k in tree.query_ball_point(last, JOIN_MM) if not used[k // 2]]
            if not near:
                x, y = last
                raise SpecError(_open(f"is open at ({x:.4f}, {y:.4f}) mm", w))
            end = min(near, key=lambda k: (math.dist(ends[k], last), k))
            used[end // 2] = True
            other = chains[end // 2]
            other = other[::-1] if end % 2 else other
            parts.append(other[1:])
            last, count = other[-1], count + len(other) - 1
            if count - 1 > most:
                raise SpecError(
                    error("too-many", f"an outline of more than {most:.0f} points",
                          out.limits.why("outline-points"), w.place_of("dxf"))
                )  # fmt: skip
        rings.append(np.vstack(parts)[:-1])
        _refuse_rings(len(rings), w, out)
    return rings


def _open(why: str, w: DrawnMould):
    return error(
        "open-outline",
        f"the outline on layer `{w.layer}` {why}",
        "close it in the drawing",
        w.place_of("layer"),
    )
