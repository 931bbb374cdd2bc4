"""The corner points a piece is marked out with, held against its outline where it lies.

Terms:
    marks: the printed corner points, (n, 2) mm from the stock's end and edge.
    chords: the few straight sides that stand for an outline; none takes anything off it.
    grid: the marks of a tape, half a millimetre or a sixteenth of an inch, finer beside a near
        neighbour. A corner stands on the nearest grid point outside both its chords.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from plybook.verify import plane
from plybook.verify.tolerances import TOUCH_MM

INCH_MM = 25.4  # exact: the international yard and pound agreement of 1959
# how far chords leave a curve, and the grid; the finer ones where a neighbour is near
FINENESS = {
    "mm": ((1.5, 0.5), (0.5, 0.5), (0.2, 0.1)),
    "in": ((1.5, INCH_MM / 16), (0.5, INCH_MM / 16), (0.5, INCH_MM / 32), (0.2, INCH_MM / 64)),
}
TIE_MM = 1e-3  # points of an outline as far off a chord are told apart by rounding alone
LOOSE = 2.2  # grids that a side may stand off where its corners are too sharp for the grid
_BLUNT, _NEEDLE = 1.9, 7.9  # mitres from which a point may be cut off short; finer grids first
_HAIR = 20.0  # a mitre whose sides no grid holds
ROUND_MM = 0.02  # of corners worked out twice where sides are moved out
COVER_MM = 0.01  # a chord that cuts off less is a rounding of plan.json
_REACH = 14  # grids; no corner is further from where its chords meet
Turn = tuple[int, int, int]  # a point of an outline where chords meet, between two others
_STEPS = np.stack(np.meshgrid(*[np.arange(-_REACH, _REACH + 1)] * 2), axis=-1).reshape(-1, 2)


def cut_off_mm(marks: np.ndarray, ring: np.ndarray) -> float:
    """How much of an outline lies outside its marks, 0.0 where all of it is inside."""
    lost = ring[~plane.inside(ring, marks)]
    let_in = marks[plane.inside(marks, ring)]
    return max(
        float(plane.distance_to_path(lost, marks).max(initial=0.0)),
        float(plane.distance_to_path(let_in, ring).max(initial=0.0)),
    )


def over_mm(marks: np.ndarray, ring: np.ndarray) -> float:
    """Largest distance from the corners of either ring to the other."""
    return float(
        max(plane.distance_to_path(marks, ring).max(), plane.distance_to_path(ring, marks).max())
    )


def begins_at_the_end(marks: np.ndarray) -> bool:
    """Point 1 is the one nearest to the end of the stock; the others go counter-clockwise."""
    return tuple(marks[0]) == min(map(tuple, marks)) and plane.area(marks) > 0


def stand_where_due(
    marks: np.ndarray, ring: np.ndarray, room: tuple[float, float], unit: str
) -> bool:
    """Every mark is the grid point that the chords of an outline ask for."""
    for curve, grid in FINENESS[unit]:
        places = marks / grid
        if np.abs(places - np.round(places)).max() > 1e-4:
            continue
        last = math.ceil(room[0] / grid - 1e-6), math.ceil(room[1] / grid - 1e-6)
        keys = [tuple(p) for p in np.round(places).astype(int).tolist()]
        turns, corners, sides = _chords(ring, curve, TIE_MM)
        if _alike(keys, turns, _due(corners, sides, grid, room), last):
            return True
        wider = _moved_out(ring, grid * 2**0.5)  # where a corner is too sharp for the grid
        turns, corners, _ = _chords(wider, curve, 10 * TIE_MM)
        if _alike(keys, turns, _nearest(corners, grid), last):
            return True
    return False


def has_needles(marks: np.ndarray, ring: np.ndarray, unit: str) -> bool:
    """Whether an outline has corners so sharp that they may be cut off short."""
    return len(_needles(marks, ring, unit)) > 0


def bridge_slots(marks: np.ndarray, ring: np.ndarray, unit: str) -> bool:
    """Whether a slot, which is cut first, lies inside the marks and away from their sides."""
    curve, grid = FINENESS[unit][0]
    return float(plane.distance_to_path(ring, marks).max()) > curve + LOOSE * grid


def end_on_the_edge(
    marks: np.ndarray, ring: np.ndarray, room: tuple[float, float], unit: str
) -> bool:
    """Whether an edge of the stock takes the place of a cut: a mark on it stands for none of the
    corners, and every mark inside the stock for one."""
    at_edge = (np.minimum(marks, np.array(room) - marks) < TOUCH_MM).any(axis=1)
    on_grid = [(curve, grid) for curve, grid in FINENESS[unit]
               if np.abs(marks / grid - np.round(marks / grid)).max() <= 1e-4]  # fmt: skip
    for curve, grid in on_grid:
        if grid < on_grid[0][1]:
            break
        _, corners, sides = _chords(ring, curve, TIE_MM)
        due = set().union(*_due(corners, sides, grid, room))
        asked = np.array([tuple(p) in due for p in np.round(marks / grid).astype(int).tolist()])
        if asked[~at_edge].all() and not asked[at_edge].all():
            return True
    return False


def stand_near(marks: np.ndarray, ring: np.ndarray, unit: str) -> bool:
    """Every side comes as near to the outline, and every corner too, as its sharpness lets it."""
    curve, grid = FINENESS[unit][0]
    slack = LOOSE * grid
    mitres = _mitres(marks, np.roll(marks, 1, axis=0), np.roll(marks, -1, axis=0))
    room = (slack + curve) * np.minimum(mitres, _NEEDLE)
    at_tip = np.zeros(len(marks), dtype=bool)
    at_hair = at_tip.copy()
    for x, y, sharp in _needles(marks, ring, unit):
        near = np.hypot(*(marks - (x, y)).T) <= (slack + curve) * sharp
        at_tip |= near
        at_hair |= near & (sharp > _HAIR)
    if (plane.distance_to_path(marks, ring) > room)[~at_tip].any():
        return False
    sides = np.stack([marks, np.roll(marks, -1, axis=0)], axis=1)
    short = (at_tip & np.roll(at_tip, -1)) | at_hair | np.roll(at_hair, -1)
    return all(
        plane.distance_to_path(ring, side, closed=False).min() <= slack
        or plane.distance_to_path(side, ring).min() <= slack
        for side in sides[~short]
    )


def _needles(marks: np.ndarray, ring: np.ndarray, unit: str) -> np.ndarray:
    """Corners of an outline so sharp that they may be cut off short, and their mitres, (n, 3);
    finer grids cut short first."""
    curve, grid = FINENESS[unit][0]
    finer = np.abs(marks / grid - np.round(marks / grid)).max() > 1e-4
    at = np.array(sorted(_turns(ring, curve, 0.0)))
    mitres = _mitres(ring[at[:, 1]], ring[at[:, 0]], ring[at[:, 2]])
    sharp = mitres > (_BLUNT if finer else _NEEDLE)
    return np.column_stack([ring[at[:, 1]], mitres])[sharp]


def _mitres(corners: np.ndarray, last: np.ndarray, following: np.ndarray) -> np.ndarray:
    """How many times further than its sides each corner moves when they are moved out."""
    before, after = last - corners, following - corners
    sizes = np.hypot(*before.T) * np.hypot(*after.T)
    cosine = np.clip((before * after).sum(axis=1) / np.maximum(sizes, 1e-12), -1.0, 1.0)
    return 1.0 / np.sqrt(np.maximum((1.0 - cosine) / 2.0, 1e-12))


def _alike(keys: list[tuple], turns: list[Turn], due: list[set], last: tuple[int, int]) -> bool:
    """Every mark is due at a turn, and the next one at a turn that follows it; where the stock's
    edge is the cut, sides end on it."""
    stands: dict[tuple, list[int]] = {}
    for k, spots in enumerate(due):
        for spot in spots:
            stands.setdefault(spot, []).append(k)
    after: dict[tuple[int, int], list[int]] = {}
    for k, turn in enumerate(turns):
        after.setdefault(turn[:2], []).append(k)
    links = {(k, j) for k, turn in enumerate(turns) for j in after.get(turn[1:], [])}
    found = [stands.get(key, []) for key in keys]
    ends = _on_edge(due, links, last)
    if any(not ks and key not in ends for ks, key in zip(found, keys, strict=True)):
        return False
    edges = ({0, last[0]}, {0, last[1]})
    return all(
        any((k, j) in links for k in here for j in there)
        or key in ends
        or other in ends
        or any(a == b and a in edge for a, b, edge in zip(key, other, edges, strict=True))
        for here, there, key, other in zip(
            found, found[1:] + found[:1], keys, keys[1:] + keys[:1], strict=True
        )
    )


def _on_edge(due: list[set], links: set[tuple[int, int]], last: tuple[int, int]) -> set[tuple]:
    """Where sides between due grid points end on the edge of the stock: the next grid point along
    it, away from the piece; and the stock's own corners."""
    ends: set[tuple] = {(x, y) for x in (0, last[0]) for y in (0, last[1])}
    beyond = [any(min(x, y, last[0] - x, last[1] - y) < 0 for x, y in spots) for spots in due]
    for k, j in links:
        if not beyond[k] and not beyond[j]:
            continue
        for a, b in ((a, b) for a in due[k] for b in due[j]):
            for axis, edge in ((0, 0), (0, last[0]), (1, 0), (1, last[1])):
                p, q = a[axis] - edge, b[axis] - edge
                if p * q >= 0:
                    continue
                at = a[1 - axis] + (b[1 - axis] - a[1 - axis]) * p / (p - q)
                leaves = q < 0 if edge == 0 else q > 0
                up = leaves == ((axis == 0) == (edge == 0))
                tick = math.ceil(at - 1e-5) if up else math.floor(at + 1e-5)
                ends.add((edge, tick) if axis == 0 else (tick, edge))
    return ends


