"""The bag of a stage: what is cut, how large, and where tape, ports and lines go.

Everything is worked out in the flat pattern, where lengths round a channel or a nose are true.
Places of ports and lines are proposals; hoses and lines stay outside the laminate, so that no
weight of theirs rests on the core.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from plybook.diagnostics import Finding, warning
from plybook.shop.infusion import plumbing, vacuum_out_mm
from plybook.shop.job import Job
from plybook.shop.model import BagCut, BagPlan
from plybook.shop.outlines import (
    grown,
    one_polygon,
    polyline_length_mm,
    ring_length_mm,
    ring_of,
)
from plybook.shop.standard import figure
from plybook.spec.model import StageRule
from plybook.units import MM_PER_INCH

if TYPE_CHECKING:
    from shapely.geometry import Polygon

_CORNER_DEG = 25.0  # a turn of the tape line sharper than this gets its own pleat
_WIDTH_LAP_MM = 50.0  # two widths of film, breather or peel ply overlap by this (common practice)
MOST_WIDTHS = 40  # of one sheet
_LEAST_WIDTH_MM = 150.0  # a narrower strip is no use beside a whole width (common practice)
_TAPE_WIDTH_MM = 12.0
_READ_MM = 1.5  # a sixteenth of an inch: nearer than that a tape measure shows no difference
_LEAST_FILM_MM = 10.0  # release film beyond the laminate, however narrow the flange

_ROLE_NAMES = {
    "peel_ply": "Peel ply",
    "release_film": "Release film",
    "breather": "Breather",
    "bag_film": "Bag film",
    "flow_mesh": "Flow mesh",
    "sealant_tape": "Sealant tape",
    "hose": "Hose",
}


def bag_plan(job: Job, rule: StageRule) -> BagPlan | None:
    """The bag of one laying stage, or None where the stage lays nothing."""
    layers = job.layers_of(rule.id)
    if not layers:
        return None
    infused = rule.kind == "dry_layup"
    laid = laid_so_far(job, rule)
    room = margins(job)
    tape = grown(laid, room.tape)
    pleats = pleat_places(ring_of(tape))
    outlines: list[tuple[str, Polygon]] = [("laminate", laid)]
    core = _core_so_far(job, rule)
    stack = ["mould", "laminate"]
    if core is not None:
        outlines.append(("core", core))
        if job.covers_core(rule.id):  # it lies inside the laminate by now
            stack = ["mould", "laminate_with_core"]
        else:
            stack.append("core")
    if job.lays_peel_ply(rule.id):
        cloth = tuple(la for la in layers if la.kind in ("ply", "rod"))
        area = job.region(cloth).simplify(0.5)
        area = area.buffer(room.peel_ply, join_style="mitre", mitre_limit=2.0)
        outlines += [("peel_ply", one_polygon(part)) for part in getattr(area, "geoms", (area,))]
        stack.append("peel_ply")
    outlines.append(("release_film", grown(laid, room.release_film)))
    stack.append("release_film")
    lines: list[tuple[str, np.ndarray]] = []
    if infused:
        plumbed = plumbing(laid, room.tape, rule.inlet)
        outlines.append(("flow_mesh", plumbed.mesh))
        stack.append("flow_mesh")
        lines, ports = list(plumbed.lines), list(plumbed.ports)
    else:
        outlines.append(("breather", grown(laid, room.breather)))
        stack.append("breather")
        ports = [
            ("vacuum port", *_outside(job, laid, -1.0)),
            ("gauge", *_outside(job, laid, +1.0)),
        ]
    outlines.append(("bag_film", grown(laid, room.tape + figure("bag_beyond_tape"))))
    stack += ["bag_film"]
    tape_ring = ring_of(tape)
    tape_length = ring_length_mm(tape_ring) + len(pleats) * 2 * figure("pleat_height")
    rests_on = "core" if core is not None else "laminate"
    cuts = _cuts(job, job.top(rule.id), outlines, tape_length, len(pleats), lines, rests_on)
    return BagPlan(
        stage=rule.id,
        method="infusion" if infused else "bag",
        outlines=tuple((name, ring_of(shape)) for name, shape in outlines),
        tape_mm=tape_ring,
        tape_length_mm=tape_length,
        pleats_mm=pleats,
        lines=tuple(lines),
        ports=tuple((name, float(x), float(y)) for name, x, y in ports),
        cuts=cuts,
        stack=tuple(stack),
        notes=(
            "Places of ports and lines are proposals; keep hoses off the core.",
            "Margins: " + "; ".join(_sources()),
        ),
    )


def mould_tape_mm(job: Job) -> float:
    """Length of tape that seals the face and the flange out to the sealant tape."""
    import shapely

    trim = max((edge.trim_mm for edge in job.spec.edges), default=0.0)
    covered = shapely.Polygon(job.face.outline_mm).buffer(margins(job).tape + trim)
    card = job.consumable("mould_tape")
    width = (card.roll_width_mm if card else 0.0) or figure("mould_tape_width")
    return covered.area / width * 1.1  # ends and overlap at the edge


def edge_beside(job: Job, x_mm: float, y_mm: float) -> str:
    """The named edge of the face nearest to a point."""
    import shapely

    point = shapely.Point(x_mm, y_mm)
    edges = [(shapely.LineString(e.points_mm).distance(point), e.name) for e in job.face.edges]
    return min(edges)[1] if edges else "near"


@dataclass(frozen=True)
class Margins:
    """How far things under a bag reach beyond the laminate, mm."""

    peel_ply: float
    release_film: float
    breather: float
    tape: float


def margins(job: Job) -> Margins:
    """The usual margins, drawn in where the spec gives a flange that is narrower."""
    tape = figure("tape_beyond")
    for edge in job.spec.edges:
        if edge.flange_mm > 0:
            tape = min(tape, edge.flange_mm - edge.trim_mm - _TAPE_WIDTH_MM)
    tape = max(tape, figure("tape_least_beyond"))
    inside = tape - figure("tape_clear")
    breather = min(figure("breather_beyond"), inside)
    film = max(breather - figure("release_film_less"), min(_LEAST_FILM_MM, inside))
    return Margins(min(figure("peel_ply_beyond"), inside), film, breather, tape)


def narrow_flanges(job: Job) -> list[Finding]:
    """Edges whose flange is given and too narrow for trim and tape by more than a tape shows."""
    narrow: dict[tuple[float, float], list[str]] = {}
    for edge in job.spec.edges:
        needed = edge.trim_mm + figure("tape_least_beyond") + _TAPE_WIDTH_MM
        if 0 < edge.trim_mm <= edge.flange_mm < needed - _READ_MM:  # less is told with the trim
            narrow.setdefault((edge.flange_mm, needed), []).append(edge.edge)
    return [
        warning(
            "narrow-flange",
            f"the flange at the {', '.join(edges)} edge is {job.length(flange)}; trim"
            f" and sealant tape want {job.length(needed)}",
            "widen the flange, trim less, or tape to the back of the mould there",
            source="common practice, no source",
        )
        for (flange, needed), edges in narrow.items()
    ]


def pleat_places(ring_mm: np.ndarray) -> np.ndarray:
    """Where pleats go on a tape line: every corner, and evenly between corners.

    Args:
        ring_mm: (n, 2) tape line.

    Returns:
        (m, 2) places; neighbours are no further apart than the pleat pitch.
    """
    import shapely

    pitch = figure("pleat_pitch")
    line = shapely.Polygon(ring_mm).exterior.simplify(5.0)
    ring = np.asarray(line.coords)[:-1]
    before, after = ring - np.roll(ring, 1, axis=0), np.roll(ring, -1, axis=0) - ring
    turn = np.degrees(
        np.arctan2(
            before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0], (before * after).sum(axis=1)
        )
    )
    corners = [n for n, angle in enumerate(turn) if abs(angle) >= _CORNER_DEG] or [0]
    length = line.length
    at = [line.project(shapely.Point(ring[n])) for n in corners]
    at = sorted({round(a % length, 6) for a in at})
    places: list[float] = []
    for start, end in zip(at, [*at[1:], at[0] + length], strict=True):
        parts = max(1, math.ceil((end - start) / pitch - 1e-9))
        places += [start + (end - start) * n / parts for n in range(parts)]
    return np.array([line.interpolate(a % length).coords[0] for a in places])


def laid_so_far(job: Job, rule: StageRule) -> Polygon:
    layers = []
    for other in job.stages:
        layers += job.layers_of(other.id)
        if other.id == rule.id:
            break
    return one_polygon(job.region(tuple(layers)))


def _core_so_far(job: Job, rule: StageRule) -> Polygon | None:
    layers = []
    for other in job.stages:
        layers += [la for la in job.layers_of(other.id) if la.kind == "core"]
        if other.id == rule.id:
            break
    return one_polygon(job.region(tuple(layers))) if layers else None


def _outside(job: Job, laid: Polygon, way: float) -> tuple[float, float]:
    """A point just outside the laminate, at the middle of its root edge (way -1) or tip edge."""
    import shapely

    def middle(edge) -> tuple[float, float]:
        return shapely.LineString(edge.points_mm).interpolate(0.5, normalized=True).coords[0]

    middles = [middle(edge) for edge in job.face.edges]
    start = shapely.Point(max(middles, key=lambda p: way * p[0]))
    ring = grown(laid, vacuum_out_mm(margins(job).tape)).exterior
    point = ring.interpolate(ring.project(start))
    return point.x, point.y


def _cuts(
    job: Job,
    below: str,
    outlines: Sequence[tuple[str, Polygon]],
    tape_length: float,
    pleats: int,
    lines: Sequence[tuple[str, np.ndarray]],
    rests_on: str,
) -> tuple[BagCut, ...]:
    cuts: list[BagCut] = []
    strips = sum(1 for role, _ in outlines if role == "peel_ply") > 1
    where = {
        "peel_ply": "over the rods, an end standing free"
        if strips
        else "over the laminate, a dry corner standing free",
        "release_film": f"over {below}",
        "flow_mesh": "over the release film, from where the resin comes in",
        "breather": "over the release film, out to the vacuum port",
        "bag_film": "over everything, out past the tape",
    }
    for role, shape in outlines:
        if role not in where:
            continue
        low_x, low_y, high_x, high_y = shape.bounds
        length, width = high_x - low_x, high_y - low_y
        if role == "bag_film":
            extra = pleats * 2 * figure("pleat_height") / (2 * (length + width))
            length, width = length * (1 + extra), width * (1 + extra)
        for cut in _widths(job, role, length, width, where[role]):
            if cuts and _alike(cuts[-1], cut):
                amount = cut.amount + cuts[-1].amount
                cut = replace(cut, count=cut.count + cuts.pop().count, amount=amount)
            cuts.append(cut)
    joins = [c for c in cuts if c.role == "bag_film" and c.widths > 1][:1]
    tape_length += sum((c.widths - 1) * c.length_mm for c in joins)
    cuts.append(
        BagCut("sealant_tape", _name(job, "sealant_tape"), 1, tape_length, 0.0,
               tape_length / 1000, "m", "outside all that lies under the film, with the pleats"
               + (" and the laps of the film" if joins else ""))
    )  # fmt: skip
    hose = sum(polyline_length_mm(line) for _, line in lines) + (2 if lines else 1) * figure(
        "hose_run"
    )
    cuts.append(
        BagCut("hose", _name(job, "hose"), 1, hose, 0.0, hose / 1000, "m",
               f"{'lines and hoses' if lines else 'port to trap'}, hung off the {rests_on}")
    )  # fmt: skip
    return tuple(cuts)


def _widths(job: Job, role: str, length: float, width: float, where: str) -> list[BagCut]:
    """One cut; where the roll is narrower whole widths along the longer side, which lap, and what
    is left of the other side as the last."""
    card = job.consumable(role)
    roll = card.roll_width_mm if card is not None else 0.0
    length, width = (_up_mm(job, v) for v in (length, width))
    if not 0 < roll < min(length, width):
        return [_cut(job, role, 1, length, width, where)]
    length, width = max(length, width), min(length, width)
    lap = min(_WIDTH_LAP_MM, roll / 4)
    count = math.ceil((width - lap) / (roll - lap) - 1e-9)
    if count > MOST_WIDTHS:  # tape, not cloth: it is bought by area
        return [_cut(job, role, 1, length, width, where)]
    last = _up_mm(job, width - (count - 1) * (roll - lap))
    last = min(max(last, _LEAST_WIDTH_MM), roll)
    how = f"lapped {job.length(lap)}"
    if role == "bag_film":
        how += " with sealant tape between"
    if roll - last < 10.0:
        return [_cut(job, role, count, length, roll, f"{count} widths, {how}; {where}", count)]
    if count == 2:
        names = "the first of 2 widths", "the second of 2 widths"
    else:
        names = f"{count - 1} of {count} widths", f"the last of {count} widths"
    first = _cut(job, role, count - 1, length, roll, f"{names[0]}, {how}; {where}", count)
    return [first, _cut(job, role, 1, length, last, f"{names[1]}, {how}; {where}", count)]


def _up_mm(job: Job, size_mm: float) -> float:
    """Cut sizes are whole centimetres, or half inches."""
    step = MM_PER_INCH / 2 if job.spec.part.units == "in" else 10.0
    return math.ceil(size_mm / step - 1e-9) * step


def _cut(
    job: Job, role: str, count: int, length: float, width: float, where: str, widths: int = 1
) -> BagCut:
    area = count * length * width / 1e6
    return BagCut(role, _name(job, role), count, length, width, area, "m2", where, widths)


def _alike(one: BagCut, two: BagCut) -> bool:
    return (one.role, one.length_mm, one.width_mm, one.where) == (
        two.role, two.length_mm, two.width_mm, two.where
    )  # fmt: skip


def _name(job: Job, role: str) -> str:
    card = job.consumable(role)
    return card.name if card is not None else _ROLE_NAMES[role]


def _sources() -> list[str]:
    from plybook.shop.standard import standard

    names = ("breather_beyond", "release_film_less", "tape_beyond", "pleat_pitch")
    figures = standard().figures
    return [f"{name.replace('_', ' ')}: {figures[name].source}" for name in names]
