"""One plain stretch of a roll: its whole width, a length there is room for, nothing in the way.

Terms:
    face choice: which copies lie face down, of those that may. The irregular packer cannot turn a
        piece over, so some choices are tried for a while and the best is searched on.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from plybook.nest.board import Board
from plybook.nest.bound import strip_bound
from plybook.nest.budget import Search
from plybook.nest.compact import NoFits
from plybook.nest.laying import Copy, fill
from plybook.nest.model import Item, Placement, Unit
from plybook.nest.placing import turn_ring
from plybook.nest.race import packer_is_installed
from plybook.nest.strip import FEW as LITTLE_FEW
from plybook.nest.strip import StripResult, pack_strip

Faces = frozenset[tuple[str, int]]  # copies that lie face down

FEW = 8  # so few pieces are laid at once, and the same on every machine, where that is good
ORDERS, WHIM = 12, 0.1  # orders tried for few pieces; how far a reach is misjudged in them
FEW_ALONE, ALONE_SHARE = 120, 0.7  # without the packer: orders are tried for so much of the time
FULLEST = 0.93  # of a stretch's area that a set of pieces may hope to fill
AS_GOOD_AS_BOUND = 1.0005  # a layout this near its bound ends the search
TRIAL_SHARE, LEAST_TRIAL_S = 0.12, 1.0  # of the time, for each face choice


class Laid(NamedTuple):
    """What was laid on a stretch, what was not, and how far it reaches."""

    placements: list[Placement]
    rest: list[Copy]
    reach_mm: float
    method: str


def fill_stretch(
    copies: Sequence[Copy],
    width_mm: float,
    room_mm: float,
    search: Search,
) -> Laid:
    """As many copies as there is room for, in as little length as the time allows.

    Args:
        copies: all fit across in some orientation.
        width_mm: usable.
        room_mm: how long the stretch may become.
        search: gap, time, seed and whom to tell.

    Returns:
        Placements counted from the stretch's own end.
    """
    done = pack_stretch(copies, width_mm, room_mm, search)
    if done is None:
        done = lay_in_turn(copies, plain_unit(width_mm, room_mm), search.gap_mm)
        if search.left_s() > 0.5:
            done = _topped_up(done, copies, width_mm, room_mm, search.quietly())
        if done.placements:
            search.tell(done.reach_mm)
    return done


def plain_unit(width_mm: float, length_mm: float) -> Unit:
    """A roll with nothing in the way."""
    return Unit("", "roll", "", length_mm, width_mm)


def start_of(unit: Unit, length_mm: float) -> np.ndarray:
    """The first part of a unit, as a ring."""
    return np.array([(0, 0), (length_mm, 0), (length_mm, unit.width_mm), (0, unit.width_mm)])


def length_bound(copies: Sequence[Copy], gap_mm: float, width_mm: float) -> float:
    """What no layout of these copies on a roll of this width can go below, mm."""
    lots = list(Counter(c.item.id for c in copies).items())
    items = {c.item.id: c.item for c in copies}
    return strip_bound(
        [items[name].outline_mm for name, _ in lots],
        [count for _, count in lots],
        [items[name].rotations_deg for name, _ in lots],
        gap_mm,
        width_mm,
    )


def lay_in_turn(
    copies: Sequence[Copy],
    unit: Unit,
    gap_mm: float,
    start_mm: float = 0.0,
    whim: Callable[[], float] | None = None,
    rng: random.Random | None = None,
    no_fits: NoFits | None = None,
) -> Laid:
    """Copies laid one by one beyond `start_mm`, as many as fit: large ones first, or in about
    that order where a source of chance is given."""
    board = Board(unit, no_fits or NoFits(gap_mm))
    if start_mm > 0:
        board.block(start_of(unit, start_mm))
    stray = (lambda: rng.lognormvariate(0.0, 0.3)) if rng else (lambda: 1.0)
    order = sorted(copies, key=lambda c: (-c.area_mm2 * stray(), c.item.id, c.number))
    made, rest = fill(board, order, whim)
    reach = max((float(x.place_mm[0] + x.shape.high[0]) for x in board.pieces()), default=0.0)
    return Laid(made, rest, reach, "irregular")


def pack_stretch(
    copies: Sequence[Copy],
    width_mm: float,
    room_mm: float,
    search: Search,
    enough_mm: float = 0.0,
) -> Laid | None:
    """All copies on a stretch; None where they take more than the room.

    Arguments as of `fill_stretch`; a length of `enough_mm` ends the search.
    """
    bound = length_bound(copies, search.gap_mm, width_mm)
    if bound > room_mm:
        return None
    enough = max(bound * AS_GOOD_AS_BOUND, enough_mm)
    in_turn: Laid | None = None
    flips = any(c.item.may_flip for c in copies)
    alone = not packer_is_installed() and len(copies) <= FEW_ALONE
    if len(copies) <= FEW or flips or alone:
        part = search.part(search.left_s() * ALONE_SHARE if alone else 0.0)
        in_turn = _in_some_orders(copies, plain_unit(width_mm, room_mm), part)
        if in_turn.rest:
            in_turn = None
        elif in_turn.reach_mm <= enough:
            return in_turn
    choices = _face_choices(copies, in_turn) if flips else [frozenset[tuple[str, int]]()]
    trial_s = search.left_s() * TRIAL_SHARE
    if trial_s < LEAST_TRIAL_S:  # laid one by one, which takes next to nothing for few pieces
        trial_s, choices = 0.0, choices[: 3 if len(copies) <= LITTLE_FEW else 1]
    best = in_turn
    ranks = []
    for n, faces in enumerate(choices if len(choices) > 1 else ()):
        tried = _packed(copies, faces, width_mm, search.part(trial_s), enough)
        best = tried if best is None or tried.reach_mm < best.reach_mm else best
        ranks.append((tried.reach_mm, n))
    chosen = choices[min(ranks)[1]] if ranks else choices[0]
    if best is None or best.reach_mm > enough:
        tried = _packed(copies, chosen, width_mm, search, enough)
        best = tried if best is None or tried.reach_mm < best.reach_mm else best
    return best if best.reach_mm <= room_mm + 1e-6 else None


def _in_some_orders(copies: Sequence[Copy], unit: Unit, search: Search) -> Laid:
    """Laid in turn: large ones first, and in other orders where there are few or there is time."""
    gap_mm, rng = search.gap_mm, random.Random(search.seed)
    no_fits = NoFits(gap_mm)
    best = lay_in_turn(copies, unit, gap_mm, no_fits=no_fits)
    tries = ORDERS if 1 < len(copies) <= FEW else 0
    while tries > 0 or search.left_s():
        laid = lay_in_turn(copies, unit, gap_mm, 0.0, lambda: rng.lognormvariate(0.0, WHIM), rng,
                           no_fits)  # fmt: skip
        best = min(best, laid, key=lambda x: (len(x.rest), x.reach_mm))
        tries -= 1
    return best


def _face_choices(copies: Sequence[Copy], in_turn: Laid | None) -> list[Faces]:
    """Different choices, the likeliest first: as they came to lie when laid in turn, every second
    one down, none down."""
    may = [(c.item.id, c.number) for c in copies if c.item.may_flip]
    found = [frozenset(may[1::2]), frozenset[tuple[str, int]]()]
    if in_turn is not None:
        found.insert(0, frozenset((p.item, p.copy) for p in in_turn.placements if p.flipped))
    return list(dict.fromkeys(found))


def _packed(
    copies: Sequence[Copy],
    faces: Faces,
    width_mm: float,
    search: Search,
    enough_mm: float,
) -> Laid:
    """All copies by the strip packer, with this choice of faces."""
    entries: dict[tuple[str, bool], list[Copy]] = {}
    for copy in copies:
        down = (copy.item.id, copy.number) in faces
        entries.setdefault((copy.item.id, down), []).append(copy)
    lots = [(down, lot) for (_, down), lot in entries.items()]
    result = pack_strip(
        [lot[0].item.outline_mm for _, lot in lots],
        [len(lot) for _, lot in lots],
        [_rotations(lot[0].item, down, width_mm) for down, lot in lots],
        search.gap_mm,
        width_mm,
        0.0,
        search.seed,
        flipped=[down for down, _ in lots],
        target_mm=enough_mm,
        progress=search.progress,
        budget=search.budget,
    )
    return Laid(_named(result, [lot for _, lot in lots]), [], result.length_mm, result.method)


def _named(result: StripResult, lots: Sequence[Sequence[Copy]]) -> list[Placement]:
    found = []
    for p in result.placements:
        copy = lots[p.index][p.copy - 1]
        found.append(
            Placement(copy.item.id, copy.number, p.x_mm, p.y_mm, p.rotation_deg, p.flipped)
        )
    return found


def _rotations(item: Item, down: bool, width_mm: float) -> tuple[float, ...] | None:
    """Allowed rotations in which the item fits across; None = free."""
    allowed = item.rotations_deg
    if down and item.flipped_rotations_deg is not None:
        allowed = item.flipped_rotations_deg
    if allowed is None:
        return None
    return tuple(
        r for r in allowed if np.ptp(turn_ring(item.outline_mm, r, down)[:, 1]) <= width_mm + 1e-6
    )


def _topped_up(
    done: Laid,
    copies: Sequence[Copy],
    width_mm: float,
    room_mm: float,
    search: Search,
) -> Laid:
    """More copies on a stretch that cannot hold all: sets of growing area are tried as a whole;
    large pieces first, so that what is left for the next roll is easy to lay."""
    whole = width_mm * room_mm
    by_name = {(c.item.id, c.number): c for c in copies}
    best, tries = done, 4
    fullest = sum(by_name[p.item, p.copy].area_mm2 for p in done.placements) / whole
    hope = 0.5 * (fullest + FULLEST)
    for n in range(tries):
        if hope <= fullest + 0.005 or search.left_s() < 0.3:
            break
        some = _large_ones(copies, hope * whole)
        part = search.part(search.left_s() / (tries - n))
        tried = pack_stretch(some, width_mm, room_mm, part, room_mm)
        if tried is None:
            hope = 0.5 * (fullest + hope)
            continue
        taken = {id(c) for c in some}
        best = tried._replace(rest=[c for c in copies if id(c) not in taken])
        fullest = sum(c.area_mm2 for c in some) / whole
        hope = 0.5 * (fullest + FULLEST)
    return best


def _large_ones(copies: Sequence[Copy], area_mm2: float) -> list[Copy]:
    """Copies, large ones first, while they keep within an area."""
    chosen = []
    for copy in sorted(copies, key=lambda c: (-c.area_mm2, c.item.id, c.number)):
        if copy.area_mm2 <= area_mm2:
            chosen.append(copy)
            area_mm2 -= copy.area_mm2
    return chosen


def moved(placements: Sequence[Placement], along_mm: float) -> list[Placement]:
    """Placements further along the roll."""
    return [replace(p, x_mm=p.x_mm + along_mm) for p in placements]
