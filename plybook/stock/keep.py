"""Keeping the stock file up to date without disturbing what its owner wrote in it.

A round-trip reader of YAML (ruamel.yaml) tells where each entry stands; the text is changed at
those places only, so comments, order, spacing and line ends stay. An entry that is gone takes its
own remarks along. What came out is read again and held against what was meant: a file that cannot
be changed so is refused with the line, and left as it is.
"""

from __future__ import annotations

import io
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from ruamel.yaml import YAML
from ruamel.yaml.error import YAMLError
from ruamel.yaml.nodes import MappingNode, ScalarNode, SequenceNode
from ruamel.yaml.tokens import BlockEntryToken

from plybook.diagnostics import Place, SpecError, error
from plybook.spec.model import StockItem
from plybook.units import MM_PER_INCH, show_number

Edit = tuple[int, int, str]  # from, to, text in its place


def update_stock(
    text: str,
    gone: Sequence[str] = (),
    left: Sequence[StockItem] = (),
    new: Sequence[StockItem] = (),
    file: str = "",
) -> str:
    """The stock file after a cut.

    Args:
        text: the file as it is, with a `stock:` list.
        gone: ids that are used up; one of an entry with a quantity takes it down by one.
        left: entries that stay with a new length and new bad zones.
        new: entries to add at the end of the list.
        file: its name, for findings.

    Returns:
        The new text; ids the file does not hold are passed over.

    Raises:
        SpecError: the file has no `stock:` list, or cannot be changed without touching more.
    """
    eol = _line_end_of(text, file)
    plain = text.replace(eol, "\n")
    shelf = _Shelf(plain, file)
    wanted = _values(plain)
    meant: list[Any] = wanted["stock"]
    by_id = {str(entry["id"]): entry for entry in meant}
    per_unit = MM_PER_INCH if shelf.unit == "in" else 1.0
    edits: list[Edit] = []
    removed: list[int] = []
    for name, count in Counter(gone).items():
        if name not in by_id:
            continue
        had = _quantity(by_id[name], name, shelf)
        if had is None:
            continue  # bought as needed: there is always another
        if had > count:
            by_id[name]["quantity"] = str(had - count)
            edits += shelf.put(name, {"quantity": str(had - count)})
        else:
            meant.remove(by_id[name])
            removed.append(shelf.number[name])
    for item in left:
        if item.id in by_id:
            put = _rest(item, shelf.has(item.id, "bad_zones"), per_unit)
            by_id[item.id].update({key: _value_of(words) for key, words in put.items()})
            edits += shelf.put(item.id, put)
    taken, lines = set(by_id), []
    for item in new:
        name = _free(item.id, taken)
        taken.add(name)
        lines.append(_line(item, name, per_unit))
        meant.append(_value_of(lines[-1]))
    edits += shelf.listed(removed, lines)
    for start, end, put_in in sorted(edits, key=lambda e: (e[0], e[1]), reverse=True):
        plain = plain[:start] + put_in + plain[end:]
    _hold(plain, wanted, shelf, removed)
    return plain.replace("\n", eol)


def unit_of(text: str, file: str = "") -> str:
    """The unit a stock file is written in, "mm" or "in".

    Raises:
        SpecError: the file has no `stock:` list.
    """
    return _Shelf(text.replace(_line_end_of(text, file), "\n"), file).unit


def _line_end_of(text: str, file: str) -> str:
    """The one line end of a text."""
    found = [end for end in ("\r\n", "\n", "\r") if end in text] or ["\n"]
    eol = found[0]
    rest = text.replace(eol, "")
    if "\n" in rest or "\r" in rest:
        line = 1 + min(rest.find(mark) for mark in "\r\n" if mark in rest)
        at = text.count(eol, 0, line) + 1
        raise SpecError(_refusal("its lines end in different ways", at, file))
    return eol


def _refusal(why: str, line: int, file: str):
    return error(
        "stock-not-editable",
        f"the stock file cannot be changed without touching more: {why}",
        "write one entry to a line, as in `- {id: R1, roll: twill, length: 20 m}`; or change it "
        "by hand as --show tells",
        Place(file, line, 1),
    )


def _composed(text: str):
    """The nodes of a text, with where each begins and ends."""
    return YAML(typ="rt", pure=True).compose(io.StringIO(text))


def _values(text: str) -> dict[str, Any]:
    """The file as plain data, every scalar as its text: nothing is rounded or retyped."""
    return _plain_of(_composed(text))


