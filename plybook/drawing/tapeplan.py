"""How an outline is drawn on cloth or foam with a tape and a straightedge, and what of it must be
printed because neither can find it.

Terms:
    knot: a point of the outline that a tape finds: a corner, or the end of a curve. Knots are
        lettered round the piece, counter-clockwise.
    run: the stretch of the outline from one knot to the next. It is *straight* (drawn with the
        straightedge), *bowed* (a straight line with a table of offsets from it) or *printed* (a
        curve, a notch, a small corner: only paper shows it).
    tie: the distance between two knots, as a tape shows it. Two ties fix a knot.
    step: one knot found from two others; the steps begin with the base, which is simply drawn.
    tape: what the figures are read on: half a millimetre or a thirty-second of an inch, of cloth a
        millimetre or a sixteenth where that is close enough.

The plan is accepted only after the outline has been rebuilt from the rounded figures and held
against the true one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import shapely

from plybook.drawing.locate import letter
from plybook.drawing.outlineruns import (
    Offset,
    RunKind,
    curve_runs,
    cut_up,
    offsets_of,
    to_tape,
)
from plybook.units import MM_PER_INCH, STIFF, Grain

_PITCHES_MM = (1000.0, 500.0, 250.0, 200.0, 100.0, 50.0, 20.0)
_PITCHES_IN = (40.0, 20.0, 10.0, 8.0, 4.0, 2.0, 1.0)
_SHARES = (0.15, 0.3, 0.5, 0.7)  # of the tolerance, for what a straightedge leaves out
_STEP_MM = 5.0  # between the points that are held against the true outline
_MOST_KNOTS = 200  # nobody finds more of one piece with a tape
_LEAST_SINE = 0.17  # flatter crossings of two tapes (10 degrees) find nothing


@dataclass(frozen=True)
class Knot:
    """`ring` is 0 for the outline, k for the k-th hole; `index` its vertex in that ring."""

    name: str
    at_mm: tuple[float, float]
    ring: int
    index: int


@dataclass(frozen=True)
class Run:
    """From knot `start` to knot `end` (places in `TapePlan.knots`); `points_mm` as it truly is."""

    kind: RunKind
    start: int
    end: int
    points_mm: np.ndarray
    offsets: tuple[Offset, ...] = ()


@dataclass(frozen=True)
class Step:
    """A knot found where two tapes cross, on the left of the way from `first` to `second`."""

    knot: int
    first: int
    second: int
    left: bool


@dataclass(frozen=True)
class TapePlan:
    """All figures of one piece.

    Attributes:
        knots, runs: round the outline, then round each hole.
        base: the two knots that are drawn first.
        steps: the others, in the order they are found.
        ties_mm: (knot, knot), lower first -> distance as the tape shows it.
        tape_mm: what the figures are rounded to.
        error_mm: how far the outline rebuilt from the figures lies from the true one at most.
    """

    knots: tuple[Knot, ...]
    runs: tuple[Run, ...]
    base: tuple[int, int]
    steps: tuple[Step, ...]
    ties_mm: dict[tuple[int, int], float]
    tape_mm: float
    error_mm: float

    @property
    def printed(self) -> tuple[Run, ...]:
        return tuple(run for run in self.runs if run.kind == "printed")


def mirrored_plan(plan: TapePlan) -> TapePlan:
    """The figures of the mirror image, y turned round: the letters keep their points, so that they
    run clockwise, and every distance stays."""
    flip = np.array([1.0, -1.0])
    return replace(
        plan,
        knots=tuple(replace(k, at_mm=(k.at_mm[0], -k.at_mm[1])) for k in plan.knots),
        runs=tuple(replace(run, points_mm=run.points_mm * flip) for run in plan.runs),
        steps=tuple(replace(step, left=not step.left) for step in plan.steps),
    )


def tape_plan(
    outline_mm: np.ndarray,
    holes_mm: Sequence[np.ndarray],
    tolerance_mm: float,
    unit: str,
    grain: Grain = STIFF,
) -> TapePlan | None:
    """The figures that rebuild a piece within a tolerance.

    Args:
        outline_mm: (n, 2) ring, counter-clockwise.
        holes_mm: rings of its holes.
        tolerance_mm: how far the rebuilt outline may lie from the true one.
        unit: "mm" or "in", the tape in the builder's hand.
        grain: how closely the piece is placed; the figures are no finer than of a stiff one.

    Returns:
        The plan, or None where no tape finds the outline so closely.
    """
    rings = [np.asarray(outline_mm, float), *(np.asarray(h, float)[::-1] for h in holes_mm)]
    pitches = _PITCHES_MM if unit == "mm" else tuple(p * MM_PER_INCH for p in _PITCHES_IN)
    best: list[TapePlan] = []
    for tape in dict.fromkeys((grain.step_mm(unit), STIFF.step_mm(unit))):
        for long_bows in (False, True):
            plans = (
                _plan(rings, share * tolerance_mm, tape, pitches, long_bows) for share in _SHARES
            )
            good = [plan for plan in plans if plan is not None and plan.error_mm <= tolerance_mm]
            if good:
                best.append(min(good, key=_effort))
                break
        if best and not best[-1].printed:
            break  # a finer tape saves no paper
    return min(best, key=lambda plan: _effort(plan)[:2], default=None)


def _effort(plan: TapePlan) -> tuple[float, int, float]:
    """What a plan costs: paper, then points to mark, then truth."""
    printed = sum(float(np.hypot(*np.diff(r.points_mm, axis=0).T).sum()) for r in plan.printed)
    marks = len(plan.knots) + sum(len(run.offsets) for run in plan.runs)
    return round(printed, -2), marks, plan.error_mm


def _plan(
    rings: Sequence[np.ndarray], straight_mm: float, tape_mm: float, pitches_mm: Sequence[float],
    long_bows: bool,
) -> TapePlan | None:  # fmt: skip
    found: list[tuple[int, int, np.ndarray]] = []  # ring, index, place
    parts: list[tuple[RunKind, int, int, np.ndarray, tuple[Offset, ...]]] = []
    for number, ring in enumerate(rings):
        cut = cut_up(ring, straight_mm, long_bows)
        if cut is None:
            return None
        told: list[tuple[RunKind, int, np.ndarray, tuple[Offset, ...]]] = []
        for kind, first, points in cut:
            table = offsets_of(points, straight_mm, tape_mm, pitches_mm, number > 0)
            if kind != "bowed":
                told.append((kind, first, points, ()))
            elif table is not None:
                told.append((kind, first, points, table))
            else:
                told += [(kind, first + i, piece, ()) for kind, i, piece in curve_runs(points)]
        start = len(found)
        for k, (kind, first, points, offsets) in enumerate(told):
            found.append((number, first, points[0]))
            parts.append((kind, start + k, start + (k + 1) % len(told), points, offsets))
    places = np.array([at for *_, at in found])
    if not 2 <= len(places) <= _MOST_KNOTS:
        return None
    order = _named_from(places, parts, [r for r, *_ in found])
    names = [letter(k) for k in range(len(order))]
    seat = {old: new for new, old in enumerate(order)}
    knots = tuple(
        Knot(names[new], (float(places[old][0]), float(places[old][1])), *found[old][:2])
        for new, old in enumerate(order)
    )
    runs = tuple(
        sorted(
            (Run(kind, seat[a], seat[b], points, offs) for kind, a, b, points, offs in parts),
            key=lambda run: run.start,
        )
    )
    places = places[order]
    base, steps = _construction(places, runs, tape_mm)
    if base is None:
        return None
    ties = {}
    for a, b in (
        base,
        *((run.start, run.end) for run in runs if run.start != run.end),
        *((min(s.knot, q), max(s.knot, q)) for s in steps for q in (s.first, s.second)),
        *(((0, 2), (1, 3)) if len(places) == 4 and base == (0, 1) else ()),  # both diagonals
    ):
        a, b = min(a, b), max(a, b)
        ties[a, b] = to_tape(math.dist(places[a], places[b]), tape_mm)
    plan = TapePlan(knots, runs, base, steps, dict(sorted(ties.items())), tape_mm, 0.0)
    return _with_error(plan, rings)


def _named_from(places, parts, ring_of) -> list[int]:
    """Order of the knots: round the outline from the start of its longest straight run."""
    own = [k for k, r in enumerate(ring_of) if r == 0]
    sides = [(math.dist(places[a], places[b]), -a, a) for kind, a, b, *_ in parts
             if kind != "printed" and ring_of[a] == 0]  # fmt: skip
    first = max(sides)[2] if sides else own[0]
    turned = own[own.index(first) :] + own[: own.index(first)]
    return turned + [k for k, r in enumerate(ring_of) if r != 0]


def _construction(
    places: np.ndarray, runs: Sequence[Run], tape_mm: float
) -> tuple[tuple[int, int] | None, tuple[Step, ...]]:
    """The base, and for every other knot the two it is best found from.

    A tape's reading is off by half its grid; where two tapes cross at a flat angle, and where they
    start from a point that is off already, that counts for more. The least such error decides.
    """
    gaps = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    sides = [(gaps[r.start, r.end], -r.start, (r.start, r.end)) for r in runs
             if r.kind != "printed"]  # fmt: skip
    widest = np.unravel_index(int(np.argmax(np.round(gaps, 6))), gaps.shape)
    base = (int(min(widest)), int(max(widest)))
    if sides and max(sides)[0] >= 0.4 * gaps[base]:
        base = max(sides)[2]
    beside = np.zeros(gaps.shape)
    for run in runs:
        beside[[run.start, run.end], [run.end, run.start]] = 1.0
    error = np.full(len(places), np.nan)  # of the knots that are found
    best: dict[int, tuple[float, int, int, int]] = {}
    error[base[0]] = 0.0
    steps: list[Step] = []
    new, off = base[1], tape_mm / 2
    while True:
        for row in _crossings(places, error, beside, new, off, tape_mm):
            best[row[1]] = min(row, best.get(row[1], row))
        error[new] = off
        best.pop(new, None)
        if not np.isnan(error).any():
            break
        if not best:
            return None, ()
        off, new, one, other = min(best.values())
        way, to = places[other] - places[one], places[new] - places[one]
        steps.append(Step(new, one, other, bool(way[0] * to[1] - way[1] * to[0] > 0)))
    return base, tuple(steps)


def _crossings(
    places: np.ndarray, error: np.ndarray, beside: np.ndarray, new: int, off: float, tape_mm: float
) -> Iterator[tuple[float, int, int, int]]:
    """For every knot that is not found yet the best way from a newly found one and any other:
    how far off it is counted, the knot, the two it is found from, lower first."""
    known = np.flatnonzero(~np.isnan(error))
    wanted = np.flatnonzero(np.isnan(error))
    wanted = wanted[wanted != new]
    a, b = places[new] - places[wanted, None], places[known] - places[wanted, None]
    size = np.maximum(np.hypot(a[..., 0], a[..., 1]) * np.hypot(b[..., 0], b[..., 1]), 1e-9)
    sine = np.abs(a[..., 0] * b[..., 1] - a[..., 1] * b[..., 0]) / size
    sine[sine < _LEAST_SINE] = np.nan
    near = beside[np.ix_(wanted, known)] + beside[wanted, new, None]
    count = (np.maximum(error[known], off) + tape_mm / 2) / sine * (1.0 - 0.05 * near)
    count = np.where(np.isnan(count), np.inf, np.round(count, 6))
    for row, knot in zip(count, wanted.tolist(), strict=True):
        at = int(np.argmin(row))  # the first of several: the pair that comes first
        if np.isfinite(row[at]):
            other = int(known[at])
            yield float(row[at]), knot, min(new, other), max(new, other)


def rebuilt_knots(plan: TapePlan) -> np.ndarray:
    """(n, 2) places of the knots as the figures give them, laid on the true ones as well as they
    go: a piece is the same wherever it lies."""
    true = np.array([knot.at_mm for knot in plan.knots])
    at = np.full_like(true, np.nan)
    a, b = plan.base
    way = true[b] - true[a]
    at[a] = true[a]
    at[b] = true[a] + way / np.hypot(*way) * plan.ties_mm[min(a, b), max(a, b)]
    for step in plan.steps:
        p, q = at[step.first], at[step.second]
        r1 = plan.ties_mm[min(step.first, step.knot), max(step.first, step.knot)]
        r2 = plan.ties_mm[min(step.second, step.knot), max(step.second, step.knot)]
        gap = float(np.hypot(*(q - p)))
        along = (r1**2 - r2**2 + gap**2) / (2 * gap)
        up = math.sqrt(max(r1**2 - along**2, 0.0)) * (1 if step.left else -1)
        unit = (q - p) / gap
        at[step.knot] = p + along * unit + up * np.array([-unit[1], unit[0]])
    return fitted_to(at, true)


def fitted_to(
    points: np.ndarray, true: np.ndarray, carried: np.ndarray | None = None
) -> np.ndarray:
    """Points turned and moved, without mirroring, onto others (least squares; Kabsch 1976).

    Args:
        points, true: (n, 2) what is laid on what.
        carried: (m, 2) what goes the same way; the points themselves where there is none.
    """
    low, mid = points.mean(axis=0), true.mean(axis=0)
    one, two = points - low, true - mid
    turn = math.atan2(
        float(np.sum(one[:, 0] * two[:, 1] - one[:, 1] * two[:, 0])), float(np.sum(one * two))
    )
    c, s = math.cos(turn), math.sin(turn)
    moved = one if carried is None else carried - low
    return moved @ np.array([[c, s], [-s, c]]) + mid


def _with_error(plan: TapePlan, rings: Sequence[np.ndarray]) -> TapePlan:
    """The plan with how far what it rebuilds lies from the true outline."""
    at = rebuilt_knots(plan)
    true = np.array([knot.at_mm for knot in plan.knots])
    lines = []
    for run in plan.runs:
        p, q = at[run.start], at[run.end]
        if run.kind == "printed":
            ends = true[[run.start, run.end]]
            lines.append(fitted_to(ends, np.array([p, q]), run.points_mm))
            continue
        way = q - p
        unit = way / np.hypot(*way)
        out = np.array([unit[1], -unit[0]]) * (-1 if plan.knots[run.start].ring else 1)
        marks = [p + o.along_mm * unit + o.off_mm * out for o in run.offsets]
        lines.append(np.array([p, *marks, q]))
    ideal = [np.vstack([ring, ring[:1]]) for ring in rings]
    return replace(plan, error_mm=max(_furthest(lines, ideal), _furthest(ideal, lines)))


def _furthest(some: Sequence[np.ndarray], others: Sequence[np.ndarray]) -> float:
    """How far the points of some polylines lie from others at most."""
    points = shapely.points(
        np.vstack([shapely.get_coordinates(shapely.segmentize(shapely.linestrings(line), _STEP_MM))
                   for line in some])  # fmt: skip
    )
    sides = [np.stack([line[:-1], line[1:]], axis=1) for line in others]
    tree = shapely.STRtree(shapely.linestrings(np.concatenate(sides)))
    _, gaps = tree.query_nearest(points, return_distance=True, all_matches=False)
    return float(gaps.max())
