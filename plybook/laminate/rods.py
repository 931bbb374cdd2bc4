"""Pultruded rods and strips laid side by side along a line, cut to length.

Terms:
    row: one rod; row 1 lies on the left of the line seen along it, the others follow to the right;
        in the opposite hand of a part it is the other way round.
    pitch: centre to centre of neighbouring rows.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from plybook.diagnostics import Finding, warning
from plybook.geometry.rings import canonical_ring
from plybook.laminate.heights import HeightField, Rise
from plybook.laminate.ids import piece_id
from plybook.laminate.inserts import CutLayer
from plybook.laminate.model import Growth, Mark, Piece, PieceEdge
from plybook.laminate.seams import pattern_point
from plybook.laminate.shapes import directed
from plybook.spec.model import Rod, RodStock, Unit
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.units import CLOTH, mm, show_length

_SAMPLE_MM = 5.0
_SHORT_MM = 0.5
_FINE_MM = 0.5
_LEAST_CLIMB_MM = 0.5  # less is taken up by the resin below a rod
_LEAST_OFF_MM = 0.3
_STEP_DEG = 70.0  # what climbs more steeply is a step
_OFF_MM = 3.0  # the corner of a square end may pass a slanted net line by this much


def rod_rows(rod: Rod, face: Face, stock: RodStock) -> tuple[np.ndarray, ...]:
    """The rods where they lie on the bare pattern, each a (4, 2) ring.

    The ring starts at the start end on the right and runs counter-clockwise. Lengths count from
    the start of the line; without lengths every row runs its whole length.
    """
    start, end = directed(np.stack([pattern_point(p, face) for p in rod.line]))
    run = end - start
    whole = math.hypot(*run)
    along = run / whole
    left = np.array([-along[1], along[0]])
    pitch = rod.pitch_mm or stock.width_mm
    onwards = -pitch if rod.first == "left" else pitch  # to the left, from a row to the next
    lengths = rod.lengths_mm or (whole,) * rod.rows
    rings = []
    for row, length in enumerate(lengths):
        centre = start + left * onwards * (row - (len(lengths) - 1) / 2)
        half = left * stock.width_mm / 2
        tip = centre + along * length
        rings.append(np.array([centre - half, tip - half, tip + half, centre + half]))
    return tuple(rings)


def rod_region(rod: Rod, face: Face, stock: RodStock) -> shapely.Geometry:
    """Everything the rods cover, pattern mm."""
    return shapely.union_all([shapely.Polygon(r) for r in rod_rows(rod, face, stock)])


def rod_pieces(
    rod: Rod, face: Face, below: HeightField | None = None, *, stock: RodStock, unit: Unit = "mm"
) -> CutLayer:
    """Cut the rods of one layer.

    A rod is straight and of constant width: its cut outline is a rectangle at its laid place,
    as long as its line is on what it lies on.

    Args:
        rod: the layer.
        face: the mould face.
        below: the height of what it lies on; None for the bare face.
        stock: the section.

    Returns:
        One piece per row, ids R1.1 ... (R1 when alone), each with its own place.
    """
    rings = rod_rows(rod, face, stock)
    angle = math.degrees(math.atan2(*(rings[0][1] - rings[0][0])[::-1]))
    pieces, findings = [], _line_findings(rod, face, rings)
    for row, laid in enumerate(rings):
        length = _developed_mm(laid, below, face)
        ring = _rectangle(laid, length, stock.width_mm)
        outline = canonical_ring(ring)
        edges = tuple(
            PieceEdge(name, ring[[i, (i + 1) % 4]], "square")
            for i, name in enumerate(("right side", "far end", "left side", "start"))
        )
        straight = math.dist(laid[0], laid[1])
        pieces.append(
            Piece(
                id=piece_id(rod.id, 0, 1, row, len(rings)),
                layer=rod.id,
                kind="rod",
                material=rod.material,
                angle_deg=0.0 if abs(angle) < 1e-9 else angle,
                outline_mm=outline,
                holes_mm=(),
                bag_side_outline_mm=None,
                laid_outline_mm=canonical_ring(laid),
                area_mm2=length * stock.width_mm,
                quantity=1,
                stage=rod.stage,
                thickness_mm=stock.height_mm,
                edges=edges,
                marks=(Mark("axis", (ring[[0, 1]] + ring[[3, 2]]) / 2, "fibre"),),
                growth=Growth(along_mm=round(length - straight, 4)),
                notes=(f"cut to {show_length(length, unit, grain=CLOTH)}, row {row + 1} of "
                       f"{len(rings)}",),
            )
        )
        findings += _bend_findings(rod, pieces[-1], laid, below, stock, face)
    findings += _climb_findings(rod, rings, below, stock, face)
    return CutLayer(tuple(pieces), tuple(findings))


def _developed_mm(laid: np.ndarray, below: HeightField | None, face: Face) -> float:
    """Length of the middle line at its height above the face.

    On a face of curvature k along the line (positive where the bag side is concave) a line at
    height h is ds sqrt((1 - h k)^2 + (dh/ds)^2) long.
    """
    ends = (laid[[0, 1]] + laid[[3, 2]]) / 2
    whole = math.dist(*ends)
    if below is None or below.flat:
        return whole
    line = np.linspace(ends[0], ends[1], max(2, math.ceil(whole / _SAMPLE_MM) + 1))
    middle = (line[1:] + line[:-1]) / 2
    along = (ends[1] - ends[0]) / whole
    bend = np.einsum("i,nij,j->n", along, np.asarray(face.curvature(middle)), along)
    step = whole / len(middle)
    rise = np.diff(below(line)) / step
    return float((step * np.hypot(1 - below(middle) * bend, rise)).sum())


def _rectangle(laid: np.ndarray, length: float, width: float) -> np.ndarray:
    ends = (laid[[0, 1]] + laid[[3, 2]]) / 2
    along = (ends[1] - ends[0]) / math.dist(*ends)
    half = np.array([-along[1], along[0]]) * width / 2
    tip = ends[0] + along * length
    return np.array([ends[0] - half, tip - half, tip + half, ends[0] + half])


def _line_findings(rod: Rod, face: Face, rings: tuple[np.ndarray, ...]) -> list[Finding]:
    whole = math.dist(*(pattern_point(p, face) for p in rod.line))
    found = []
    for row, ring in enumerate(rings, 1):
        length = math.dist(ring[0], ring[1])
        if length > whole + _SHORT_MM:
            found.append(
                warning(
                    "rod-beyond-line",
                    f"row {row} of {rod.id} is {mm(length):.0f} long and its line only "
                    f"{mm(whole):.0f}",
                    "shorten the row or carry its line on",
                    rod.place,
                    layers=(rod.id,),
                )
            )
        out = shapely.Polygon(ring).difference(shapely.Polygon(face.outline_mm).buffer(_OFF_MM))
        if out.area > 1.0:
            where = place_words(np.asarray(out.centroid.coords[0]), face)
            found.append(
                warning(
                    "rod-off-face",
                    f"row {row} of {rod.id} runs off the net line at {where}",
                    "move the line or shorten the row",
                    rod.place,
                    layers=(rod.id,),
                )
            )
    return found + _break_findings(rod, face, rings)


def _break_findings(rod: Rod, face: Face, rings: tuple[np.ndarray, ...]) -> list[Finding]:
    """Rods that run over a break of the face, all rows told at once."""
    found = []
    spans = [np.asarray(face.from_pattern(ring))[:, 0] for ring in rings]
    for kink in face.kinks:
        over = [s for s in spans if s.min() + 1.0 < kink.span_mm < s.max() - 1.0]
        if kink.accepted or not over:
            continue
        rows = f"{len(over)} row{'s' if len(over) > 1 else ''} of {rod.id}"
        found.append(
            warning(
                "rod-crosses-break",
                f"{rows} run over the break of {kink.turn_deg:.1f} deg at span "
                f"{mm(kink.span_mm):.0f}; a straight rod lifts off the face there",
                "end the rods on both sides of the break and scarf them there, or make the break "
                "a smooth bend",
                rod.place,
                layers=(rod.id,),
            )
        )
    return found


def _bend_findings(
    rod: Rod,
    piece: Piece,
    laid: np.ndarray,
    below: HeightField | None,
    stock: RodStock,
    face: Face,
) -> list[Finding]:
    """A rod bends across its height along its own direction, on top of what it lies on."""
    if stock.least_bend_mm <= 0 or face.flat:
        return []
    ends = (laid[[0, 1]] + laid[[3, 2]]) / 2
    points = np.linspace(ends[0], ends[1], max(9, math.ceil(math.dist(*ends) / 25)))
    along = (ends[1] - ends[0]) / math.dist(*ends)
    bend = np.einsum("i,nij,j->n", along, np.asarray(face.curvature(points)), along)
    if below is not None:
        bend = bend / np.maximum(1 - below(points) * bend, 1e-6)
    bend = np.abs(bend)
    worst = int(np.argmax(bend))
    if bend[worst] * stock.least_bend_mm <= 1.0:
        return []
    return [
        warning(
            "rod-bends-tight",
            f"{piece.id} must bend to a radius of {mm(1 / bend[worst]):.0f} at "
            f"{place_words(points[worst], face)}; {stock.name} follows "
            f"{mm(stock.least_bend_mm):.0f}",
            "use a thinner section in more layers, or another line",
            rod.place,
            layers=(rod.id,),
        ),
    ]


def _climb_findings(
    rod: Rod,
    rings: tuple[np.ndarray, ...],
    below: HeightField | None,
    stock: RodStock,
    face: Face,
) -> list[Finding]:
    """Rods that run up a bevel or a step of what lies below, for each layer all rows at once.

    A slope begins in a crease. A strip that follows no less than a radius R stands off from a
    crease of angle a by R (1 / cos(a / 2) - 1), and by no more than the slope climbs.
    """
    found = []
    for rise in below.rises if below is not None else ():
        if not rise.ramps and rise.walls is None:
            continue
        rows, worst = 0, (0.0, 0.0, np.zeros(2))
        for ring in rings:
            climb = _climb(ring, rise)
            rows += climb[0] > _LEAST_CLIMB_MM
            worst = max(worst, climb, key=lambda one: one[0])
        if not rows:
            continue
        climb_mm, angle_deg, place = worst
        follows = f"it is not said what radius {stock.name} follows"
        if stock.least_bend_mm > 0:
            off = stock.least_bend_mm * (1 / math.cos(math.radians(angle_deg) / 2) - 1)
            if (off := min(off, climb_mm)) < _LEAST_OFF_MM:
                continue
            follows = (
                f"{stock.name} follows a radius of {mm(stock.least_bend_mm):.0f} and stands off "
                f"by up to {mm(off):.1f} there"
            )
        up = "a step" if angle_deg > _STEP_DEG else f"a slope of {angle_deg:.0f}°"
        found.append(
            warning(
                "rod-climbs",
                f"{rows} row{'s' if rows > 1 else ''} of {rod.id} run{'s' if rows == 1 else ''} "
                f"up {up} of {mm(climb_mm):.1f} at the edge of {rise.layer}, at "
                f"{place_words(place, face)}; {follows}",
                "end the rods before the edge, lay them below that layer or let them into it, or "
                "make its bevel flatter",
                rod.place,
                layers=(rod.id, rise.layer),
            )
        )
    return found


def _climb(ring: np.ndarray, rise: Rise) -> tuple[float, float, np.ndarray]:
    """How far a rod climbs on one layer, how steeply, and where it is steepest."""
    ends = (ring[[0, 1]] + ring[[3, 2]]) / 2
    line = np.linspace(ends[0], ends[1], max(3, math.ceil(math.dist(*ends) / _FINE_MM) + 1))
    height = rise.at(line)
    slope = np.abs(np.diff(height)) / math.dist(line[0], line[1])
    at = int(np.argmax(slope))
    return float(np.ptp(height)), math.degrees(math.atan(slope[at])), line[at]
