"""What is to be said of a core panel: bevels that meet, sheets too small, bends too tight.

The words for its seams and for what bending does to its bag side stand here too.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np
import shapely

from plybook.diagnostics import Finding, error, warning
from plybook.laminate.bevel import bevel_run_mm
from plybook.laminate.brokencore import lies_at
from plybook.laminate.model import Piece, PieceEdge
from plybook.laminate.panels import SEAM, Panel
from plybook.laminate.seam_search import NARROWEST_MM
from plybook.laminate.seams import SeamLine, pattern_point
from plybook.spec.model import HOLES, Core, CoreStock, PointLine, SpanLine
from plybook.surface.model import Face
from plybook.surface.places import place_words
from plybook.units import mm

_SLOPES = ("bevel", "scarf")
_ENDS_INSIDE_MM = 5.0  # a seam given to within this of the core's edge is meant to reach it
_LEAST_SAID_MM = 0.3  # a difference between the two sides smaller than this is not worth words


def base_name(edge: PieceEdge) -> str:
    """The name of an edge without the count of its stretch."""
    return edge.name.split(" (")[0]


def tightest_bend(
    outline_mm: np.ndarray, face: Face, pitch_mm: float = 25.0
) -> tuple[float, np.ndarray]:
    """Smallest radius of the face under a laid outline and where: (mm, (2,)); inf where flat."""
    if face.flat:
        return math.inf, outline_mm[0]
    area = shapely.Polygon(outline_mm)
    low, high = outline_mm.min(axis=0), outline_mm.max(axis=0)
    pitch = max(pitch_mm, math.sqrt(area.area / 4000))
    x, y = (np.arange(a + pitch / 2, b, pitch) for a, b in zip(low, high, strict=True))
    grid = np.array(np.meshgrid(x, y)).reshape(2, -1).T
    inside = grid[shapely.contains_xy(area, *grid.T)] if len(grid) else grid
    middles = (outline_mm + np.roll(outline_mm, -1, axis=0)) / 2
    points = np.vstack([inside, outline_mm, middles])
    bend = np.abs(np.linalg.eigvalsh(np.asarray(face.curvature(points)))).max(axis=1)
    worst = int(np.argmax(bend))
    return (1 / bend[worst] if bend[worst] > 1e-9 else math.inf), points[worst]


def _cut_open(
    core: Core,
    piece: Piece,
    panel: Panel,
    face: Face,
    let_in: Mapping[str, shapely.Geometry],
) -> Finding:
    """The side that is too near to a hole, and the hole: one side of the sheet lacks it."""
    whole, slim = sorted((panel.mould, panel.bag), key=lambda side: -len(side.interiors))
    holes = [shapely.Polygon(ring) for ring in whole.interiors]
    kept = shapely.union_all([shapely.Polygon(ring) for ring in slim.interiors])
    hole = next((one for one in holes if not one.intersects(kept)), holes[-1])
    inserts = [c.insert for c in core.cut_outs if c.insert in let_in]
    over = [one for one in inserts if let_in[one].intersects(hole)]
    own = core.cuts[HOLES]
    widens = not over and own.kind in _SLOPES
    around = bevel_run_mm(core.thickness_mm, own.angle_deg) if widens else 0.0
    sides = [(shapely.LineString(edge.points_mm).distance(hole), edge) for edge in piece.edges]
    sides = [(apart, edge) for apart, edge in sides if apart > _LEAST_SAID_MM]  # not its own
    near = [side for side in sides if side[1].treatment in _SLOPES or side[0] < around]
    apart, edge = min(near or sides, key=lambda side: side[0])
    sloped = edge.treatment in _SLOPES
    run = bevel_run_mm(core.thickness_mm, edge.angle_deg) if sloped else 0.0
    name = f"the hole for insert {over[0]}" if over else "a hole"
    where = place_words(np.array(hole.centroid.coords[0]), face)
    if sloped:
        name += " that is bevelled itself" if widens else ""
        what = (f"the {edge.treatment} of its {base_name(edge)} side is {mm(run):.1f} wide and "
                f"runs into {name} at {where}, {mm(apart):.1f} from that side")  # fmt: skip
    else:
        what = (f"the {own.kind} round {name} at {where} is {mm(around):.1f} wide and runs into "
                f"its {base_name(edge)} side, {mm(apart):.1f} from the hole")  # fmt: skip
    return error(
        "slope-through-hole",
        f"panel {piece.id}: {what}",
        f"move the hole or the edge until they stand {mm(run + around):.1f} apart, or cut that "
        f"{'edge' if sloped else 'hole'} square",
        core.place,
        layers=(core.id,),
    )


def panel_findings(
    core: Core,
    piece: Piece,
    panel: Panel,
    footprint_mm: np.ndarray,
    stock: CoreStock,
    face: Face,
    let_in: Mapping[str, shapely.Geometry],
) -> list[Finding]:
    found = []
    where = place_words(piece.laid_outline_mm.mean(axis=0), face)
    told = {"layers": (core.id,)}
    if panel.bag is None or panel.parted:
        found.append(
            error(
                "bevels-meet",
                f"panel {piece.id} ({where}) is so narrow that its bevels meet; "
                f"its bag side is {'gone' if panel.bag is None else 'cut in two'}",
                "widen the panel, move the seam, or make the bevel steeper",
                core.place,
                **told,
            )
        )
    elif len(panel.bag.interiors) != len(panel.mould.interiors):
        found.append(_cut_open(core, piece, panel, face, let_in))
    shape = shapely.Polygon(footprint_mm)
    width = 2 * shape.area / shape.length
    if width < NARROWEST_MM:
        found.append(
            warning(
                "narrow-panel",
                f"panel {piece.id} ({where}) is only about {mm(width):.0f} wide",
                "move the seam so that no sliver of core is left",
                core.place,
                **told,
            )
        )
    if stock.least_bend_mm > 0:
        radius, point = tightest_bend(piece.laid_outline_mm, face)
        if radius < stock.least_bend_mm:
            found.append(
                warning(
                    "core-bends-tight",
                    f"panel {piece.id} must bend to a radius of {mm(radius):.0f} at "
                    f"{place_words(point, face)}; {stock.name} follows "
                    f"{mm(stock.least_bend_mm):.0f} cold",
                    "kerf or heat-form the panel there, use a thinner sheet in two layers, "
                    "or keep the core clear of the bend",
                    core.place,
                    **told,
                )
            )
    return found


def scarfed_at_breaks(core: Core, face: Face) -> Iterator[Finding]:
    """Seams that are stated with a slope where the face breaks."""
    breaks = [(kink.span_mm, kink.turn_deg) for kink in face.kinks if not kink.accepted]
    for seam in core.seams:
        cut, at = seam.treatment, seam.line
        turn = next((turn for span, turn in breaks if lies_at(seam, span)), None)
        if cut.kind == "square" or turn is None or not isinstance(at, SpanLine):
            continue
        gape = bevel_run_mm(core.thickness_mm, cut.angle_deg) * math.sin(math.radians(abs(turn)))
        yield error(
            "scarf-at-break",
            f"seam {seam.id} of core {core.id} is a {cut.kind} at {mm(at.at_mm):.0f}, where the "
            f"face breaks by {turn:.1f} deg: its two slopes would gape by {mm(gape):.1f}",
            "cut it square there; the step says what to plane or to fill",
            core.place,
            layers=(core.id,),
        )


def seams_run_on(core: Core, region: shapely.Geometry, face: Face) -> list[Finding]:
    """Seams between two points that end inside the core: they part it all the way."""
    found = []
    inside = region.buffer(-_ENDS_INSIDE_MM)
    for seam in core.seams:
        if not isinstance(seam.line, PointLine):
            continue
        ends = [pattern_point(p, face) for p in (seam.line.start, seam.line.end)]
        short = [end for end in ends if inside.contains(shapely.Point(end))]
        if short:
            found.append(
                warning(
                    "seam-runs-on",
                    f"seam {seam.id} of core {core.id} ends inside the core, at "
                    f"{' and '.join(place_words(end, face) for end in short)}; it is carried on "
                    f"straight to the edges and parts every panel it meets",
                    "give its ends on the edges of the core; for a seam that stops at another one, "
                    "lay a core of its own on either side of that one",
                    core.place,
                    layers=(core.id,),
                )
            )
    return found


def seam_notes(
    piece: Piece, seams: Sequence[SeamLine], closings: Mapping[str, float]
) -> tuple[str, ...]:
    """How each seam of a panel is cut, in words that stand on its template.

    Args:
        piece: the panel.
        seams: of its core.
        closings: of seams at breaks, the tangent of half the angle that the face turns by,
            positive where the bag side is hollow.
    """
    by_id = {s.id: s for s in seams}
    said: list[str] = []
    for edge in piece.edges:
        if not edge.name.startswith(SEAM):
            continue
        seam = by_id[base_name(edge).removeprefix(SEAM)]
        mate = f" to {edge.mate}" if edge.mate else ""
        if edge.treatment == "square":
            how = _square_words(piece.thickness_mm, closings.get(seam.id, 0.0))
            words = f"seam {seam.id}{mate}: {how}"
        else:
            words = (
                f"seam {seam.id}{mate}: {edge.treatment} {edge.angle_deg:g} deg, "
                f"wide on the {edge.wide_side} side"
            )
        if words not in said:
            said.append(words)
    return tuple(said)


def _square_words(thickness_mm: float, closing: float) -> str:
    """How a square edge is cut; at a break of the face, after a semicolon, what is to be done so
    that it meets its mate.

    Square panels that meet on the mould side gape on the bag side, by twice the thickness times
    the sine of half the angle that the face turns by, or stand in each other's way there, each by
    the thickness times the tangent of it.
    """
    half = math.atan(abs(closing))
    off_mm, half_deg = thickness_mm * abs(closing), math.degrees(half)
    breaks = f"the face breaks {2 * half_deg:.1f} deg here"
    gap_mm = 2 * thickness_mm * math.sin(half)
    if gap_mm < _LEAST_SAID_MM:
        return "SQUARE - NO BEVEL"
    if closing < 0:
        return f"SQUARE - NO BEVEL; {breaks}: fill the gap of {gap_mm:.1f} mm on the bag side"
    return (
        f"SQUARE, then planed; {breaks}: plane {off_mm:.1f} mm off the bag side of both edges "
        f"(bevel {90 - half_deg:.0f} deg) so that they meet"
    )


def hole_notes(core: Core, holes: Sequence[str], let_in: Sequence[str]) -> tuple[str, ...]:
    """How the holes of a panel are cut: `holes` names what each is for ("" an opening), `let_in`
    the inserts that touch the panel."""
    said = [f"hole for {name}: all sides SQUARE - NO BEVEL" for name in let_in]
    if "" in holes:
        treatment = core.cuts[HOLES]
        if treatment.kind in ("bevel", "scarf"):
            said.append(
                f"opening: bevel {treatment.angle_deg:g} deg, wide on the "
                f"{treatment.wide_side} side"
            )
        else:
            said.append("opening: SQUARE - NO BEVEL")
    return tuple(said)


def turning_rad(region: shapely.Geometry, face: Face, x_mm: float) -> float:
    """How far the face turns across a region along the pattern line x = x_mm; positive where the
    bag side is concave."""
    low, high = region.bounds[1], region.bounds[3]
    line = shapely.LineString([[x_mm, low - 1], [x_mm, high + 1]]).intersection(region)
    if face.flat or line.is_empty or line.length < 1.0:
        return 0.0
    turning = 0.0
    for part in (p for p in shapely.get_parts(line) if p.length > 0):
        points = shapely.get_coordinates(part.segmentize(max(part.length / 60, 1.0)))
        bend = np.asarray(face.curvature(points))[:, 1, 1]
        step = np.linalg.norm(np.diff(points, axis=0), axis=1)
        turning += float(np.sum(step * (bend[1:] + bend[:-1]) / 2))
    return turning


def bends(region: shapely.Geometry, face: Face, thickness_mm: float) -> bool:
    """Whether a sheet over a region must bend so far that its two sides differ notably."""
    low, high = region.bounds[0], region.bounds[2]
    turns = [turning_rad(region, face, x) for x in np.linspace(low, high, 7)[1:-1]]
    return thickness_mm / 2 * max(map(abs, turns)) >= _LEAST_SAID_MM


def bend_note(core: Core, piece: Piece, face: Face) -> tuple[str, ...]:
    """How the two sides of a panel differ once it is bent to the face."""
    ring = piece.laid_outline_mm
    middle = (ring[:, 0].min() + ring[:, 0].max()) / 2
    half = core.thickness_mm / 2 * turning_rad(shapely.Polygon(ring), face, float(middle))
    if abs(half) < _LEAST_SAID_MM:
        return ()
    mould, bag = ("longer", "shorter") if half > 0 else ("shorter", "longer")
    return (
        f"outlines are the flat sheet's; bent to the mould about its middle, its mould side comes "
        f"{abs(half):.1f} mm {mould} and its bag side {abs(half):.1f} mm {bag} across the section",
    )
