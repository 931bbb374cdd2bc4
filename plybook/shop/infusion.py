"""An infusion: where the resin comes in and the air goes out, how far the resin has to run, and how
long that takes.

Terms:
    way: the longest stretch that the resin runs through the cloth, from its line or inlet.
    spread: the square of the way that a straight front would have to run to take as long, mm2.

Times follow Darcy's law for a front that moves through cloth at constant vacuum. They hold as far
as the figures do that the builder measured; a test strip decides.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import Finding, warning
from plybook.shop.mixing import pot_life_s
from plybook.shop.outlines import grown, one_polygon, polyline_length_mm, ring_of
from plybook.shop.standard import figure
from plybook.shop.words import minutes_text

if TYPE_CHECKING:
    from shapely.geometry import LineString, Polygon

    from plybook.shop.job import Job
    from plybook.shop.model import BagPlan
    from plybook.spec.model import StageRule

VACUUM_LINE_OUT_MM = 35.0  # vacuum line and ports outside the laminate
RESIN_LINE_OUT_MM = 15.0  # resin line outside the laminate
_LINE_SHORT_MM = 50.0  # a line ends this far before the corners of the laminate
_LINES_APART = 0.25  # of the longest way between the lines, they come no nearer to one another
SHARES = (0.25, 0.5, 0.75)  # of the way, at which the front is looked for
PA_PER_MBAR = 100.0
STRIP_MM = 200.0  # length of the test strip


def resin_out_mm(tape_mm: float) -> float:
    """How far a resin line lies outside the laminate: less where the sealant tape is near."""
    return min(RESIN_LINE_OUT_MM, tape_mm / 3)


def vacuum_out_mm(tape_mm: float) -> float:
    """The same of a vacuum line and of ports."""
    return min(VACUUM_LINE_OUT_MM, tape_mm / 2)


@dataclass(frozen=True)
class Plumbing:
    """Lines (name, (n, 2)), ports (name, x, y) and flow mesh, in the pattern frame."""

    lines: tuple[tuple[str, np.ndarray], ...]
    ports: tuple[tuple[str, float, float], ...]
    mesh: Polygon


def plumbing(laid: Polygon, tape_mm: float, inlet: str) -> Plumbing:
    """Where lines and ports of an infusion go.

    Args:
        laid: the laminate.
        tape_mm: from its edge out to the sealant tape.
        inlet: "edge": a resin line along one long side and a vacuum line along the other;
            "middle": an inlet on the mesh in the middle and a vacuum line all round.
    """
    if inlet == "middle":
        return _from_the_middle(laid, tape_mm)
    resin, vacuum, vacuum_edge = edge_lines(laid, tape_mm)
    return Plumbing(
        (("resin line", resin), ("vacuum line", vacuum)),
        (
            ("resin inlet", *_middle(resin)),
            ("vacuum port", *_middle(vacuum)),
            ("gauge", float(vacuum[-1][0]), float(vacuum[-1][1])),
        ),
        flow_mesh(laid, vacuum_edge),
    )


def _from_the_middle(laid: Polygon, tape_mm: float) -> Plumbing:
    import shapely

    at = shapely.Point(shapely.maximum_inscribed_circle(laid, tolerance=1.0).coords[0])
    centre = laid.centroid
    if laid.buffer(-0.5 * laid.exterior.distance(at)).covers(centre):
        at = centre  # a long part's inscribed circle may lie anywhere along it
    ring = ring_of(grown(laid, vacuum_out_mm(tape_mm)))
    line = shapely.LineString([*ring, ring[0]])
    corners = _long_sides(laid)[1]
    side = shapely.Point(_farther_out(corners, VACUUM_LINE_OUT_MM).mean(axis=0))
    port = line.interpolate(line.project(side))
    gauge = max((shapely.Point(p) for p in ring), key=port.distance)
    return Plumbing(
        (("vacuum line", np.asarray(line.coords)),),
        (("resin inlet", at.x, at.y), ("vacuum port", port.x, port.y), ("gauge", gauge.x, gauge.y)),
        flow_mesh(laid, laid.exterior),
    )


def line_lengths_mm(laid: Polygon, tape_mm: float, inlet: str) -> float:
    """Length of everything resin fills outside the part: resin line and both hoses."""
    hoses = 2 * figure("hose_run")
    if inlet == "middle":
        return hoses
    return polyline_length_mm(edge_lines(laid, tape_mm)[0]) + hoses


def flow_length_mm(plan: BagPlan) -> float:
    """The way: across from the resin line to the vacuum line, or out from the inlet to the farthest
    edge of the laminate."""
    import shapely

    lines = {name: shapely.LineString(points) for name, points in plan.lines}
    if "resin line" in lines:
        points = shapely.points(np.asarray(lines["vacuum line"].segmentize(20).coords))
        return float(shapely.distance(points, lines["resin line"]).max())
    inlet = next((x, y) for name, x, y in plan.ports if name == "resin inlet")
    laid = np.asarray(dict(plan.outlines)["laminate"])
    return float(np.hypot(*(laid - inlet).T).max())


def spread_mm2(way_mm: float, inlet: str) -> float:
    """The spread of a way; `linear_fill_s` and `radial_fill_s` are one formula with it."""
    if inlet != "middle":
        return way_mm**2
    first = min(figure("inlet_radius"), way_mm)
    return way_mm**2 * math.log(way_mm / first) - (way_mm**2 - first**2) / 2


def fill_s(
    spread: float,
    porosity: float,
    viscosity_mpas: float,
    permeability_m2: float,
    vacuum_mbar: float,
) -> float:
    """Time until the front has run a way: t = porosity x viscosity x spread / (2 x permeability x
    pressure), Darcy's law with all the vacuum as pressure.

    Args:
        spread: of the way, mm2 (`spread_mm2`).
        porosity: share of the stack that is not fibre.
        viscosity_mpas: of the resin as it is drawn in, mPa s.
        permeability_m2: of the stack with its mesh.
        vacuum_mbar: below ambient.
    """
    pressure = vacuum_mbar * PA_PER_MBAR
    return porosity * viscosity_mpas * 1e-3 * spread * 1e-6 / (2 * permeability_m2 * pressure)


def front_s(way_mm: float, inlet: str, full_s: float) -> tuple[float, ...]:
    """When the front has run each of `SHARES` of the way, seconds, if the whole takes `full_s`."""
    whole = spread_mm2(way_mm, inlet)
    return tuple(full_s * spread_mm2(share * way_mm, inlet) / whole for share in SHARES)


def strip_limit_s(spread: float, strip_mm: float, pot_life_s: float) -> float:
    """How long a test strip may take to fill, so that the whole part is full in half a pot life.

    With the same stack and vacuum, time goes with the spread. The half is a margin for resin that
    thickens as it flows.

    Args:
        spread: of the part, mm2.
        strip_mm: length of the strip, filled from end to end.
        pot_life_s: of the resin in the room.
    """
    return pot_life_s / 2 * strip_mm**2 / spread


def porosity_of(shares: Sequence[tuple[float, float]]) -> float:
    """Share of a dry stack that is not fibre.

    Args:
        shares: thickness and fibre share by volume of each ply.
    """
    thick = sum(thickness for thickness, _ in shares)
    return 1.0 - sum(thickness * share for thickness, share in shares) / thick


@dataclass(frozen=True)
class Fill:
    """How long the resin of a stage takes to fill the cloth, with what it was worked out from."""

    seconds: float
    strip_s: float  # that a test strip takes
    front_s: tuple[float, ...]  # when it has run each of `SHARES` of the way
    viscosity_mpas: float
    permeability_m2: float
    porosity: float
    vacuum_mbar: float


def fill_of(job: Job, rule: StageRule, bag: BagPlan) -> Fill | None:
    """The fill time of an infusion; None where the builder gives no permeability or viscosity."""
    resin = job.resin(rule)
    cloths = job.spec.materials.cloths
    plies = [
        (layer.thickness_mm, cloths[layer.material].fibre_volume_share)
        for layer in job.layers_of(rule.id)
        if layer.kind == "ply" and layer.material in cloths
    ]
    if resin is None or not plies or not rule.permeability_m2 or not resin.viscosity_mpas:
        return None
    porosity, vacuum = porosity_of(plies), figure("leak_vacuum")
    way = flow_length_mm(bag)
    seconds, strip_s = (
        fill_s(spread, porosity, resin.viscosity_mpas, rule.permeability_m2, vacuum)
        for spread in (spread_mm2(way, rule.inlet), min(STRIP_MM, way) ** 2)
    )
    return Fill(seconds, strip_s, front_s(way, rule.inlet, seconds), resin.viscosity_mpas,
                rule.permeability_m2, porosity, vacuum)  # fmt: skip


def fill_findings(job: Job, rule: StageRule, bag: BagPlan) -> list[Finding]:
    """A face that fills too slowly for its resin, and a fill time that cannot be told."""
    resin = job.resin(rule)
    if resin is None or not rule.permeability_m2:
        return []
    if not resin.viscosity_mpas:
        return [
            warning(
                "no-fill-time",
                f"stage {rule.id} says its permeability, but the resin `{resin.id}` no viscosity; "
                "no fill time is told",
                f"give `viscosity` to `{resin.id}`, as its data sheet has it for the room",
                resin.place,
            )
        ]
    fill = fill_of(job, rule, bag)
    life = pot_life_s(resin, job.spec.workshop.room_c)
    if fill is None or fill.seconds <= life / 2:
        return []
    return [
        warning(
            "slow-fill",
            f"the face of stage {rule.id} takes about {minutes_text(fill.seconds)} to fill, more "
            f"than half the pot life of {minutes_text(life)}",
            "shorten the way with a second resin line (time goes with its square), or take a "
            "faster mesh, a thinner or a slower resin",
            rule.place,
            source="Darcy's law, constant vacuum; half the pot life is ours",
        )
    ]


def edge_lines(laid: Polygon, tape_mm: float) -> tuple[np.ndarray, np.ndarray, LineString]:
    """Resin line along the lower long side, vacuum line along the opposite one, and that edge."""
    import shapely
    import shapely.ops

    corners = _long_sides(laid)

    def side(by_mm: float, upper: bool) -> LineString:
        ring = ring_of(grown(laid, by_mm))
        ends = _farther_out(corners[upper], by_mm)
        return _stretch(shapely.LineString([*ring, ring[0]]), ends).simplify(1.0)

    def shortened(line: LineString) -> np.ndarray:
        end = min(_LINE_SHORT_MM, line.length / 10)
        return np.asarray(shapely.ops.substring(line, end, line.length - end).coords)

    resin = shortened(side(resin_out_mm(tape_mm), False))
    vacuum = shortened(side(vacuum_out_mm(tape_mm), True))
    resin, vacuum = _kept_apart(resin, vacuum), _kept_apart(vacuum, resin)
    return resin, vacuum, side(0.0, True)


def _long_sides(laid: Polygon) -> tuple[np.ndarray, np.ndarray]:
    """Ends (2, 2) of the two long sides of the least box round a laminate, the lower side first
    (the left one of an upright laminate), in the order of a counter-clockwise ring."""
    rectangle = laid.minimum_rotated_rectangle.exterior
    box = np.asarray(rectangle.coords)[:4]
    box = box if rectangle.is_ccw else box[::-1]
    sides = [np.stack([box[k], box[(k + 1) % 4]]) for k in range(4)]
    lengths = [float(np.hypot(*(end - start))) for start, end in sides]
    first = 0 if lengths[0] >= lengths[1] else 1
    pair = sides[first], sides[first + 2]
    places = [(round(float(s[:, 1].mean()), 3), round(float(s[:, 0].mean()), 3)) for s in pair]
    return pair if places[0] < places[1] else pair[::-1]


def _kept_apart(line: np.ndarray, other: np.ndarray) -> np.ndarray:
    """The longest stretch of a line that keeps well off another; they run together at a point."""
    import shapely

    dense = np.asarray(shapely.LineString(line).segmentize(10.0).coords)
    away = shapely.distance(shapely.points(dense), shapely.LineString(other))
    far = away >= _LINES_APART * away.max()
    runs = np.split(np.arange(len(dense)), np.flatnonzero(np.diff(far.astype(int))) + 1)
    kept = max((run for run in runs if far[run[0]]), key=len)
    return np.asarray(shapely.LineString(dense[kept]).simplify(1.0).coords)


def flow_mesh(laid: Polygon, vacuum_edge: LineString) -> Polygon:
    """The flow mesh: it ends short of the vacuum line, on a narrow part by a third of the way."""
    import shapely

    around = shapely.points(shapely.segmentize(laid.exterior, 20.0).coords)
    inner = shapely.maximum_inscribed_circle(laid, tolerance=1.0)
    way = max(float(shapely.distance(around, vacuum_edge).max()), inner.length)
    bare = min(figure("mesh_short_of_vacuum"), way / 3)
    return one_polygon(laid.difference(vacuum_edge.buffer(bare)))


def _farther_out(side: np.ndarray, by_mm: float) -> np.ndarray:
    """The same side (2, 2) of a counter-clockwise box that is larger by a margin all round."""
    along = (side[1] - side[0]) * by_mm / np.hypot(*(side[1] - side[0]))
    return side + (along[1], -along[0]) + np.stack([-along, along])


def _stretch(ring: LineString, corners: np.ndarray) -> LineString:
    """A closed counter-clockwise line from where it is nearest to one corner to where it is nearest
    to the next; over a point that it comes to between them, a stretch of both its sides."""
    import shapely

    start, stop = (ring.project(shapely.Point(corner)) for corner in corners)
    if stop <= start:
        stop += ring.length
    twice = np.vstack([ring.coords, ring.coords[1:]])
    return shapely.ops.substring(shapely.LineString(twice), start, stop)


def _middle(line: np.ndarray) -> tuple[float, float]:
    import shapely

    point = shapely.LineString(line).interpolate(0.5, normalized=True)
    return point.x, point.y
