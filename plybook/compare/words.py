"""Changes as text for a terminal, and as plain data."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from plybook.compare.changes import Changes, PieceChange

MOST = 40  # lines of one list


def as_dict(changes: Changes) -> dict[str, Any]:
    """The changes as plain data."""
    return asdict(changes)


def as_text(changes: Changes) -> str:
    """The changes in words, nothing worth saying left out."""
    old, new = changes.old, changes.new
    blocks = [f"{_part(old)} -> {_part(new)}"]
    if old["revision"] == new["revision"] and not changes.none:
        blocks[0] += "\nThe revision is the same: old templates cannot be told from new ones."
    if changes.none:
        return blocks[0] + "\nNothing that is cut or done has changed."
    lists: list[tuple[str, Sequence[str]]] = [
        ("pieces added", changes.added),
        ("pieces gone", changes.gone),
        ("pieces that only need a new label", [_label(a, b) for a, b in changes.relabel]),
        ("pieces whose label is right but for the turn of laying", changes.turns),
        (
            "pieces altered",
            [f"{_called(one)}: {'; '.join(one.what)}{_serves(one)}" for one in changes.altered],
        ),
        ("steps added", changes.steps_added),
        ("steps gone", changes.steps_gone),
        ("steps altered", [f"{name}: {'; '.join(what)}" for name, what in changes.steps_altered]),
        ("layouts", changes.layouts),
    ]
    blocks += [_list(title, rows) for title, rows in lists if rows]
    if changes.order_changed:
        blocks.append("The order of the steps has changed.")
    blocks.append(_wrong(changes))
    return "\n\n".join(blocks)


def _label(old: str, new: str) -> str:
    return new if old == new else f"{old} -> {new}"


def _called(one: PieceChange) -> str:
    return one.id if one.id == one.was else f"{one.id}, {one.was} before"


def _serves(one: PieceChange) -> str:
    return "" if one.recut else " (a cut piece still serves)"


def _wrong(changes: Changes) -> str:
    if changes.cut_already is None:
        if not changes.wrong_now:
            return "What was cut before still serves."
        return _list("no longer right where it is cut already", changes.wrong_now)
    if not changes.wrong_now:
        return f"Of {len(changes.cut_already)} pieces cut or laid already all still serve."
    return _list("CUT OR LAID ALREADY AND WRONG NOW", changes.wrong_now)


def _list(title: str, rows: Sequence[str]) -> str:
    shown = [f"  {row}" for row in rows[:MOST]]
    if len(rows) > MOST:
        shown.append(f"  and {len(rows) - MOST} more")
    return "\n".join([f"{title} ({len(rows)})", *shown])


def _part(part: Any) -> str:
    return f"{part['number']} revision {part['revision']}"
