"""A piece was spoiled on the table: the sheet to cut it again by, everything else left in place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.builtfolder import (
    AGAIN,
    RECUT,
    SHARED,
    build_key,
    current_plan,
    cut_plan,
    cut_with,
    latest_plan,
    pieces_of,
    read_recut,
    recut_rows,
)
from plybook.diagnostics import UsageError, error

if TYPE_CHECKING:
    from collections.abc import Mapping

    from plybook.laminate.model import Piece
    from plybook.nest.model import CutPlan, Item, Layout, Unit
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec


_NAMED = 12  # pieces named where none was meant


@dataclass(frozen=True)
class Recut:
    """A piece cut again: its id, the folder that says how with its files, and the layout that it
    is cut from now."""

    piece: str
    folder: str
    files: dict[str, bytes]
    layout: Layout


def recut_folder(spec: PartSpec, asked: str, copy: int, out: Path, outside: Outside) -> Recut:
    """The one folder of a recut, beside that of the build: of a shared cut plan for all its parts.

    Args:
        spec: the part as just read.
        asked: the spoiled piece by its id, or by its layer where that is cut in one piece.
        copy: which copy of it, from 1.
        out: folder the part was built into.
        outside: for reading its plan.

    Raises:
        SpecError: the part, or one that shares its cut plan, is not built or has changed since.
        UsageError: there is no such piece.
        StockError: there is no room for another.
    """
    from plybook.nest.respoil import cut_again

    number = spec.part.number
    plan, _ = current_plan(spec, out, outside)
    pieces = pieces_of(plan)
    piece = _meant(asked, copy, pieces)
    name = cut_with(plan)
    numbers = plan[SHARED]["parts"] if SHARED in plan else [number]
    plans = {n: plan if n == number else latest_plan(n, out, outside) for n in numbers}
    before = cut_plan(spec, plan)
    after = cut_again(before, f"{number}/{piece}", copy, _spare(spec, pieces, plans))
    home, taker = (_holder(one, f"{number}/{piece}", copy) for one in (before, after))
    changed = {layout.unit.id: layout for layout in (home, taker)}
    layouts = [layout for layout in after.layouts if layout.unit.id in changed]
    cut = _in_bays(_named_by_part(layouts, after.items, plans), plans[numbers[0]])
    now = {n: _with_rows(data, cut, n) for n, data in plans.items()}
    earlier = read_recut(name, out, outside) or {"spoiled": [], "stock": []}
    stock = list(dict.fromkeys([*earlier["stock"], *changed]))
    spoiled = {"part": number, "piece": piece, "copy": copy, "stock": home.unit.id,
               "outline_mm": _ring(home, before, f"{number}/{piece}", copy)}  # fmt: skip
    again = {
        "recut": 1,
        "of": name,
        "builds": {n: build_key(n, out, outside) for n in plans},
        "stock": stock,
        "spoiled": [*earlier["spoiled"], spoiled],
        "layouts": {
            n: [row for row in data["layouts"] if row["stock"] in stock] for n, data in now.items()
        },
    }
    files = _files(spec, _whole(spec, now, stock), now, name, again)
    return Recut(piece, f"{name}{RECUT}", files, taker)


def _spare(spec: PartSpec, pieces: Sequence[Piece], plans: Mapping[str, Mapping]) -> list[Unit]:
    """Stock of the part that no part of the build cuts from; of what is bought the next one."""
    from dataclasses import replace

    from plybook.nest.needs import CutJob, gather

    used = {row["stock"] for data in plans.values() for row in data["layouts"]}
    needs, _ = gather([CutJob(spec, tuple(pieces))])
    spare = {unit.id: unit for need in needs for unit in need.units}
    for unit in list(spare.values()):
        if unit.bought and unit.id in used:
            stem, _, count = unit.id.rpartition("-")
            stem = stem if count.isdecimal() else unit.id
            names = (f"{stem}-{k}" for k in range(1, len(used) + 3))
            name = next(n for n in names if n not in used)
            spare.setdefault(name, replace(unit, id=name))
    return [unit for name, unit in spare.items() if name not in used]


def _holder(plan: CutPlan, item: str, copy: int) -> Layout:
    """The layout that holds a piece."""
    return next(
        layout
        for layout in plan.layouts
        if any((p.item, p.copy) == (item, copy) for p in layout.placements)
    )


def _ring(layout: Layout, plan: CutPlan, item: str, copy: int) -> list[list[float]]:
    """Where a piece lies on its stock."""
    from plybook.nest.placing import placed_outline
    from plybook.plan import ring_list

    placement = next(p for p in layout.placements if (p.item, p.copy) == (item, copy))
    outline = next(one for one in plan.items if one.id == item)
    return ring_list(placed_outline(outline, placement))


def _named_by_part(
    layouts: Sequence[Layout], items: Sequence[Item], plans: Mapping[str, Mapping[str, Any]]
) -> CutPlan:
    """Layouts with the pieces of other parts under the names and copies they have there."""
    from dataclasses import replace

    from plybook.nest.model import CutPlan

    made = {f"{n}/{p['id']}": p["quantity"] for n, data in plans.items() for p in data["pieces"]}
    known = {item.id: item for item in items}
    named, done = {}, []
    for layout in layouts:
        placed = []
        for p in layout.placements:
            stem, _, count = p.item.rpartition("#")
            stranger = p.item not in made and stem in made
            name, copy = (stem, int(count)) if stranger else (p.item, p.copy)
            named[name] = replace(known[p.item], id=name, demand=made[name])
            placed.append(replace(p, item=name, copy=copy))
        done.append(replace(layout, placements=tuple(placed)))
    return CutPlan(tuple(done), tuple(named.values()), ())


def _in_bays(plan: CutPlan, first: Mapping[str, Any]) -> CutPlan:
    """Layouts with the bays in which they are marked out now, on the table of the first part."""
    from dataclasses import replace

    from plybook.nest.bays import with_same_lines

    items, unit = {item.id: item for item in plan.items}, first["part"]["units"]
    table = first["workshop"]["table_mm"]
    done = [with_same_lines(layout, items, unit, table) for layout in plan.layouts]
    return replace(plan, layouts=tuple(done))


def _with_rows(data: Mapping[str, Any], cut: CutPlan, number: str) -> dict[str, Any]:
    """The plan of one part with layouts that were cut otherwise."""
    from plybook.plan import layout_row

    known = {row["stock"] for row in data["layouts"]}
    items = {item.id: item for item in cut.items}
    rows = [layout_row(one, number, items, data["part"]["units"]) for one in cut.layouts]
    own = [row for row in rows if row["placements"] or row["stock"] in known]
    return {**data, "layouts": recut_rows(data["layouts"], own)}


def _whole(spec: PartSpec, plans: Mapping[str, Mapping[str, Any]], stock: Sequence[str]) -> CutPlan:
    """All that is cut from some stock, whichever part it is of."""
    rows: dict[str, dict[str, Any]] = {}
    materials: dict[str, Any] = {}
    for number, data in plans.items():
        materials |= data["materials"]
        rings = {p["id"]: p.get("cut_outline_mm", p["outline_mm"]) for p in data["pieces"]}
        for row in data["layouts"]:
            one = rows.setdefault(row["stock"], {**row, "placements": [], "also_cut": []})
            one["also_cut"] += [
                {**p, "part": number, "outline_mm": rings[p["piece"]]} for p in row["placements"]
            ]
    drawn = [rows[name] for name in stock if rows[name]["also_cut"]]  # nothing else is cut from one
    every = {"layouts": drawn, "pieces": [], "materials": materials}
    plan = cut_plan(spec, every)
    return _named_by_part(plan.layouts, plan.items, plans)


def _files(
    spec: PartSpec,
    plan: CutPlan,
    plans: Mapping[str, Mapping[str, Any]],
    name: str,
    again: Mapping[str, Any],
) -> dict[str, bytes]:
    """The cut plan of the changed layouts, their drawings, and what was changed as data."""
    from dataclasses import replace

    from plybook.output import layout_files, manifest_facts
    from plybook.plan import to_json
    from plybook.write.folder import with_manifest

    told = ("revision", "hand", "units")
    parts = {
        n: replace(spec, part=replace(spec.part, number=n, **{k: data["part"][k] for k in told}))
        for n, data in plans.items()
    }
    pieces = {f"{n}/{p.id}": p for n, data in plans.items() for p in pieces_of(data)}
    words = ", ".join(dict.fromkeys(one["piece"] for one in again["spoiled"]))
    shared = name if name != spec.part.number else ""
    files = layout_files(plan, pieces, list(parts.values()), shared, f"{words} again")
    facts = manifest_facts(f"{name}{RECUT}", list(parts.values()))
    return with_manifest({**files, AGAIN: to_json(again)}, facts)


def _meant(asked: str, copy: int, pieces: Sequence[Piece]) -> str:
    """The id of the piece that is asked for.

    Raises:
        UsageError: none, or several, can be meant.
    """
    ids = [piece.id for piece in pieces]
    plain = _plain(asked)
    ways = (
        [piece.id for piece in pieces if piece.id == asked],
        [piece.id for piece in pieces if _plain(piece.id) == plain],
        [piece.id for piece in pieces if _plain(piece.layer) == plain],
    )
    found = next((these for these in ways if these), [])
    if len(found) > 1:
        named = f"layer {asked} is cut in {len(found)} pieces"
        raise UsageError(error("no-such-piece", named, f"say which: {', '.join(found)}"))
    if not found:
        begun = [one for one in ids if _plain(one).startswith(plain[:1])] or ids
        raise UsageError(
            error("no-such-piece", f"no piece is called `{asked}`", f"there are {_some(begun)}")
        )
    made = next(piece.quantity for piece in pieces if piece.id == found[0])
    if not 1 <= copy <= made:
        times = "once" if made == 1 else f"{made} times"
        raise UsageError(
            error(
                "no-such-piece",
                f"{found[0]} is cut {times}; there is no copy {copy}",
                "leave `--copy` out" if made == 1 else f"write `--copy` with a number up to {made}",
            )
        )
    return found[0]


def _plain(name: str) -> str:
    return "".join(c for c in name.casefold() if c.isalnum())


def _some(names: Sequence[str]) -> str:
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more
