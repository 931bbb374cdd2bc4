"""After the cut: the stock files as they should read, from the plans the parts were cut by."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.builtfolder import build_key, current_plan, cut_plan
from plybook.diagnostics import SpecError, error
from plybook.outside import Overlaid, sha256
from plybook.units import show_length

if TYPE_CHECKING:
    from plybook.nest.model import CutPlan
    from plybook.nest.remnant import AfterCut
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec, StockItem

KEPT = ".plybook-kept.json"  # in the output: which builds were taken off the shelf
LARGEST_BYTES = 20_000_000
_MARK = b"\xef\xbb\xbf"
_ROUNDED_MM = 0.3  # 1/100 in


@dataclass(frozen=True)
class Kept:
    """New contents of the stock files, and what changed in words."""

    files: Mapping[Path, bytes]
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
    from plybook.stock.keep import unit_of, update_stock

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
        unit = re.sub(r"-(rest|side\d*)$", "", item.id)
        of(stock[_source(unit, stock)])[2].append(item)
    files, unit_by_material = {}, {}
    for path, (gone, left, new) in per_file.items():
        content = outside.read(path, LARGEST_BYTES)
        mark = _MARK if content.startswith(_MARK) else b""
        text = content.removeprefix(mark).decode()
        files[path] = mark + update_stock(text, gone, left, new, str(path)).encode()
        unit = unit_of(text, str(path))
        unit_by_material.update(dict.fromkeys((x.material for x in [*left, *new]), unit))
    _hold(specs, files, after, outside)
    return Kept(files, tuple(_words(after, unit_by_material)))


def _hold(
    specs: Sequence[PartSpec], files: Mapping[Path, bytes], after: AfterCut, outside: Outside
) -> None:
    """Read the specs again with the new stock files and hold their stock against what is meant.

    Raises:
        SpecError: an entry would not be read as it is meant; nothing is written then.
    """
    from plybook.spec import load

    overlaid = Overlaid(outside, files)
    left = {item.id: item.length_mm for item in after.left}
    for path in dict.fromkeys(Path(spec.part.place.file) for spec in specs):
        try:
            read = load(path, overlaid).specs[0].stock
        except SpecError as wrong:
            if all(f.code == "no-stock" for f in wrong.findings):
                continue  # the shelf is empty now
            raise
        for item in read:
            meant = left.get(item.id, item.length_mm)
            if abs(item.length_mm - meant) > _ROUNDED_MM:
                raise SpecError(
                    error(
                        "stock-not-editable",
                        f"{item.id} would be read as {item.length_mm:g} mm long, {meant:g} mm is "
                        "meant",
                        "change the entry by hand",
                        item.place,
                    )
                )


# ---------------------------------------------------------------- what was kept before


def refuse_kept_before(specs: Sequence[PartSpec], out: Path, outside: Outside) -> None:
    """Refuse to take off the shelf a second time what was taken off once.

    Raises:
        SpecError: a part was kept, by this build or by an earlier one.
    """
    known = _kept_before(out, outside)[0]
    for spec in specs:
        number = spec.part.number
        if number not in known:
            continue
        if known[number] == build_key(number, out, outside):
            raise SpecError(
                error(
                    "kept-already",
                    f"what {number} was cut from is off the shelf already",
                    "nothing is left to do; to make the part once more, build it again and keep "
                    "that build with --again",
                )
            )
        raise SpecError(
            error(
                "kept-before",
                f"what {number} was cut from was taken off the shelf before, with an earlier build",
                "if it is cut once more, repeat this with --again; else the shelf is right",
            )
        )


def receipt(
    specs: Sequence[PartSpec], out: Path, outside: Outside, files: Mapping[Path, bytes]
) -> tuple[Path, bytes]:
    """The list of what was kept, with these parts on it: where it stands and its new content.

    It also names the stock files that are about to be written, by their hash.
    """
    known = dict(_kept_before(out, outside)[0])
    for spec in specs:
        known[spec.part.number] = build_key(spec.part.number, out, outside)
    content = {"parts": known, "writing": sorted(sha256(data) for data in files.values())}
    return out / KEPT, json.dumps(content, indent=1, sort_keys=True).encode()


def begun(specs: Sequence[PartSpec], out: Path, outside: Outside) -> dict[Path, bytes]:
    """Stock files that a keep which was cut short had ready and did not put in their place."""
    from plybook.write.files import staged_name

    writing = _kept_before(out, outside)[1]
    found = {}
    for path in {Path(item.place.file) for spec in specs for item in spec.stock if item.place.file}:
        try:
            content = outside.read(staged_name(outside.real(path)), LARGEST_BYTES)
        except SpecError:
            continue
        if sha256(content) in writing:
            found[path] = content
    return found


def _kept_before(out: Path, outside: Outside) -> tuple[dict[str, str], list[str]]:
    """Part number -> the build it was kept with, and the hashes of what was then written.

    Raises:
        SpecError: the list is there and damaged.
    """
    path = out / KEPT
    try:
        content = outside.read(path, LARGEST_BYTES)
    except SpecError as none:
        if none.findings[0].code == "no-such-file":
            return {}, []
        raise
    try:
        found = json.loads(content)
        parts, writing = dict(found["parts"]), list(found["writing"])
        if not all(isinstance(text, str) for text in (*parts.values(), *writing)):
            raise ValueError
        return parts, writing
    except (ValueError, RecursionError, KeyError, TypeError):
        raise SpecError(
            error(
                "kept-list-damaged",
                f"{path}, the list of builds whose stock is off the shelf, is damaged",
                "delete it if none of these parts was kept yet",
            )
        ) from None


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


def _words(after: AfterCut, units: Mapping[str, str]) -> list[str]:
    """What changes, in the unit of the file that holds a material."""

    def size(item: StockItem) -> str:
        length = show_length(item.length_mm, units[item.material])
        if item.kind != "sheet" and item.outline_mm is None:
            return length
        corners = 4 if item.outline_mm is None else len(item.outline_mm)
        sides = f"{length} x {show_length(item.width_mm, units[item.material])}"
        return sides if corners == 4 else f"{sides}, {corners} corners"

    return [
        *(f"gone: {name}" for name in after.gone),
        *(f"left: {item.id}, {size(item)} of {item.material}" for item in after.left),
        *(f"new:  {item.id}, {size(item)} of {item.material}" for item in after.new),
    ]
