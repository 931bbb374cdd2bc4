"""Keeping the stock file up to date without disturbing what its owner wrote in it.

The file is read for the positions of its entries only; the text is then changed at those places,
so comments, order and spacing stay. An entry that is gone takes the comment on its own line along.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np
import yaml

from plybook.diagnostics import SpecError, error
from plybook.spec.model import StockItem
from plybook.units import MM_PER_INCH, show_number

Edit = tuple[int, int, str]  # from, to, text in its place


def update_stock(
    text: str,
    gone: Sequence[str] = (),
    left: Sequence[StockItem] = (),
    new: Sequence[StockItem] = (),
) -> str:
    """The stock file after a cut.

    Args:
        text: the file as it is, with a `stock:` list.
        gone: ids that are used up; one of an entry with a quantity takes it down by one.
        left: entries that stay with a new length and new bad zones.
        new: entries to add at the end of the list.

    Returns:
        The new text; ids the file does not hold are passed over.

    Raises:
        SpecError: the file has no `stock:` list.
    """
    root = yaml.compose(text, Loader=yaml.CSafeLoader)
    entries, unit = _entries(root)
    eol = "\r\n" if "\r\n" in text else "\n"
    by_id = {_scalar(node, "id"): node for node in entries.value}
    per_unit = MM_PER_INCH if unit == "in" else 1.0
    edits: list[Edit] = []
    for name, count in Counter(gone).items():
        if name in by_id:
            edits.append(_take(text, by_id[name], count))
    for item in left:
        if item.id in by_id:
            edits += _shorten(text, by_id[item.id], item, per_unit, eol)
    if new:
        taken = set(by_id)
        lines = []
        for item in new:
            name = _free(item.id, taken)
            taken.add(name)
            lines.append(_line(item, name, per_unit))
        edits.append(_append(text, entries, lines, eol))
    for start, end, put in sorted(edits, key=lambda e: (e[0], e[1]), reverse=True):
        text = text[:start] + put + text[end:]
    return text


def _entries(root):
    if isinstance(root, yaml.MappingNode):
        keys = {k.value: v for k, v in root.value}
        stock = keys.get("stock")
        if isinstance(stock, yaml.SequenceNode):
            units = keys.get("units")
            return stock, units.value if isinstance(units, yaml.ScalarNode) else "mm"
    raise SpecError(error("no-stock-list", "the file has no list under `stock:`"))


def _value(node, key: str):
    return next((v for k, v in node.value if k.value == key), None)


def _scalar(node, key: str) -> str:
    value = _value(node, key) if isinstance(node, yaml.MappingNode) else None
    return value.value if isinstance(value, yaml.ScalarNode) else ""


def _span(text: str, node) -> tuple[int, int]:
    """Where a node stands in the text, without what follows it."""
    start, end = node.start_mark.index, node.end_mark.index
    while end > start and text[end - 1] in " \t\r\n":
        end -= 1
    return start, end


def _content_end(text: str, node) -> int:
    """Where the last scalar or bracket of a block node ends (its own end runs on to the next)."""
    if isinstance(node, yaml.ScalarNode) or node.flow_style:
        return _span(text, node)[1]
    last = node.value[-1] if node.value else None
    if last is None:
        return _span(text, node)[1]
    return _content_end(text, last[1] if isinstance(last, tuple) else last)


def _line_end(text: str, at: int) -> int:
    found = text.find("\n", at)
    return len(text) if found < 0 else found + 1


def _take(text: str, node, count: int) -> Edit:
    """One or more of an entry are gone: its quantity goes down, or the whole entry goes."""
    quantity = _value(node, "quantity")
    if quantity is not None and quantity.value.isdigit() and int(quantity.value) > count:
        return (*_span(text, quantity), str(int(quantity.value) - count))
    start = text.rfind("\n", 0, node.start_mark.index) + 1
    return start, _line_end(text, _content_end(text, node)), ""


def _shorten(text: str, node, item: StockItem, per_unit: float, eol: str) -> list[Edit]:
    edits = []
    wanted = {"length": _number(item.length_mm, per_unit)}
    if item.bad_zones_mm or _value(node, "bad_zones") is not None:
        wanted["bad_zones"] = _rings(item.bad_zones_mm, per_unit)
    if item.outline_mm is not None:
        wanted = {"outline": _ring(item.outline_mm, per_unit)} | wanted
        wanted.pop("length")
    for key, put in wanted.items():
        value = _value(node, key)
        if value is not None:
            start = value.start_mark.index
            edits.append((start, _content_end(text, value), put))
            continue
        last = node.value[-1]
        end = _content_end(text, last[1])
        if node.flow_style:
            edits.append((end, end, f", {key}: {put}"))
        else:
            indent = " " * last[0].start_mark.column
            edits.append((end, end, f"{eol}{indent}{key}: {put}"))
    return edits


def _append(text: str, entries, lines: Sequence[str], eol: str) -> Edit:
    if entries.flow_style or not entries.value:
        start, end = _span(text, entries)
        inside = text[start + 1 : end - 1].strip()
        joined = ", ".join(([inside] if inside else []) + list(lines))
        return start, end, f"[{joined}]"
    last = entries.value[-1]
    line = text.rfind("\n", 0, last.start_mark.index) + 1
    indent = text[line : text.index("-", line)]
    at = _line_end(text, _content_end(text, last))
    lead = "" if text[:at].endswith("\n") else eol
    return at, at, lead + "".join(f"{indent}- {entry}{eol}" for entry in lines)


def _line(item: StockItem, name: str, per_unit: float) -> str:
    words = [f"id: {name}", f"{item.kind}: {item.material}"]
    if item.outline_mm is not None and not _is_box(item.outline_mm):
        words.append(f"outline: {_ring(item.outline_mm, per_unit)}")
    else:
        words.append(f"length: {_number(item.length_mm, per_unit)}")
        if item.kind != "bar":
            words.append(f"width: {_number(item.width_mm, per_unit)}")
    if item.bad_zones_mm:
        words.append(f"bad_zones: {_rings(item.bad_zones_mm, per_unit)}")
    if item.received:
        words.append(f"received: {item.received}")
    return "{" + ", ".join(words) + "}"


def _is_box(ring: np.ndarray) -> bool:
    sides = np.abs(np.roll(ring, -1, axis=0) - ring)
    return len(ring) == 4 and bool((sides.min(axis=1) < 0.05).all())


def _number(value_mm: float, per_unit: float) -> str:
    """Rounded down, so that nothing is on the shelf that is not there."""
    steps = 10.0 if per_unit == 1.0 else 100.0
    return show_number(np.floor(value_mm / per_unit * steps + 1e-6) / steps, 2)


def _ring(ring: np.ndarray, per_unit: float) -> str:
    points = (", ".join(show_number(float(v) / per_unit, 2) for v in p) for p in ring)
    return "[" + ", ".join(f"[{p}]" for p in points) + "]"


def _rings(rings: Sequence[np.ndarray], per_unit: float) -> str:
    return "[" + ", ".join(_ring(r, per_unit) for r in rings) + "]"


def _free(name: str, taken: set[str]) -> str:
    if name not in taken:
        return name
    return next(f"{name}-{k}" for k in range(2, len(taken) + 3) if f"{name}-{k}" not in taken)
