"""What each way of sorting pieces into kits takes off the rolls: one sheet of the cut plan."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from plybook.drawing.letters import fitted, wrapped
from plybook.drawing.scene import Primitive
from plybook.drawing.titleblock import HEIGHT_MM, TitleFacts
from plybook.nest.markout import tape
from plybook.nest.model import Bay, CutPlan, Fold
from plybook.spec.model import PartSpec
from plybook.units import show_roll
from plybook.write.cut_sheets import Area, Sheet, heading_and_reading
from plybook.write.markout_pages import Columns, Row, TableBlock, set_blocks

KITS, KITS_SAID = "Kits", "what each way of cutting takes off the rolls"
CHOSEN = "cut so"
LONGER, NONE = "longer than the tightest", "\u2013"
ALIKE_MM = 0.5  # lengths that differ by less are told as alike
CELLS = Columns(1, ((0.0, "start"), (110.0, "end"), (148.0, "end"), (186.0, "end"), (224.0, "end")))
NAME_MM, TABLE_MM = 78.0, 36.0  # room for a name; from the upper edge to the table
READING = (
    "The pieces of a kit lie together on the roll, with a cut straight across between one kit and "
    "the next: cut the kit off, cut its pieces, roll them up and lay them away. Foam, plywood and "
    "bars are cut as they are without kits. Lengths other than those of this plan are the shortest "
    "that were found in as long a search."
)


BOTH = "Both hands at once"
FOLDING = (
    "Either side of these lines lie a kit and its image of the opposite hand: both can be cut at "
    "once. Draw the line across the cloth before anything is cut off, and mark out only the kit "
    "after it. Cut off what lies before the two kits. Fold the cloth on the line, its end "
    "underneath, selvedge on selvedge, and pin or tape both layers together outside the pieces. "
    "Cut through both. The lower layer gives the kit before the line, its pieces face down: write "
    "id, hand and fibre arrow on each before it is lifted. Turn the first two onto each other: "
    "where they differ by more than cloth may, cut each hand by itself."
)


def kit_sheets(
    plan: CutPlan, specs: Sequence[PartSpec], number: str, area_mm: Area
) -> Iterator[Sheet]:
    """The sheet with the table; none where nothing is said of kits.

    Args:
        plan: `kits` and `folds` of it.
        specs: of the parts cut; the first gives the unit, and each material its name.
        number: of the part or the set.
        area_mm: what of a sheet is printed.
    """
    ways = plan.kits
    if not ways or not ways[0].lengths_mm:
        return
    x0, y0, x1, y1 = area_mm
    unit = specs[0].part.units
    names = {k: v for spec in reversed(specs) for k, v in spec.materials.names().items()}

    def page() -> list[Primitive]:
        rows = wrapped(READING, x1 - x0, 2.5)
        return heading_and_reading(KITS, KITS_SAID, number, area_mm, rows)

    heads: Row = ("", *(f"{way.way}, {CHOSEN}" if way.chosen else way.way for way in ways))
    rows: list[Row] = [("kits", *(str(way.kits or "none") for way in ways))]
    for k, (material, least) in enumerate(ways[0].lengths_mm):
        lengths = [way.lengths_mm[k][1] for way in ways]
        rows.append((fitted(names.get(material, material), NAME_MM, 2.5),
                     *(_shown(length, unit) for length in lengths)))  # fmt: skip
        rows.append((LONGER, NONE, *(_longer(length, least, unit) for length in lengths[1:])))
    area = (x0, y0 + HEIGHT_MM + 5.0, x1, y1 - TABLE_MM)
    blocks = [TableBlock((("Off the rolls", 3.5, True),), tuple(rows))]
    if plan.folds:
        said = wrapped(_folding(plan.folds, names, unit), x1 - x0, 2.5)
        head = ((BOTH, 3.5, True), *((row, 2.5, False) for row in said))
        homes = {layout.unit.id: layout for layout in plan.layouts}
        blocks.append(TableBlock(head, tuple(
            _fold_row(fold, homes[fold.stock].bay_of(fold.at_mm), unit) for fold in plan.folds
        )))  # fmt: skip
    for items in set_blocks(blocks, area, heads, page, CELLS):
        yield Sheet(items, TitleFacts("Cut plan", KITS_SAID, "", ""))


def _folding(folds: Sequence[Fold], names: Mapping[str, str], unit: str) -> str:
    """How to cut both hands at once, and what is not cut so."""
    refused = {fold.material: fold.refused for fold in folds if fold.refused}
    said = [f"{names.get(k, k)} is not folded: {why}." for k, why in refused.items()]
    named = "inches" if unit == "in" else unit
    if len(refused) < len({fold.material for fold in folds}):
        said.insert(0, f"{FOLDING} The line: along the roll, from its end or from the line of a "
                    f"bay that is named, in {named}.")  # fmt: skip
    return " ".join(said)


def _fold_row(fold: Fold, bay: Bay | None, unit: str) -> Row:
    where = tape(fold.at_mm - (bay.at_mm if bay else 0.0), unit)
    where += f" from line {bay.number}" if bay else ""
    where = "not folded" if fold.refused else where
    name = f"{fold.stock}: {fold.lower} and {fold.upper}"
    return fitted(name, NAME_MM, 2.5), where, "", "", ""


def _shown(length_mm: float | None, unit: str) -> str:
    return "does not fit" if length_mm is None else show_roll(length_mm, unit)


def _longer(length_mm: float | None, least_mm: float | None, unit: str) -> str:
    """How much more it is than the tightest plan; a search may also have found less."""
    if length_mm is None or least_mm is None:
        return NONE
    more = length_mm - least_mm
    if abs(more) <= ALIKE_MM:
        return show_roll(0.0, unit)
    return ("\u2212" if more < 0 else "+") + show_roll(abs(more), unit)