def _chords(
    ring: np.ndarray, curve: float, tie: float
) -> tuple[list[Turn], np.ndarray, np.ndarray]:
    """Where the chords of an outline turn, the corners in which they meet, and their ways out
    (before, after), (n, 2, 2)."""
    turns = sorted(_turns(ring, curve, tie))
    if all(before == after for before, _, after in turns):
        # a line at this width stands for itself by the box around it
        low, high = ring.min(axis=0), ring.max(axis=0)
        box = np.array([low, (high[0], low[1]), high, (low[0], high[1])])
        out = np.array([(0, -1), (1, 0), (0, 1), (-1, 0)], dtype=float)
        around = [((k - 1) % 4, k, (k + 1) % 4) for k in range(4)]
        return around, box, np.stack([np.roll(out, 1, axis=0), out], axis=1)
    turns = [turn for turn in turns if turn[0] != turn[2]]
    return turns, *_meeting(ring, turns)


def _openings(ring: np.ndarray) -> Iterator[tuple[int, int]]:
    for first in np.flatnonzero(ring[:, 0] < ring[:, 0].min() + 1e-3)[:3].tolist():
        away = np.hypot(*(ring - ring[first]).T)
        for far in np.flatnonzero(away > away.max() - 1e-3)[:3].tolist():
            yield first, far


