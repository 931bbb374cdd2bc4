"""What is told of the bays of a roll: which line each begins at, and what is done first in it.

Line 1 is the roll's end; a bay begins at the line of its number and ends at the next one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from plybook.nest.bays import stage_cuts
from plybook.nest.markout import MarkedPiece, tape
from plybook.nest.model import Bay, Item, Layout
from plybook.shop.words import listed
from plybook.units import CLOTH, show_length

_NEAR_MM = 1e-3  # a cut between kits so near to a line is made at it


@dataclass(frozen=True)
class BayTold:
    """One bay and the words that stand above its pieces.

    Attributes:
        bay: as in the layout.
        said: from which line, and what is done at the next one before a piece is cut.
        along: how far the next line is from its own, by the tape.
    """

    bay: Bay
    said: str
    along: str


def bays_told(
    layout: Layout, marked: Sequence[MarkedPiece], items: Mapping[str, Item], unit: str
) -> tuple[BayTold, ...]:
    """The bays of a roll in words; none where all of it lies on the table.

    Args:
        layout: with its bays.
        marked: its pieces in the order of cutting, by whose numbers they are told.
        items: what is placed, by id.
        unit: "mm" or "in": of the tape.
    """
    kits = {round(cut.along_mm, 3): cut for cut in stage_cuts(layout, items, unit)}
    told = []
    for bay in layout.bays:
        over = [
            k
            for k, mark in enumerate(marked, start=1)
            if mark.ring_mm[:, 0].min() < bay.to_mm - _NEAR_MM < mark.ring_mm[:, 0].max() - _NEAR_MM
        ]
        said = [f"From line {bay.number}{', the end of the roll' * (bay.number == 1)}."]
        if not any(mark.bay == bay.number for mark in marked):
            said.append("No piece begins in it.")
        said.append(_first(bay, over, layout))
        if (cut := kits.get(round(bay.to_mm, 3))) is not None:
            said.append(f"Before it lie the pieces of {cut.before}, after it those of {cut.after}.")
        told.append(BayTold(bay, " ".join(said), tape(bay.to_mm - bay.at_mm, unit)))
    return tuple(told)


def _first(bay: Bay, over: Sequence[int], layout: Layout) -> str:
    """What is done at the second line of a bay before a piece is cut."""
    line, last = f"line {bay.number + 1}", bay.number == len(layout.bays)
    if last and bay.to_mm >= layout.unit.length_mm - _NEAR_MM:
        return "It ends where the roll ends."
    if last:
        return f"First cut straight across at {line}, behind its last piece."
    if bay.cut:
        return f"First cut straight across at {line}: the bay lies free."
    pieces = f"piece{'s' * (len(over) > 1)} {listed(map(str, over))}"
    return f"First draw {line} across, over {pieces}."


def longer_than_table(mark: MarkedPiece, layout: Layout, unit: str) -> str:
    """How a piece is measured that is longer than the table; "" for any other."""
    high = float(mark.told_mm[:, 0].max())
    if not layout.bays or high <= layout.table_mm:
        return ""
    return f"Longer than the table: figures {'; '.join(_beyond(mark, layout, high, unit))}."


def _beyond(mark: MarkedPiece, layout: Layout, high_mm: float, unit: str) -> Iterator[str]:
    for bay in layout.bays:
        off = bay.at_mm - mark.line_mm
        if 0.0 < off < high_mm:
            figure = tape(off, unit)
            yield f"above {figure} from line {bay.number}, less {figure}"


def working(layout: Layout, unit: str) -> str:
    """How the bays of a roll are worked through."""
    table = show_length(layout.table_mm, unit, grain=CLOTH)
    return (
        f"The roll is worked in bays that lie on a table of {table}: line 1 is its end. Measure "
        "each next line from the one before along both edges. When the bay is marked out, cut all "
        "of it, then roll on until the next line lies at the end of the table."
    )
