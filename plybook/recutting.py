"""A piece was spoiled on the table: the sheet to cut it again by, everything else left in place."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.builtfolder import (
    MANIFEST,
    RECUT,
    current_plan,
    cut_plan,
    latest_plan,
    pieces_of,
    read_json,
)
from plybook.diagnostics import SpecError, UsageError, error

if TYPE_CHECKING:
    from plybook.laminate.model import Piece
    from plybook.nest.model import CutPlan, Layout
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec


_NAMED = 12  # pieces named where none was meant


@dataclass(frozen=True)
class Recut:
    """A piece cut again: its id, files by folder, the part's own first, and the layout that it is
    cut from now."""

    piece: str
    folders: dict[str, dict[str, bytes]]
    layout: Layout


def recut_folders(spec: PartSpec, asked: str, copy: int, out: Path, outside: Outside) -> Recut:
    """The folders of a recut: the part's own, and one for each part that shares the stock.

    Args:
        spec: the part as just read.
        asked: the spoiled piece by its id, or by its layer where that is cut in one piece.
        copy: which copy of it, from 1.
        out: folder the part was built into.
        outside: for reading its plan.

    Raises:
        SpecError: the part is not built, or has changed since.
        UsageError: there is no such piece.
        StockError: there is no room for another.
    """
    from plybook.nest.needs import CutJob, gather
    from plybook.nest.respoil import cut_again
    from plybook.output import layout_files

    number = spec.part.number
    plan, _ = current_plan(spec, out, outside)
    pieces = pieces_of(plan)
    piece = _meant(asked, copy, pieces)
    needs, _ = gather([CutJob(spec, pieces)])
    spare = [unit for need in needs for unit in need.units]
    after = cut_again(cut_plan(spec, plan), f"{number}/{piece}", copy, spare)
    changed = _taker(after, f"{number}/{piece}", copy)
    rows = _rows(plan, after, number)
    title = f"{spec.part.name}: {piece} again"
    files = layout_files(spec, pieces, changed, after.items, title)
    folders = {f"{number}{RECUT}": _folder(out, number, {**plan, "layouts": rows}, files, outside)}
    shared = {other["part"] for row in rows for other in row["also_cut"]}
    for other in sorted(shared - {number}):
        told = _told(out, other, number, rows, after, outside)
        if told is not None:
            folders[f"{other}{RECUT}"] = _folder(out, other, told, {}, outside)
    return Recut(piece, folders, changed)


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


def _folder(
    out: Path, number: str, plan: dict[str, Any], files: dict[str, bytes], outside: Outside
) -> dict[str, bytes]:
    """Files of a recut folder; it says what build it belongs to."""
    from plybook.output import SHARED
    from plybook.plan import to_json
    from plybook.write.folder import with_manifest

    built = read_json(out / number / MANIFEST, outside)
    facts = {"folder": f"{number}{RECUT}", "parts": built["parts"]}
    own = {key: value for key, value in plan.items() if key != SHARED}  # it has its own drawings
    return with_manifest({**files, "plan.json": to_json(own)}, facts)


def _taker(plan: CutPlan, item: str, copy: int) -> Layout:
    return next(
        layout
        for layout in plan.layouts
        if any((p.item, p.copy) == (item, copy) for p in layout.placements)
    )


def _rows(plan: dict[str, Any], after: CutPlan, number: str) -> list[dict[str, Any]]:
    """The plan's layouts after the recut; what other parts cut stays as it was."""
    from plybook.plan import layout_row

    others = {row["stock"]: row["also_cut"] for row in plan["layouts"]}
    rows = []
    for layout in after.layouts:
        items = {item.id: item for item in after.items}
        row = layout_row(layout, number, items, plan["part"]["units"])
        rows.append({**row, "also_cut": others.get(layout.unit.id, [])})
    return rows


def _told(
    out: Path,
    other: str,
    number: str,
    rows: list[dict[str, Any]],
    after: CutPlan,
    outside: Outside,
) -> dict[str, Any] | None:
    """The plan of a part that shares stock, with this part's new places; None if it is not here."""
    from plybook.plan import ring_list

    try:
        plan = latest_plan(other, out, outside)
    except SpecError:
        return None
    outlines = {item.id: ring_list(item.outline_mm) for item in after.items}
    here = {row["stock"]: row for row in rows}
    told = []
    for row in plan["layouts"]:
        mine = here.get(row["stock"])
        if mine is not None:
            strangers = [o for o in row["also_cut"] if o["part"] != number]
            placed = [
                {
                    "part": number,
                    "outline_mm": outlines[f"{number}/{p['piece']}"],
                    **{k: v for k, v in p.items() if k != "marks_mm"},
                }  # of that part's own tape
                for p in mine["placements"]
            ]
            keys = ("bad_zones_mm", "used_length_mm", "utilisation")
            row = {**row, **{k: mine[k] for k in keys}, "also_cut": [*strangers, *placed]}
        told.append(row)
    return {**plan, "layouts": told}
