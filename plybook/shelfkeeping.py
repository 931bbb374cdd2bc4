"""After the cut: the stock files as they should read, from the plans the parts were cut by."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.builtfolder import current_plan, cut_plan
from plybook.diagnostics import SpecError, error
from plybook.units import show_length

if TYPE_CHECKING:
    from plybook.nest.model import CutPlan
    from plybook.nest.remnant import AfterCut
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec, StockItem


@dataclass(frozen=True)
class Kept:
    """New texts of the stock files, and what changed in words."""

    files: Mapping[Path, str]
    words: tuple[str, ...]


def changed_files(
    specs: Sequence[PartSpec], out: Path, outside: Outside, received: str = ""
) -> Kept:
    """What becomes of the stock files when parts are cut as they were built.

    Args:
        specs: all parts that were cut together, as just read.
        out: folder they were built into.
        outside: for reading the plans and the stock files.
        received: ISO date for new left-overs, "" none.

    Raises:
        SpecError: a part is not built or has changed since; parts that share a roll are not all
            named; a unit stands in no stock file.
    """
    from plybook.nest.remnant import after_cut
    from plybook.stock.keep import update_stock

    plan = _together(specs, [current_plan(spec, out, outside)[0] for spec in specs])
    stock = {item.id: item for spec in specs for item in spec.stock}
    spoiled = _with_spoiled(plan, stock)
    after = after_cut(plan, spoiled, received)
    per_file: dict[Path, tuple[list[str], list[StockItem], list[StockItem]]] = {}

    def of(item: StockItem):
        if not item.place.file:
            raise SpecError(
                error("stock-elsewhere", f"{item.id} stands in no stock file", "", item.place)
            )
        return per_file.setdefault(Path(item.place.file), ([], [], []))

    for name in after.gone:
        of(stock[name])[0].append(name)
    for item in after.left:
        of(stock[item.id])[1].append(item)
    for item in after.new:
        of(stock[_source(item.id.removesuffix("-rest"), stock)])[2].append(item)
    files = {}
    for path, (gone, left, new) in per_file.items():
        text = outside.read(path, 20_000_000).decode("utf-8-sig")
        files[path] = update_stock(text, gone, left, new)
    return Kept(files, tuple(_words(after, specs[0].part.units)))


def _together(specs: Sequence[PartSpec], plans: Sequence[Mapping[str, Any]]) -> CutPlan:
    """One cut plan of several parts; each unit of stock once, with everything cut from it."""
    from plybook.nest.model import CutPlan

    named = {spec.part.number for spec in specs}
    layouts, items = {}, {}
    owners: dict[str, set[str]] = {}
    for spec, plan in zip(specs, plans, strict=True):
        for row in plan["layouts"]:
            there = {spec.part.number, *(other["part"] for other in row["also_cut"])}
            if there - named:
                raise SpecError(
                    error(
                        "cut-together",
                        f"{row['stock']} also holds pieces of {', '.join(sorted(there - named))}",
                        "name all parts that are cut together",
                    )
                )
            if owners.setdefault(row["stock"], there) != there:
                raise SpecError(
                    error(
                        "cut-together",
                        f"{' and '.join(sorted(owners[row['stock']] | there))} were each planned "
                        f"alone on {row['stock']}: their layouts lie over one another",
                        "build them together, or keep one, build the other again and keep that",
                    )
                )
        whole = cut_plan(spec, plan)
        for layout in whole.layouts:
            if layout.unit.id not in layouts:
                layouts[layout.unit.id] = layout
                items.update({item.id: item for item in whole.items})
    return CutPlan(tuple(layouts.values()), tuple(items.values()), ())


def _with_spoiled(plan: CutPlan, stock: Mapping[str, StockItem]) -> list[StockItem]:
    """The shelf with the places where pieces were spoiled as bad zones of their rolls."""
    known = dict(stock)
    for layout in plan.layouts:
        unit = layout.unit
        item = known.get(unit.id)
        if item is not None and len(unit.bad_zones_mm) > len(item.bad_zones_mm):
            zones = tuple(zone + (0.0, unit.edge_mm) for zone in unit.bad_zones_mm)
            known[unit.id] = replace(item, bad_zones_mm=zones)
    return list(known.values())


def _source(unit: str, stock: Mapping[str, StockItem]) -> str:
    return unit if unit in stock else unit.rpartition("-")[0]


def _words(after: AfterCut, units: str) -> list[str]:
    def size(item: StockItem) -> str:
        length = show_length(item.length_mm, units)
        if item.kind == "sheet" or item.outline_mm is not None:
            return f"{length} x {show_length(item.width_mm, units)}"
        return length

    return [
        *(f"gone: {name}" for name in after.gone),
        *(f"left: {item.id}, {size(item)} of {item.material}" for item in after.left),
        *(f"new:  {item.id}, {size(item)} of {item.material}" for item in after.new),
    ]
