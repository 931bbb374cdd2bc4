"""What changed between two plans of a part: pieces, steps, layouts.

Terms:
    wrong now: a piece that was cut or laid by the old plan, and by the new one is gone or cut
        otherwise.
    moved: the same shape at another place in the pattern; as a piece of cloth it is unchanged.
    now: what pieces of the old plan are called in the new one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from plybook.compare.matching import matched


@dataclass(frozen=True)
class PieceChange:
    """One piece that differs.

    Attributes:
        id: its name in the new plan.
        was: its name in the old one.
        what: sentences: "angle 45 -> 0 deg", "outline off by up to 12.3 mm" ...
        recut: whether a piece cut by the old plan no longer serves.
    """

    id: str
    was: str
    what: tuple[str, ...]
    recut: bool


@dataclass(frozen=True)
class Changes:
    """Everything that differs, in the order of the plans.

    Attributes:
        old, new: `part` of either plan.
        relabel: pieces (name before, name now) that serve as they are cut, under another label.
        turns: pieces whose label is right but for the turn in which they are laid.
        cut_already: None where no record was given.
        wrong_now: names before of what is cut already, or would be, and does not serve.
    """

    old: Mapping[str, Any]
    new: Mapping[str, Any]
    added: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    relabel: tuple[tuple[str, str], ...] = ()
    turns: tuple[str, ...] = ()
    altered: tuple[PieceChange, ...] = ()
    steps_added: tuple[str, ...] = ()
    steps_gone: tuple[str, ...] = ()
    steps_altered: tuple[tuple[str, tuple[str, ...]], ...] = ()
    order_changed: bool = False
    layouts: tuple[str, ...] = ()
    cut_already: tuple[str, ...] | None = None
    wrong_now: tuple[str, ...] = field(default=())

    @property
    def none(self) -> bool:
        """Whether nothing that is cut or done has changed."""
        return not (
            self.added
            or self.gone
            or self.relabel
            or self.turns
            or self.altered
            or self.steps_added
            or self.steps_gone
            or self.steps_altered
            or self.order_changed
            or self.layouts
        )


def changes_between(
    old: Mapping[str, Any], new: Mapping[str, Any], done: Iterable[str] | None = None
) -> Changes:
    """Compare two plans.

    Args:
        old: `plan.json` that was cut or is being cut by.
        new: `plan.json` of now.
        done: ids of the old plan's pieces that are cut or laid already; None where that is not
            known, and every piece that would have to be cut again is counted.
    """
    before = [p["id"] for p in old["pieces"]]
    after = [p["id"] for p in new["pieces"]]
    pairs, differ = matched(old, new)
    now = dict(pairs)
    gone = [i for i in before if i not in now]
    told = {a: differ(a, b) for a, b in pairs}
    altered = tuple(
        PieceChange(b, a, told[a].what, told[a].recut) for a, b in pairs if told[a].what
    )
    no_good = {*gone, *(a for a in told if told[a].recut)}
    cut = None if done is None else tuple(i for i in before if i in set(done))
    at_hand = [a for a, _ in pairs if cut is None or a in cut]
    relabel = [a for a in at_hand if told[a].label and not told[a].recut]
    turns = [a for a in at_hand if a not in no_good and a not in relabel]
    first, second = _turns(old), _turns(new)
    return Changes(
        old["part"],
        new["part"],
        added=tuple(i for i in after if i not in set(now.values())),
        gone=tuple(gone),
        relabel=tuple((a, now[a]) for a in relabel),
        turns=tuple(now[a] for a in turns if first.get(a) != second.get(now[a])),
        altered=altered,
        cut_already=cut,
        wrong_now=tuple(i for i in before if i in no_good and (cut is None or i in cut)),
        layouts=tuple(_layout_changes(old, new, now)),
        **_step_changes(old, new, now),
    )


def _turns(plan: Mapping[str, Any]) -> dict[str, tuple[int, int]]:
    """The turn in which a label says that its piece is laid: which of how many of its stage."""
    found = {}
    for stage in plan["stages"]:
        laid = list(dict.fromkeys(p for s in stage["steps"] if s.get("lays") for p in s["pieces"]))
        found.update({piece: (n, len(laid)) for n, piece in enumerate(laid)})
    return found


def pieces_done(plan: Mapping[str, Any], done: Iterable[str]) -> set[str]:
    """Pieces named by a step of which something was ticked or filled in.

    Args:
        plan: the plan the booklet was made from.
        done: ids of the fields that are ticked or filled in; each begins with its step's id.
    """
    begun = {field_id.split(".", 1)[0] for field_id in done}
    return {
        piece
        for stage in plan["stages"]
        for step in stage["steps"]
        if step["id"] in begun
        for piece in step["pieces"]
    }


# ---------------------------------------------------------------- steps and layouts


def _step_changes(
    old: Mapping[str, Any], new: Mapping[str, Any], now: Mapping[str, str]
) -> dict[str, Any]:
    """Steps are the same by their words (a step's id comes from its content), or by the pieces
    they lay, whatever those are called now."""
    first, second = _steps(old), _steps(new)
    gone = [key for key in first if key not in second]
    added = [key for key in second if key not in first]
    altered: list[tuple[str, tuple[str, ...]]] = []
    laid = {_laid(second[key]): key for key in added if second[key][1].get("lays")}
    for key in list(gone):
        twin = laid.get(_laid(first[key], now)) if first[key][1].get("lays") else None
        if twin is not None and twin in added and _name(first[key]) != _name(second[twin]):
            gone.remove(key)
            added.remove(twin)
            altered.append((" / ".join(_name(second[twin])), (f"was {first[key][1]['title']}",)))
    by_name = {_name(second[key]): key for key in added}
    for key in list(gone):
        twin = by_name.get(_name(first[key]))
        if twin is not None and twin in added:
            gone.remove(key)
            added.remove(twin)
            words = tuple(_step_words(first[key][1], second[twin][1]))
            altered.append((" / ".join(_name(first[key])), words or ("its words",)))
    kept = [key for key in first if key in second]
    for key in kept:  # the same words with other figures
        words = tuple(_step_words(first[key][1], second[key][1]))
        if words:
            altered.append((" / ".join(_name(second[key])), words))
    return {
        "steps_added": tuple(" / ".join(_name(second[key])) for key in added),
        "steps_gone": tuple(" / ".join(_name(first[key])) for key in gone),
        "steps_altered": tuple(altered),
        "order_changed": kept != [key for key in second if key in first],
    }


def _steps(plan: Mapping[str, Any]) -> dict[str, tuple[str, Mapping]]:
    return {
        step["id"]: (stage["title"], step) for stage in plan["stages"] for step in stage["steps"]
    }


def _laid(entry: tuple[str, Mapping], now: Mapping[str, str] | None = None) -> tuple:
    """Stage and pieces of a step, by their names of now."""
    pieces = entry[1]["pieces"]
    return entry[0], tuple(pieces if now is None else (now.get(p, "") for p in pieces))


def _name(entry: tuple[str, Mapping]) -> tuple[str, str]:
    return entry[0], entry[1]["title"]


def _step_words(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterable[str]:
    if old["pieces"] != new["pieces"]:
        yield f"pieces {', '.join(old['pieces'])} -> {', '.join(new['pieces'])}"
    now = [line for line in new["text"] if line not in old["text"]]
    if now:
        yield f'now "{_cut_short(now[0])}"' + (f" and {len(now) - 1} more" if now[1:] else "")
    elif old["text"] != new["text"]:
        yield "some of its text gone"
    yield from _check_words(old["checks"], new["checks"])
    for key, name in (("timers", "times"), ("cautions", "cautions"), ("batches", "cups of resin")):
        if _figures(old[key]) != _figures(new[key]):
            yield name


def _check_words(old: Sequence[Mapping], new: Sequence[Mapping]) -> Iterable[str]:
    """Checks by their words: new ones, those gone, and those that ask for another figure."""
    before, after = ({check["text"]: check for check in checks} for checks in (old, new))
    added, gone = ([t for t in one if t not in other] for one, other in
                   ((after, before), (before, after)))  # fmt: skip
    for word, texts in (("new", added), ("gone", gone)):
        if texts:
            more = f" and {len(texts) - 1} more" if texts[1:] else ""
            yield f'check {word}: "{_cut_short(texts[0])}"{more}'
    for text in before:
        if text not in after:
            continue
        for key, name in _ASKED.items():
            first, second = before[text][key], after[text][key]
            if first != second:
                unit = f" {after[text]['unit']}".rstrip()
                yield f"{_cut_short(text)}: {name} {_figure(first)} -> {_figure(second)}{unit}"


_ASKED = {
    "expected": "expected",
    "tolerance": "tolerance",
    "at_least": "at least",
    "at_most": "at most",
}


def _figure(value: Any) -> str:
    return "none" if value is None else f"{value:g}"


def _figures(rows: Sequence[Any]) -> list[Any]:
    """Rows without ids, which are counted through the whole book."""
    return [
        {key: value for key, value in row.items() if key != "id"} if isinstance(row, dict) else row
        for row in rows
    ]


def _cut_short(text: str, most: int = 60) -> str:
    return text if len(text) <= most else text[: most - 3].rstrip() + "..."


def _layout_changes(
    old: Mapping[str, Any], new: Mapping[str, Any], now: Mapping[str, str]
) -> Iterable[str]:
    def uses(plan: Mapping[str, Any]) -> dict[str, Mapping]:
        return {row["stock"]: row for row in plan["layouts"]}

    def places(row: Mapping, names: Mapping[str, str]) -> list:
        keys = ("copy", "x_mm", "y_mm", "rotation_deg", "flipped")
        return sorted(
            [names.get(p["piece"], p["piece"]), *(p[k] for k in keys)] for p in row["placements"]
        )

    first, second = uses(old), uses(new)
    for name in first:
        if name not in second:
            yield f"{name} is not cut from any more"
        elif places(first[name], now) != places(second[name], {}):
            yield f"{name} is cut otherwise"
    for name in second:
        if name not in first:
            yield f"{name} is cut from now"
