"""A piece was spoiled on the table: the sheet to cut it again by, everything else left in place."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from plybook.builtfolder import RECUT, current_plan, cut_plan, pieces_of

if TYPE_CHECKING:
    from plybook.nest.model import CutPlan, Layout
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec


def recut_files(
    spec: PartSpec, piece: str, copy: int, out: Path, outside: Outside
) -> tuple[str, dict[str, bytes], Layout]:
    """The folder of a recut.

    Args:
        spec: the part as just read.
        piece: id of the spoiled piece.
        copy: which copy of it, from 1.
        out: folder the part was built into.
        outside: for reading its plan.

    Returns:
        Name of the folder, its files, and the layout the piece is cut from now.

    Raises:
        SpecError: the part is not built, or has changed since.
        StockError: there is no such piece, or no room for another.
    """
    from plybook.nest.needs import CutJob, gather
    from plybook.nest.respoil import cut_again
    from plybook.output import layout_files
    from plybook.plan import to_json
    from plybook.write.folder import with_manifest

    number = spec.part.number
    plan, _ = current_plan(spec, out, outside)
    pieces = pieces_of(plan)
    before = cut_plan(spec, plan)
    needs, _ = gather([CutJob(spec, pieces)])
    spare = [unit for need in needs for unit in need.units]
    after = cut_again(before, f"{number}/{piece}", copy, spare)
    changed = _taker(after, f"{number}/{piece}", copy)
    title = f"{spec.part.name}: {piece} again"
    files = layout_files(spec, pieces, changed, after.items, title)
    files["plan.json"] = to_json({**plan, "layouts": _rows(plan, after, number)})
    facts = {
        "folder": f"{number}{RECUT}",
        "parts": [
            {
                "number": number,
                "revision": spec.part.revision,
                "spec": [{"file": f.path, "sha256": f.sha256} for f in spec.files],
            }
        ],
    }
    return f"{number}{RECUT}", with_manifest(files, facts), changed


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
        row = layout_row(layout, number, {item.id: item for item in after.items})
        rows.append({**row, "also_cut": others.get(layout.unit.id, [])})
    return rows
