"""A flat outline read from one layer of a DXF file.

Closed polylines and circles are rings as they are; lines, arcs and open polylines are chained end
to end. The largest ring is the outline, rings inside it are holes. ezdxf is loaded only here.
"""

from __future__ import annotations

import io
import math
import re

import numpy as np

from plybook.diagnostics import SpecError, error
from plybook.geometry.rings import signed_area_mm2
from plybook.libraries import as_published
from plybook.spec.collect import Collector
from plybook.spec.flat_face import too_many_holes
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
_READ = ("LWPOLYLINE", "POLYLINE", "LINE", "ARC", "CIRCLE")
_INSUNITS = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}


def read_outline(w: DrawnMould, folder: Folder, out: Collector) -> OutlineMould | None:
    """The face drawn on a layer.

    Raises:
        SpecError: the file cannot be read, has no such layer, or its lines make no ring.
    """
    place = w.place_of("dxf")
    content = folder.read(w.dxf, place)
    try:
        drawing = _drawing(content, w.dxf, place)
        scale = _scale(drawing, w, place, out)
        layers = {e.dxf.layer for e in drawing.modelspace()}
        if w.layer not in layers:
            out.unknown("drawing layer", w.layer, sorted(layers), w.place_of("layer"))
            return None
        rings, chains = _shapes(drawing, w.layer, scale, w, out)
    except SpecError:
        raise
    except Exception as problem:  # a damaged drawing fails anywhere inside the library
        raise SpecError(
            error(
                "bad-drawing",
                f"`{w.dxf}` cannot be read as DXF ({type(problem).__name__})",
                "save it again as DXF",
                place,
            )
        ) from None
    rings += _chained(chains, w)
    if not rings:
        raise SpecError(
            error(
                "outline-too-short",
                f"layer `{w.layer}` of `{w.dxf}` holds no closed outline",
                "draw it as a closed polyline",
                w.place_of("layer"),
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
    if too_many_holes(len(holes), place, out):
        return None
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
    if np.abs(outline).max() > out.limits["part-mm"]:
        raise SpecError(
            error(
                "out-of-range",
                f"the drawing is {mm(np.abs(outline).max()):g} large",
                "check its unit, or say `dxf_units`",
                place,
            )
        )
    outline, _ = clean(outline, [""] * len(outline))
    return OutlineMould(outline, tuple(holes), edges_of(named_sides(outline, w, out)), w.here)


def _drawing(content: bytes, name: str, place):
    with as_published():
        from ezdxf import recover
        from ezdxf.audit import AuditError

    if content.startswith(b"AutoCAD Binary DXF"):
        raise SpecError(
            error(
                "bad-drawing",
                f"`{name}` is a binary DXF file, which is not read",
                "save it as DXF in text form (ASCII)",
                place,
            )
        )
    if not content.rstrip().endswith(b"EOF"):
        raise SpecError(
            error(
                "bad-drawing",
                f"`{name}` is no whole DXF file; its end is missing",
                "save it again as DXF",
                place,
            )
        )
    drawing, audit = recover.read(io.BytesIO(content))
    guessed = (AuditError.INVALID_FLOATING_POINT_VALUE, AuditError.INVALID_INTEGER_VALUE)
    for one in audit.errors:
        if one.code in guessed:  # the library takes what it can find in it for the number
            at = re.search(r"near line (\d+)", one.message)
            where = f" near line {at[1]}" if at else ""
            raise SpecError(
                error(
                    "bad-drawing",
                    f"`{name}` holds a value that is no number{where}",
                    "save it again as DXF",
                    place,
                )
            )
    return drawing


def _scale(drawing, w: DrawnMould, place, out: Collector) -> float:
    said = _INSUNITS.get(drawing.header.get("$INSUNITS", 0))
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


def _shapes(drawing, layer: str, scale: float, w: DrawnMould, out: Collector):
    """Closed rings and open chains of a layer, in mm."""
    rings, chains, odd = [], [], set()
    heights: list[float] = []
    most, count = _LAYER_TIMES * out.limits["outline-points"], 0
    for entity in drawing.modelspace():
        if entity.dxf.layer != layer:
            continue
        kind = entity.dxftype()
        if kind in _READ:
            _refuse_tilted(entity, kind, w)
            heights += _heights(entity, kind)
        count += len(rings[-1]) if rings else 0
        if len(chains) + count > most:
            why = out.limits.why("outline-points")
            raise SpecError(
                error("too-many", f"layer `{layer}` of `{w.dxf}` holds more than {most:.0f} points",
                      why, w.place_of("dxf"))
            )  # fmt: skip
        if kind == "CIRCLE":
            centre = np.array([entity.dxf.center.x, entity.dxf.center.y]) * scale
            if entity.dxf.extrusion.z < 0:
                centre[0] = -centre[0]
            rings.append(circle(centre, entity.dxf.radius * scale))
        elif kind in _READ:
            points = _points(entity, kind, scale)
            if not np.isfinite(points).all():
                raise SpecError(
                    error(
                        "not-finite",
                        f"a {kind} of `{w.dxf}` holds a coordinate that is no number",
                        "mend the drawing",
                        w.place_of("dxf"),
                    )
                )
            closed = kind.endswith("POLYLINE") and bool(entity.is_closed)
            if closed or (len(points) > 2 and math.dist(points[0], points[-1]) <= JOIN_MM):
                ring, _ = clean(points, [""] * len(points))
                if math.dist(ring[0], ring[-1]) <= JOIN_MM:
                    ring = ring[:-1]
                rings.append(ring)
            elif len(points) >= 2:
                chains.append(points)
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


def _refuse_tilted(entity, kind: str, w: DrawnMould) -> None:
    """Refuse what is drawn in a plane that is not the drawing's: it would be flattened askew."""
    x, y, z = entity.dxf.extrusion
    if abs(z) < (1 - 1e-9) * math.sqrt(x * x + y * y + z * z):
        raise SpecError(
            error(
                "bad-drawing",
                f"a {kind} on layer `{w.layer}` of `{w.dxf}` is drawn in a tilted plane",
                "draw the outline flat, in the plan view",
                w.place_of("layer"),
            )
        )


def _heights(entity, kind: str) -> list[float]:
    """The heights z of what an entity passes through, in units of the drawing."""
    if kind == "LINE":
        return [entity.dxf.start.z, entity.dxf.end.z]
    if kind in ("ARC", "CIRCLE"):
        return [entity.dxf.center.z]
    if kind == "LWPOLYLINE":
        return [entity.dxf.elevation]
    return [v.dxf.location.z for v in entity.vertices]


def _points(entity, kind: str, scale: float) -> np.ndarray:
    """Points along an entity in mm; a mirrored one (extrusion -z) is turned back."""
    flip = np.array([-1.0 if entity.dxf.extrusion.z < 0 else 1.0, 1.0]) * scale
    if kind == "LINE":
        ends = (entity.dxf.start, entity.dxf.end)
        return np.array([[p.x, p.y] for p in ends]) * scale
    if kind == "ARC":
        centre = np.array([entity.dxf.center.x, entity.dxf.center.y]) * scale
        first = math.radians(entity.dxf.start_angle)
        sweep = math.radians(entity.dxf.end_angle - entity.dxf.start_angle) % math.tau or math.tau
        radius = entity.dxf.radius * scale
        ends = centre + radius * np.array(
            [[math.cos(a), math.sin(a)] for a in (first, first + sweep)]
        )
        middle = arc_points(centre, radius, first, sweep)
        return np.vstack([ends[:1], middle, ends[1:]]) * flip / scale
    if kind == "LWPOLYLINE":
        corners = [(x, y, bulge) for x, y, bulge in entity.get_points("xyb")]
    else:
        corners = [(*v.dxf.location.vec2, v.dxf.get("bulge", 0.0)) for v in entity.vertices]
    points: list[np.ndarray] = []
    for n, (x, y, bulge) in enumerate(corners):
        start = np.array([x, y]) * flip
        points.append(start)
        after = corners[(n + 1) % len(corners)]
        if bulge and (n + 1 < len(corners) or entity.is_closed):
            points.extend(_bulged(start, np.array(after[:2]) * flip, bulge * np.sign(flip[0])))
    return np.array(points)


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


def _chained(chains: list[np.ndarray], w: DrawnMould) -> list[np.ndarray]:
    """Open chains joined end to end into rings.

    Raises:
        SpecError: an end that meets nothing, or that too many meet.
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
        rings.append(np.vstack(parts)[:-1])
    return rings


def _open(why: str, w: DrawnMould):
    return error(
        "open-outline",
        f"the outline on layer `{w.layer}` {why}",
        "close it in the drawing",
        w.place_of("layer"),
    )
