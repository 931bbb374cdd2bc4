"""Packing outlines on a strip of fixed width, as short as can be found in the time given.

`pack_strip` is the packer's public face: polygons, demands, allowed rotations, gap and width in,
placements and a length out. Inside: outlines simplified outwards, several searches of the
irregular packer in child processes, the best layout pushed together exactly, and what a search
in single precision got wrong mended. Without the irregular packer the pieces are laid one by one
or packed by their bounding boxes, whichever is shorter.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import NamedTuple

import numpy as np

from plybook.geometry.fitting import flat_rotations
from plybook.nest.budget import Budget
from plybook.nest.compact import NoFits, compact
from plybook.nest.model import Item
from plybook.nest.nofit import Shape
from plybook.nest.outline import cover_for
from plybook.nest.placing import turn_ring
from plybook.nest.race import Found, Race, Task, packer_is_installed

# of the strip's width: how far a cover may stand off the true ring while searching, and after
COVER_REACH, TIDY_REACH = 5e-4, 2e-5
ASKED_SPARE = 2e-6  # of the longest dimension: single precision in the packer
PUSHING_S = 0.15, 3.0  # share of the time for pushing together, and the most of it
ROUND_S, LONG_ROUND_S = 30.0, 300.0  # time of a search before another seed is tried
THREADS_PER_SEARCH = 2
# of the width, that a piece across it is drawn in: what the packer needs to find a place for it,
# and more where the packer's own simpler outlines or their offsets at sharp corners are wider
PLAYS = 0.004, 0.012, 0.03
FEW_CORNERS = 500  # laid one by one: the time goes with the square of them
LITTLE_S, FEW = 1.5, 40  # with so little time, so few pieces are laid one by one
BOXES, NEARLY_BOXES = 0.9999, 0.95  # how far outlines fill their boxes that may be packed so
FIRST_LAYOUT_S = 60.0  # how long a search that has found nothing yet is waited for


@dataclass(frozen=True, order=True)
class StripPlacement:
    """Copy `copy` (from 1) of polygon `index`: mirrored if flipped, turned, then moved."""

    index: int
    copy: int
    x_mm: float
    y_mm: float
    rotation_deg: float
    flipped: bool = False


class StripResult(NamedTuple):
    placements: tuple[StripPlacement, ...]
    length_mm: float
    method: str  # "irregular"; without the packer ONE_BY_ONE and why; "rectangles" by boxes


Progress = Callable[[float], None]
ONE_BY_ONE = "one by one"


def pack_strip(
    polygons: Sequence[np.ndarray],
    demands: Sequence[int],
    rotations: Sequence[Sequence[float] | None],
    gap_mm: float,
    width_mm: float,
    seconds: float,
    seed: int = 0,
    *,
    flipped: Sequence[bool] | None = None,
    workers: int | None = None,
    target_mm: float = 0.0,
    progress: Progress | None = None,
    budget: Budget | None = None,
) -> StripResult:
    """Pack polygons on a strip 0..width in y, as short in x as the time allows.

    Args:
        polygons: (n, 2) simple rings, counter-clockwise.
        demands: how many of each.
        rotations: allowed rotations in degrees for each; None = free.
        gap_mm: clear distance between pieces; none is kept from the strip's edges.
        width_mm: of the strip.
        seconds: wall time to spend; a fraction of a second gives a first layout.
        seed: of the searches; the same seed need not give the same layout on another machine.
        flipped: polygons to lay face down (mirrored before turning), all copies of them.
        workers: searches at once; the number of processors, at most 8, unless given.
        target_mm: stop as soon as a layout is this short.
        progress: called with each better length.
        budget: in place of `seconds`, time that can be stopped from outside.

    Returns:
        Placements of every copy, the length used, and how it was found.

    Raises:
        ValueError: a polygon is wider than the strip in every allowed rotation, or not a ring.
    """
    turned_over = tuple(flipped) if flipped is not None else (False,) * len(polygons)
    rings = [turn_ring(p, 0.0, down) for p, down in zip(polygons, turned_over, strict=True)]
    refuse_unfit(rings, rotations, width_mm)
    from plybook.nest.boxes import pack_boxes, search_boxes

    time = budget or Budget(seconds)
    found: list[StripResult | None] = []
    filled = _filled(rings)
    if filled > NEARLY_BOXES:
        part = time.part(time.left_s() * (1.0 if filled > BOXES else 0.5))
        boxes = (rings, demands, rotations, gap_mm, width_mm)
        found.append(search_boxes(*boxes, part, target_mm, seed, progress))
    enough = any(r is not None and r.length_mm <= target_mm for r in found)
    if filled <= BOXES and not enough:
        problem = StripProblem(rings, demands, rotations, gap_mm, width_mm)
        by_outline = _by_outline(problem, time, seed, workers, target_mm, progress)
        found.append(by_outline)
        if by_outline is None or by_outline.method.startswith(ONE_BY_ONE):
            found.append(pack_boxes(rings, demands, rotations, gap_mm, width_mm))
    result = min((r for r in found if r), key=lambda r: r.length_mm)
    placed = tuple(replace(p, flipped=turned_over[p.index]) for p in result.placements)
    return result._replace(placements=placed)


def _filled(rings: Sequence[np.ndarray]) -> float:
    """The least share any ring fills of its bounding box: 1 where all are rectangles."""
    return min(Shape(r).area_mm2 / float(np.ptp(r, axis=0).prod()) for r in rings)


def _by_outline(
    problem: StripProblem,
    time: Budget,
    seed: int,
    workers: int | None,
    target_mm: float,
    progress: Progress | None,
) -> StripResult | None:
    """Packed by the true outlines: searched, or laid one by one where there is no time or no
    packer for it; None where a piece found no place."""
    from plybook.nest.split import lay_in_lots, lots_of, search_in_lots

    pieces = sum(problem.demands)
    installed = packer_is_installed()
    corners = sum(len(item.outline_mm) * item.demand for item in problem.as_items())
    few = pieces <= FEW and corners <= FEW_CORNERS
    if time.left_s() < LITTLE_S and few:  # good, and the same on every machine
        result = lay_in_lots(problem, time)
        if result and progress:
            progress(result.length_mm)
        if result and installed:
            return result._replace(method="irregular")
    if not installed:
        return lay_in_lots(problem, time)
    lots = lots_of(pieces, time.left_s())
    if lots > 1:
        result = search_in_lots(problem, lots, time, seed, workers, progress)
    else:
        result = search_strip(problem, time, seed, workers, target_mm, progress)
    if result:
        return result
    laid = lay_in_lots(problem, time)
    why = problem.trouble or "no sound layout in the time given"
    return laid and laid._replace(method=f"{ONE_BY_ONE}, for the packer said: {why}")


def refuse_unfit(
    rings: Sequence[np.ndarray], rotations: Sequence[Sequence[float] | None], width_mm: float
) -> None:
    """Raise ValueError for a ring that is none or that no allowed rotation lays on the strip."""
    for k, (ring, allowed) in enumerate(zip(rings, rotations, strict=True)):
        ring = np.asarray(ring, dtype=float)
        if ring.ndim != 2 or len(ring) < 3 or not np.isfinite(ring).all():
            raise ValueError(f"polygon {k} is not a ring of finite points")
        if Shape(ring).area_mm2 <= 0:
            raise ValueError(f"polygon {k} has no area")
        if least_width(ring, allowed) > width_mm + 1e-6:
            raise ValueError(f"polygon {k} is wider than the strip in every allowed rotation")


def least_width(ring_mm: np.ndarray, rotations_deg: Sequence[float] | None) -> float:
    """Smallest extent across the strip over the allowed rotations (None = free), mm."""
    if rotations_deg is None:
        rotations_deg = flat_rotations(ring_mm)
    turned = (turn_ring(ring_mm, r)[:, 1] for r in rotations_deg)
    return min(float(y.max() - y.min()) for y in turned)


class StripProblem:
    """A strip to pack, as the packer is asked: covers of the rings and a little more than the gap.

    Attributes:
        demands: how many of each ring.
        asked_mm: the separation asked for; the packer keeps it from the strip's edges too.
        gap_mm: the gap to keep.
        width_mm: of the strip.
        areas_mm2: of each ring.
        trouble: what the packer said when it broke down on this problem.
    """

    def __init__(
        self,
        rings: Sequence[np.ndarray],
        demands: Sequence[int],
        rotations: Sequence[Sequence[float] | None],
        gap_mm: float,
        width_mm: float,
    ):
        self._rings, self._rotations, self.width_mm = rings, rotations, width_mm
        self.gap_mm, self.demands = gap_mm, tuple(int(d) for d in demands)
        self._covers = self._covered(TIDY_REACH)
        self.areas_mm2 = [Shape(c).area_mm2 for c in self._covers]
        area = sum(a * d for a, d in zip(self.areas_mm2, demands, strict=True))
        self._spare_mm = ASKED_SPARE * max(width_mm, 1.5 * area / width_mm)
        self.asked_mm = gap_mm + self._spare_mm
        self.trouble = ""
        self._no_fits = NoFits(gap_mm)
        self._shapes: dict[tuple[int, float], Shape] = {}

    def _covered(self, reach: float) -> list[np.ndarray]:
        return [
            cover_for(ring, reach * self.width_mm, allowed or ())
            for ring, allowed in zip(self._rings, self._rotations, strict=True)
        ]

    @cached_property
    def task(self) -> Task:
        """What the searches are given."""
        return self.task_with(PLAYS[0])

    def task_with(self, play: float) -> Task:
        """What the searches are given, pieces across the strip drawn in by `play` of its width."""
        coarse = zip(self._covered(COVER_REACH), self._rotations, strict=True)
        return Task(
            tuple(_with_play(ring, allowed, self.width_mm, play) for ring, allowed in coarse),
            self.demands,
            tuple(None if r is None else tuple(float(a) for a in r) for r in self._rotations),
            self.width_mm + 2 * self.asked_mm + self._spare_mm,
            self.asked_mm,
        )

    def some(self, which: Sequence[int], demands: Sequence[int]) -> StripProblem:
        """The same strip for some of the rings."""
        return StripProblem(
            [self._rings[k] for k in which],
            demands,
            [self._rotations[k] for k in which],
            self.gap_mm,
            self.width_mm,
        )

    def as_items(self) -> list[Item]:
        """The rings as items named by their index."""
        rows = zip(self._rings, self.demands, self._rotations, strict=True)
        return [
            Item(str(k), ring, demand, None if allowed is None else tuple(allowed))
            for k, (ring, demand, allowed) in enumerate(rows)
        ]

    def tidy(self, found: Found, seconds: float = 10.0) -> StripResult | None:
        """The layout taken from single precision to an exact one: pushed together, kept apart,
        from the corner; None where its overlaps could not be mended."""
        rows = sorted(found.rows)
        angles = [_snap(r, self._rotations[item]) for item, r, _, _ in rows]
        for (item, _, _, _), angle in zip(rows, angles, strict=True):
            if (item, angle) not in self._shapes:
                self._shapes[item, angle] = Shape(turn_ring(self._covers[item], angle))
        shapes = [self._shapes[row[0], angle] for row, angle in zip(rows, angles, strict=True)]
        places = np.array([(x, y) for _, _, x, y in rows]) - self.asked_mm
        packed = compact(shapes, places, self.width_mm, self.gap_mm, seconds, no_fits=self._no_fits)
        if packed is None:
            return None
        copies: dict[int, int] = {}
        placements = []
        for (item, _, _, _), angle, (x, y) in zip(rows, angles, packed[0], strict=True):
            copies[item] = copies.get(item, 0) + 1
            placements.append(StripPlacement(item, copies[item], float(x), float(y), angle))
        return StripResult(tuple(placements), packed[1], "irregular")


def _with_play(
    ring: np.ndarray, allowed: Sequence[float] | None, width_mm: float, play: float
) -> np.ndarray:
    """The ring, drawn in across the strip where it leaves the packer less than the play.

    The packer finds places by trying, so a piece as wide as the strip would never be placed.
    Nothing lies beside such a piece; what little its ends then overlap is mended afterwards.
    """
    room = width_mm * (1.0 - play)
    for rotation in allowed or ():
        turned = turn_ring(ring, rotation)
        low, high = turned[:, 1].min(), turned[:, 1].max()
        if room < high - low <= width_mm + 1e-6:
            middle = (low + high) / 2
            turned[:, 1] = middle + (turned[:, 1] - middle) * (room / (high - low))
            ring = turn_ring(turned, -rotation)
    return ring


def search_strip(
    problem: StripProblem,
    budget: Budget,
    seed: int = 0,
    workers: int | None = None,
    target_mm: float = 0.0,
    progress: Progress | None = None,
) -> StripResult | None:
    """The shortest layout found in several rounds of searches; None where all broke down.

    A search begins anew with another seed after a while, since where it ends depends on the seed
    as much as on the time. Arguments as of `pack_strip`.
    """
    processors = workers or min(os.cpu_count() or 1, 16)
    threads = min(processors, THREADS_PER_SEARCH)
    count = max(1, processors // threads)
    whole = budget.left_s()
    rounds = max(1, round(whole / (ROUND_S if whole < 20 * ROUND_S else LONG_ROUND_S)))
    best: StripResult | None = None

    def better(result: StripResult | None) -> None:
        nonlocal best
        if result and (best is None or result.length_mm < best.length_mm):
            best = result
            if progress:
                progress(best.length_mm)

    for n in range(rounds):
        seconds = budget.left_s() / (rounds - n)
        if (n and seconds < 1.0) or (best is not None and best.length_mm <= target_mm):
            break
        seeds = tuple(1 + seed * 1000 + n * count + k for k in range(count))
        found = _one_round(problem, budget, seconds, seeds, threads, target_mm, progress, best)
        tidying = Budget(_pushing_s(seconds))
        for k, layout in enumerate(found):
            if k == 0 or tidying.left_s():
                better(problem.tidy(layout, tidying.left_s()))
    return best


def _pushing_s(seconds: float) -> float:
    share, most = PUSHING_S
    return min(share * seconds, most)


def _one_round(problem, budget, seconds, seeds, threads, target_mm, progress, best) -> list[Found]:
    """Layouts worth tidying from searches side by side, shortest first."""
    searching = max(0.2, seconds - _pushing_s(seconds))
    edge = 2 * problem.asked_mm
    shortest = best.length_mm if best else float("inf")

    def heard(found: Found) -> None:
        if progress and found.length_mm - edge < shortest:
            progress(found.length_mm - edge)

    target = target_mm + edge if target_mm else 0.0
    searched = budget.part(searching)
    for play in PLAYS:
        task = problem.task_with(play)
        with Race(task, max(1.0, searched.left_s()), seeds, threads) as race:
            race.run(searched, target, heard)
            if race.best is None and best is None and not race.crashed:
                race.run(Budget(FIRST_LAYOUT_S), float("inf"))  # a first layout is worth a wait
            if race.best is not None or not race.crashed or budget.stopped:
                return race.leaders()
            problem.trouble = race.words
    return []


def _snap(angle_deg: float, allowed: Sequence[float] | None) -> float:
    """The allowed rotation meant by a single-precision one, in [0, 360)."""
    if allowed is None:
        return round(angle_deg, 3) % 360.0
    return min((a % 360.0 for a in allowed), key=lambda a: abs((angle_deg - a + 180) % 360 - 180))