def _turns(ring: np.ndarray, curve: float, tie: float) -> set[Turn]:
    """The points that Douglas and Peucker's rule keeps of a ring, each with the one kept before and
    after; points whose distances differ by less than `tie` may each be kept."""
    n = len(ring)
    turns: set[Turn] = set()
    known: dict[tuple[int, int], tuple[set[int], set[int]]] = {}

    def walk(low: int, high: int) -> tuple[set[int], set[int]]:
        """The points kept first and last on a stretch, its other end where there is none."""
        if (low, high) in known:
            return known[low, high]
        run = ring[np.arange(low, high + 1) % n]
        from_first, (x, y) = run - run[0], run[-1] - run[0]
        off = np.abs(from_first[:, 1] * x - from_first[:, 0] * y) / max(
            float(np.hypot(x, y)), 1e-12
        )
        most = float(off[1:-1].max(initial=0.0))
        firsts: set[int] = {high % n} if most <= curve + tie else set()
        lasts: set[int] = {low % n} if firsts else set()
        if most > curve - tie:
            for at in (np.flatnonzero(off[1:-1] >= most - tie) + 1 + low).tolist():
                one, before = walk(low, at)
                after, other = walk(at, high)
                turns.update((p, at % n, q) for p in before for q in after)
                firsts |= one
                lasts |= other
        known[low, high] = firsts, lasts
        return firsts, lasts

    for first, far in _openings(ring):
        firsts, lasts = walk(first, far if far > first else far + n)
        others, closing = walk(far, first if first > far else first + n)
        turns.update((p, first, q) for p in closing for q in firsts)
        turns.update((p, far, q) for p in lasts for q in others)
    return turns