def _value_of(text: str) -> Any:
    return _plain_of(_composed(text))


def _plain_of(node) -> Any:
    if isinstance(node, MappingNode):
        return {_plain_of(key): _plain_of(value) for key, value in node.value}
    if isinstance(node, SequenceNode):
        return [_plain_of(value) for value in node.value]
    return node.value


def _quantity(entry: Any, name: str, shelf: _Shelf) -> int | None:
    """How many there are of an entry; None where they are bought as needed."""
    text = str(entry.get("quantity", "1")).strip()
    if text == "as needed":
        return None
    try:
        return int(float(text))
    except (ValueError, OverflowError):
        raise SpecError(
            _refusal(f"`{text[:40]}` is no quantity", shelf.line(name), shelf.file)
        ) from None


def _rest(item: StockItem, has_zones: bool, per_unit: float) -> dict[str, str]:
    """Keys of an entry that stays, with their new values."""
    put: dict[str, str] = {}
    if item.outline_mm is not None:
        put["outline"] = _ring(item.outline_mm, per_unit)
    else:
        put["length"] = _number(item.length_mm, per_unit)
    if item.bad_zones_mm or has_zones:
        put["bad_zones"] = _rings(item.bad_zones_mm, per_unit)
    return put


def _hold(text: str, wanted: dict[str, Any], shelf: _Shelf, removed: Sequence[int]) -> None:
    """Refuse a text that does not say what is meant, or has lost a remark of what stays.

    Raises:
        SpecError: naming the line of the remark, or of the list.
    """
    first = shelf.text.count("\n", 0, shelf.entries.start_mark.index) + 1
    try:
        same = _values(text) == wanted
    except YAMLError:
        same = False
    if not same:
        raise SpecError(_refusal("its `stock:` list is written in an odd way", first, shelf.file))
    spans = [shelf.span(n) for n in removed]
    after = Counter(remark for _, remark in _remarks(text))
    for at, remark in _remarks(shelf.text):
        if any(start <= at < end for start, end in spans):
            continue
        after[remark] -= 1
        if after[remark] < 0:
            line = shelf.text.count("\n", 0, at) + 1
            raise SpecError(_refusal("a remark would be lost", line, shelf.file))


def _remarks(text: str) -> Iterator[tuple[int, str]]:
    """Place and words of every comment: what stands behind # between two tokens."""
    end = 0
    for token in YAML(typ="safe", pure=True).scan(io.StringIO(text)):
        start = token.start_mark.index
        yield from _remarks_in(text, end, start)
        end = max(end, token.end_mark.index)
    yield from _remarks_in(text, end, len(text))


def _remarks_in(text: str, start: int, end: int) -> Iterator[tuple[int, str]]:
    at = text.find("#", start, end)
    while at >= 0:
        stop = text.find("\n", at)
        stop = len(text) if stop < 0 else stop
        yield at, text[at:stop].strip()
        at = text.find("#", stop, end)


