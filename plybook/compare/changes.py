"""What changed between two plans of a part: pieces, steps, layouts.

Terms:
    wrong now: a piece that was cut or laid by the old plan, and by the new one is gone or cut
        otherwise.
    moved: the same shape at another place in the pattern; as a piece of cloth it is unchanged.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from plybook.laminate.shapes import NearLine

SAME_MM = 0.01  # outlines closer than this are the same cut
SAME_DEG = 0.001


@dataclass(frozen=True)
class PieceChange:
    """One piece that differs.

    Attributes:
        what: sentences: "angle 45 -> 0 deg", "outline moved by up to 12.3 mm" ...
        recut: whether a piece cut by the old plan no longer serves.
    """

    id: str
    what: tuple[str, ...]
    recut: bool


@dataclass(frozen=True)
class Changes:
    """Everything that differs, in the order of the plans."""

    old: Mapping[str, Any]  # `part` of either plan
    new: Mapping[str, Any]
    added: tuple[str, ...] = ()
    gone: tuple[str, ...] = ()
    renamed: tuple[tuple[str, str], ...] = ()
    altered: tuple[PieceChange, ...] = ()
    steps_added: tuple[str, ...] = ()
    steps_gone: tuple[str, ...] = ()
    steps_altered: tuple[tuple[str, tuple[str, ...]], ...] = ()
    order_changed: bool = False
    layouts: tuple[str, ...] = ()
    cut_already: tuple[str, ...] | None = None  # None: no record was given
    wrong_now: tuple[str, ...] = field(default=())

    @property
    def none(self) -> bool:
        """Whether nothing that is cut or done has changed."""
        return not (
            self.added
            or self.gone
            or self.renamed
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
    before = {p["id"]: p for p in old["pieces"]}
    after = {p["id"]: p for p in new["pieces"]}
    gone = [i for i in before if i not in after]
    added = [i for i in after if i not in before]
    renamed = _renamed(before, after, gone, added)
    gone = [i for i in gone if i not in {a for a, _ in renamed}]
    added = [i for i in added if i not in {b for _, b in renamed}]
    both = ((i, _piece_changes(before[i], after[i])) for i in before if i in after)
    altered = tuple(PieceChange(i, *what) for i, what in both if what[0])
    no_good = [*gone, *(one.id for one in altered if one.recut)]
    cut = None if done is None else tuple(i for i in before if i in set(done))
    return Changes(
        old["part"],
        new["part"],
        added=tuple(added),
        gone=tuple(gone),
        renamed=tuple(renamed),
        altered=altered,
        cut_already=cut,
        wrong_now=tuple(i for i in before if i in no_good and (cut is None or i in cut)),
        layouts=tuple(_layout_changes(old, new)),
        **_step_changes(old, new),
    )


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


# ---------------------------------------------------------------- pieces


def _renamed(
    before: Mapping[str, Any], after: Mapping[str, Any], gone: Sequence[str], added: Sequence[str]
) -> list[tuple[str, str]]:
    """Pieces that differ by their name only."""
    free = list(added)
    pairs = []
    for old_id in gone:
        for new_id in free:
            if not _piece_changes(before[old_id], after[new_id])[0]:
                pairs.append((old_id, new_id))
                free.remove(new_id)
                break
    return pairs


def _piece_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[tuple[str, ...], bool]:
    """What differs, and whether the old piece no longer serves."""
    words, recut = [], False
    if old["material"] != new["material"]:
        words.append(f"material {old['material']} -> {new['material']}")
        recut = True
    turn = (new["angle_deg"] - old["angle_deg"] + 90.0) % 180.0 - 90.0
    if abs(turn) > SAME_DEG:
        words.append(f"angle {old['angle_deg']:g} -> {new['angle_deg']:g} deg")
        recut = True
    shape, cut_differs = _outline_words(old, new)
    words += shape
    recut = recut or cut_differs
    edges = list(_edge_words(old["edges"], new["edges"]))
    words += edges
    recut = recut or bool(edges)
    if old["quantity"] != new["quantity"]:
        words.append(f"quantity {old['quantity']} -> {new['quantity']}")
    if old["layer"] != new["layer"]:
        words.append(f"layer {old['layer']} -> {new['layer']}")
    if old["stage"] != new["stage"]:
        words.append(f"stage {old['stage']} -> {new['stage']}")
    return tuple(words), recut


def _outline_words(old: Mapping[str, Any], new: Mapping[str, Any]) -> tuple[list[str], bool]:
    words = []
    differs = False
    for key, name in (("outline_mm", "outline"), ("bag_side_outline_mm", "bag-side outline")):
        first, second = old.get(key), new.get(key)
        if (first is None) != (second is None):
            words.append(f"{name} {'gone' if second is None else 'new'}")
            differs = True
        elif first is not None:
            far, moved = ring_distance(first, second)
            if far > SAME_MM and moved is not None:
                if key == "outline_mm":
                    words.append(f"lies {moved:.1f} mm from where it lay, same shape")
            elif far > SAME_MM:
                words.append(f"{name} off by up to {far:.1f} mm")
                differs = True
    holes = len(old["holes_mm"]), len(new["holes_mm"])
    if holes[0] != holes[1]:
        words.append(f"holes {holes[0]} -> {holes[1]}")
        differs = True
    else:
        pairs = zip(old["holes_mm"], new["holes_mm"], strict=True)
        worst = max((ring_distance(a, b)[0] for a, b in pairs), default=0.0)
        if worst > SAME_MM and differs is False and not words:
            words.append(f"hole off by up to {worst:.1f} mm")
            differs = True
    if differs:
        area = 100.0 * (new["area_mm2"] / old["area_mm2"] - 1.0) if old["area_mm2"] else 0.0
        words.append(f"area {area:+.1f} %")
    return words, differs


def ring_distance(old: Any, new: Any) -> tuple[float, float | None]:
    """How far two rings lie apart at most, and the length of the shift that makes them one.

    Returns:
        Largest distance of a point of either ring from the other, mm (Hausdorff); the shift in mm
        where one ring is the other moved, else None.

    Raises:
        ValueError: one is no ring of three or more finite points.
    """
    a, b = (np.asarray(ring, dtype=float) for ring in (old, new))
    for ring in (a, b):
        if ring.ndim != 2 or ring.shape[1] != 2 or len(ring) < 3 or not np.isfinite(ring).all():
            raise ValueError("an outline is no ring of points")
    far = max(_reach(a, b), _reach(b, a))
    if far <= SAME_MM:
        return far, None
    shift = a.min(axis=0) - b.min(axis=0)
    shifted = b + shift
    rest = max(_reach(a, shifted), _reach(shifted, a))
    return far, float(np.hypot(*shift)) if rest <= SAME_MM else None


def _reach(points: np.ndarray, ring: np.ndarray) -> float:
    """The furthest that a point lies from a ring."""
    return float(NearLine(np.vstack([ring, ring[:1]])).distance_mm(points).max())


def _edge_words(old: Sequence[Mapping], new: Sequence[Mapping]) -> Iterable[str]:
    def told(edge: Mapping) -> str:
        angle = f" {edge['angle_deg']:g}" if edge["treatment"] in ("bevel", "scarf") else ""
        side = " from the bag side" if angle and edge["wide_side"] == "bag" else ""
        return f"{edge['treatment']}{angle}{side}"

    before = {e["name"]: told(e) for e in old}
    after = {e["name"]: told(e) for e in new}
    alike: dict[str, list[str]] = {}
    for name in before:
        if name in after and before[name] != after[name]:
            alike.setdefault(f"{before[name]} -> {after[name]}", []).append(name)
    for words, names in alike.items():
        yield f"{'edge' if len(names) == 1 else 'edges'} {', '.join(names)}: {words}"


# ---------------------------------------------------------------- steps and layouts


def _step_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    """Steps are the same by their words: a step's id comes from its content."""
    first, second = _steps(old), _steps(new)
    gone = [key for key in first if key not in second]
    added = [key for key in second if key not in first]
    altered = []
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


def _layout_changes(old: Mapping[str, Any], new: Mapping[str, Any]) -> Iterable[str]:
    def uses(plan: Mapping[str, Any]) -> dict[str, Mapping]:
        return {row["stock"]: row for row in plan["layouts"]}

    def places(row: Mapping) -> list:
        keys = ("piece", "copy", "x_mm", "y_mm", "rotation_deg", "flipped")
        return sorted([p[k] for k in keys] for p in row["placements"])

    first, second = uses(old), uses(new)
    for name in first:
        if name not in second:
            yield f"{name} is not cut from any more"
        elif places(first[name]) != places(second[name]):
            yield f"{name} is cut otherwise"
    for name in second:
        if name not in first:
            yield f"{name} is cut from now"