def _meeting(ring: np.ndarray, turns: list[Turn]) -> tuple[np.ndarray, np.ndarray]:
    """Each chord moved out until its stretch of the outline is inside; where neighbours meet."""
    n = len(ring)
    chords = sorted({t[:2] for t in turns} | {t[1:] for t in turns})
    ends = np.array(chords)
    along = ring[ends[:, 1]] - ring[ends[:, 0]]
    along /= np.hypot(*along.T)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    reach = np.empty(len(chords))
    for k, (low, high) in enumerate(chords):
        run = ring[np.arange(low, high + (n if high <= low else 0) + 1) % n]
        reach[k] = (run @ out[k]).max()
    number = {chord: k for k, chord in enumerate(chords)}
    i, j = np.array([(number[t[:2]], number[t[1:]]) for t in turns]).T
    corners = ring[[t[1] for t in turns]]
    a, b, p, q = out[i], out[j], reach[i], reach[j]
    det = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    straight = np.abs(det) < 1e-3
    safe = np.where(straight, 1.0, det)
    meet = np.column_stack([p * b[:, 1] - q * a[:, 1], q * a[:, 0] - p * b[:, 0]]) / safe[:, None]
    lift = np.maximum(p - (corners * a).sum(axis=1), q - (corners * b).sum(axis=1))
    level = corners + (a + b) / 2 * lift[:, None]
    return np.where(straight[:, None], level, meet), np.stack([a, b], axis=1)


def _moved_out(ring: np.ndarray, by: float) -> np.ndarray:
    """A ring whose sides are all moved out; neighbours are met again."""
    along = np.roll(ring, -1, axis=0) - ring
    along /= np.hypot(*along.T)[:, None]
    out = np.column_stack([along[:, 1], -along[:, 0]])
    before = np.roll(out, 1, axis=0)
    return ring + by * (before + out) / (1.0 + (before * out).sum(axis=1))[:, None]


def _nearest(corners: np.ndarray, grid: float) -> list[set]:
    """The grid points that corners may be rounded to, by number along and across."""
    low = np.round((corners - ROUND_MM) / grid).astype(int).tolist()
    high = np.round((corners + ROUND_MM) / grid).astype(int).tolist()
    return [{(x, y) for x in (a, c) for y in (b, d)}
            for (a, b), (c, d) in zip(low, high, strict=True)]  # fmt: skip


def _due(corners: np.ndarray, out: np.ndarray, grid: float, room: tuple[float, float]) -> list[set]:
    """The grid points, by number along and across, on which each corner may stand."""
    before, after = out[:, 0], out[:, 1]
    det = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0])
    slack = 5e-4 / np.maximum(det, 1e-3)  # what plan.json's rounding does where chords meet
    at = np.round(corners / grid).astype(int)[:, None] + _STEPS
    gap = at * grid - corners[:, None]
    outside = np.minimum((gap * before[:, None]).sum(axis=2), (gap * after[:, None]).sum(axis=2))
    off = (at * grid < -1e-6) | (at * grid > np.array(room) + grid + 1e-6)
    far = np.hypot(gap[..., 0], gap[..., 1]) + 1e3 * off.any(axis=2)
    least = np.where(outside >= TOUCH_MM, far, np.inf).min(axis=1)
    good = (outside >= -TOUCH_MM) & (far <= (least + 2 * slack + 2 * TOUCH_MM)[:, None])
    return [{tuple(p) for p in spots[use].tolist()} for spots, use in zip(at, good, strict=True)]