class _Shelf:
    """Where everything of the `stock:` list stands in the text."""

    def __init__(self, text: str, file: str):
        self.text, self.file = text, file
        root = _composed(text)
        keys = {k.value: v for k, v in root.value} if isinstance(root, MappingNode) else {}
        stock, units = keys.get("stock"), keys.get("units")
        if not isinstance(stock, SequenceNode):
            raise SpecError(
                error("no-stock-list", "the file has no list under `stock:`", "", Place(file, 0, 0))
            )
        self.entries = stock
        self.unit = units.value if isinstance(units, ScalarNode) else "mm"
        self.number = {
            str(_value(node, "id").value): n
            for n, node in enumerate(stock.value)
            if isinstance(node, MappingNode) and isinstance(_value(node, "id"), ScalarNode)
        }
        self.dashes = self._dashes() if not stock.flow_style else []

    def _dashes(self) -> list[int]:
        """Where the dash of each entry stands."""
        starts = [node.start_mark.index for node in self.entries.value]
        column = self.entries.start_mark.column
        dashes = [
            token.start_mark.index
            for token in YAML(typ="safe", pure=True).scan(io.StringIO(self.text))
            if isinstance(token, BlockEntryToken) and token.start_mark.column == column
        ]
        return [max(at for at in dashes if at < start) for start in starts]

    def line(self, name: str) -> int:
        return self.entries.value[self.number[name]].start_mark.line + 1

    def has(self, name: str, key: str) -> bool:
        return _value(self.entries.value[self.number[name]], key) is not None

    def span(self, number: int) -> tuple[int, int]:
        """From the first to past the last character of an entry with its remarks."""
        node = self.entries.value[number]
        end = _content_end(self.text, node)
        if self.entries.flow_style:
            return node.start_mark.index, end
        start = self.text.rfind("\n", 0, self.dashes[number]) + 1
        return start, _line_end(self.text, end)

    def put(self, name: str, wanted: dict[str, str]) -> list[Edit]:
        """New values of keys of an entry, the key added where it is not there."""
        node = self.entries.value[self.number[name]]
        edits = []
        for key, put in wanted.items():
            value = _value(node, key)
            if value is not None:
                edits.append((value.start_mark.index, _content_end(self.text, value), put))
                continue
            last = node.value[-1]
            end = _content_end(self.text, last[1])
            if node.flow_style:
                edits.append((end, end, f", {key}: {put}"))
            else:
                indent = " " * last[0].start_mark.column
                edits.append((end, end, f"\n{indent}{key}: {put}"))
        return edits

    def listed(self, removed: Sequence[int], lines: Sequence[str]) -> list[Edit]:
        """The list without some entries and with others at its end."""
        if not removed and not lines:
            return []
        entries = self.entries
        if entries.flow_style or not entries.value:
            return self._listed_in_brackets(removed, lines)
        edits: list[Edit] = [(*self.span(n), "") for n in removed]
        if len(removed) == len(entries.value) and not lines:
            colon = self.text.rfind(":", 0, self.dashes[0]) + 1
            while self.text[:colon].rpartition("\n")[2].split("#")[0].strip() != "stock:":
                colon = self.text.rfind(":", 0, colon - 1) + 1
                if colon <= 0:
                    break
            return [*edits, (colon, colon, " []")]
        if lines:
            dash = self.dashes[-1]
            indent = " " * (dash - self.text.rfind("\n", 0, dash) - 1)
            at = _line_end(self.text, _content_end(self.text, entries.value[-1]))
            lead = "" if self.text[:at].endswith("\n") else "\n"
            edits.append((at, at, lead + "".join(f"{indent}- {entry}\n" for entry in lines)))
        return edits

    def _listed_in_brackets(self, removed: Sequence[int], lines: Sequence[str]) -> list[Edit]:
        """Entries between brackets: a comma goes with each that goes and comes with each new."""
        entries, text = self.entries, self.text
        kept = [n for n in range(len(entries.value)) if n not in removed]
        edits: list[Edit] = []
        for n in removed:
            start, end = self.span(n)
            after = entries.value[n + 1].start_mark.index if n + 1 < len(entries.value) else None
            before = max((k for k in kept if k < n), default=None)
            if after is not None and before is None:
                edits.append((start, after, ""))
            elif before is not None:
                begin = self.span(n - 1)[1]
                edits.append((begin, end, ""))
            else:
                edits.append((start, end, ""))
        if lines:
            at = self.span(kept[-1])[1] if kept else text.index("[", entries.start_mark.index) + 1
            edits.append((at, at, (", " if kept else "") + ", ".join(lines)))
        return edits


def _value(node, key: str):
    return next((v for k, v in node.value if k.value == key), None)


def _span(text: str, node) -> tuple[int, int]:
    """Where a node stands in the text, without what follows it."""
    start, end = node.start_mark.index, node.end_mark.index
    while end > start and text[end - 1] in " \t\r\n":
        end -= 1
    return start, end


def _content_end(text: str, node) -> int:
    """Where the last scalar or bracket of a block node ends (its own end runs on to the next)."""
    if isinstance(node, ScalarNode) or node.flow_style:
        return _span(text, node)[1]
    last = node.value[-1] if node.value else None
    if last is None:
        return _span(text, node)[1]
    return _content_end(text, last[1] if isinstance(last, tuple) else last)


def _line_end(text: str, at: int) -> int:
    found = text.find("\n", at)
    return len(text) if found < 0 else found + 1


def _line(item: StockItem, name: str, per_unit: float) -> str:
    words = [f"id: {name}", f"{item.kind}: {item.material}"]
    # of cloth a width counts with its selvedges, which an off-cut has not
    if item.outline_mm is not None and not (item.kind == "sheet" and _is_box(item.outline_mm)):
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
