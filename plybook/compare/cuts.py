"""One piece of two plans: what differs, and whether a piece cut by the old one still serves."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from plybook.laminate.shapes import NearLine

SAME_MM = 0.01  # outlines closer than this are the same cut
SAME_DEG = 0.001

Piece = Mapping[str, Any]  # an entry of `pieces` in plan.json
Materials = Mapping[str, Any]  # `materials` of plan.json


@dataclass(frozen=True)
class Difference:
    """What differs between two pieces.

    Attributes:
        what: sentences: "angle 45 -> 0 deg", "outline off by up to 12.3 mm" ...
        recut: whether a piece cut by the old plan does not serve as the new one.
        moved: whether it has the same shape at another place.
        label: whether its label says something else: a name, an angle, a stage.
    """

    what: tuple[str, ...]
    recut: bool
    moved: bool
    label: bool


def difference(old: Piece, new: Piece, materials: Materials | None = None) -> Difference:
    """How a piece differs from one of an earlier plan.

    Args:
        old, new: the two pieces; their ids may differ.
        materials: of the new plan; where warp and weft of a cloth are alike, a quarter turn leaves
            the cut as it is.
    """
    words, recut = [], False
    if old["material"] != new["material"]:
        words.append(f"material {old['material']} -> {new['material']}")
        recut = True
    turn = (new["angle_deg"] - old["angle_deg"] + 90.0) % 180.0 - 90.0
    turned = abs(turn) > SAME_DEG
    if turned:
        words.append(f"angle {old['angle_deg']:g} -> {new['angle_deg']:g} deg")
        card = (materials or {}).get(new["material"], {})
        quarter = abs(abs(turn) - 90.0) <= SAME_DEG and bool(card.get("axes_alike"))
        if quarter:
            words[-1] += ", warp and weft alike"
        recut = recut or not quarter
    shape, cut_differs, moved = _outline_words(old, new)
    words += shape
    edges = list(_edge_words(old["edges"], new["edges"]))
    words += edges
    recut = recut or cut_differs or bool(edges)
    if old["quantity"] != new["quantity"]:
        words.append(f"quantity {old['quantity']} -> {new['quantity']}")
    renamed = old["id"] != new["id"]
    relayered = old["layer"] != new["layer"]
    if relayered and not renamed:
        words.append(f"layer {old['layer']} -> {new['layer']}")
    if old["stage"] != new["stage"]:
        words.append(f"stage {old['stage']} -> {new['stage']}")
    label = renamed or relayered or turned or old["stage"] != new["stage"]
    return Difference(tuple(words), recut, moved, label)


def _outline_words(old: Piece, new: Piece) -> tuple[list[str], bool, bool]:
    words = []
    differs = moved_away = False
    for key, name in (("outline_mm", "outline"), ("bag_side_outline_mm", "bag-side outline")):
        first, second = old.get(key), new.get(key)
        if (first is None) != (second is None):
            words.append(f"{name} {'gone' if second is None else 'new'}")
            differs = True
        elif first is not None:
            far, moved = ring_distance(first, second)
            if far > SAME_MM and moved is not None:
                moved_away = True
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
        worst = _holes_off(old, new)
        if worst > SAME_MM and not differs:
            words.append(f"hole off by up to {worst:.1f} mm")
            differs = True
    if differs:
        area = 100.0 * (new["area_mm2"] / old["area_mm2"] - 1.0) if old["area_mm2"] else 0.0
        words.append(f"area {area:+.1f} %")
    return words, differs, moved_away


def _holes_off(old: Piece, new: Piece) -> float:
    """How far holes lie apart at most, seen from the outlines' own corners."""
    corner = {
        id(piece): np.asarray(piece["outline_mm"], dtype=float).min(axis=0) for piece in (old, new)
    }
    pairs = zip(old["holes_mm"], new["holes_mm"], strict=True)
    return max(
        (
            ring_distance(np.asarray(a) - corner[id(old)], np.asarray(b) - corner[id(new)])[0]
            for a, b in pairs
        ),
        default=0.0,
    )


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
