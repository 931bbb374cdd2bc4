"""YAML text to a tree of values that know where they stand.

The parser's events are turned into `Fields`, `Items` and `Scalar` in one pass without recursion,
so depth and size are refused while reading, before anything large exists. No YAML typing takes
place: a scalar stays its text, and what stands at that place decides how it is read. So `no` is
the word no, 1e3 is a number where a number is meant, and 045 or 12:30 are never quietly changed.

Not part of the language, refused with a sentence each: anchors and aliases, merge keys, tags,
several documents in one file, keys that are not plain text.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

import yaml

from plybook.diagnostics import Finding, Place, SpecError, error
from plybook.spec.limits import Limits
from plybook.spec.syntax import curled, syntax_finding

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)

VERSION = "1"


class Scalar(str):
    """Text of one value. `quoted` says it stood in quotes; an unquoted empty one is empty."""

    place: Place
    quoted: bool

    def __new__(cls, text: str, place: Place, quoted: bool = False) -> Scalar:
        self = super().__new__(cls, text)
        self.place, self.quoted = place, quoted
        return self

    @property
    def empty(self) -> bool:
        return not self.quoted and self == ""


class Items(list):
    """A list and its place."""

    def __init__(self, place: Place):
        super().__init__()
        self.place = place


class Fields(dict):
    """A mapping, its place, and the place of every key."""

    def __init__(self, place: Place):
        super().__init__()
        self.place = place
        self.key_places: dict[str, Place] = {}


Tree = Scalar | Items | Fields


@dataclass
class Spent:
    """Values read so far in all files of a spec."""

    nodes: int = 0


def read_tree(content: bytes, file: str, limits: Limits, spent: Spent | None = None) -> Fields:
    """Read one YAML file.

    Args:
        content: bytes of the file.
        file: name used in places.
        limits: "depth", "value-length" and "nodes" are held here.
        spent: values of the files read before, which count too; this file's are added.

    Returns:
        The top-level mapping.

    Raises:
        SpecError: anything that is not one plain YAML mapping in UTF-8.
    """
    text = decode(content, file)
    builder = _Builder(file, limits, spent or Spent())
    try:
        for event in yaml.parse(text, Loader=_Loader):
            builder.take(event)
    except yaml.YAMLError as problem:
        raise SpecError([*builder.findings, syntax_finding(problem, text, file)]) from None
    if builder.root is None or (isinstance(builder.root, Scalar) and builder.root.empty):
        raise SpecError(
            error(
                "empty-file",
                "the file is empty",
                f"start with `plybook: {VERSION}`",
                Place(file, 1, 1, 2),
            )
        )
    if builder.findings:
        raise SpecError(builder.findings)
    if not isinstance(builder.root, Fields):
        kind = "a list" if isinstance(builder.root, Items) else "plain text"
        raise SpecError(
            error(
                "not-a-mapping",
                f"expected a mapping (`key: value` lines) at the top of the file, found {kind}",
                f"start with `plybook: {VERSION}`",
                builder.root.place,
            )
        )
    return builder.root


def decode(content: bytes, file: str) -> str:
    """Bytes to text: UTF-8, a byte-order mark is dropped, control characters refused."""
    start = Place(file, 1, 1, 2)
    for mark, name in (
        (b"\xff\xfe\x00\x00", "UTF-32"),
        (b"\x00\x00\xfe\xff", "UTF-32"),
        (b"\xff\xfe", "UTF-16"),
        (b"\xfe\xff", "UTF-16"),
    ):
        if content.startswith(mark):
            raise SpecError(_encoding(name, start))
    if len(content) >= 4 and content[:64].count(0) * 3 >= len(content[:64]):
        raise SpecError(_encoding("UTF-16", start))
    try:
        text = content.removeprefix(b"\xef\xbb\xbf").decode("utf-8")
    except UnicodeDecodeError as problem:
        before = content[: problem.start].decode("utf-8", "replace").removeprefix("\ufeff")
        raise SpecError(
            error(
                "not-utf-8",
                f"byte 0x{content[problem.start]:02x} is not UTF-8 text",
                "save the file as UTF-8",
                _place_after(before, file),
            )
        ) from None
    if match := _FORBIDDEN.search(text):
        raise SpecError(
            error(
                "control-character",
                f"control character {_name(match[0])} in the text",
                "delete it",
                _place_after(text[: match.start()], file),
            )
        )
    return text


# C0 and C1 controls except tab and line ends, line separators, and marks that reorder text
_FORBIDDEN = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff\ufffe\uffff]"
)


def forbidden_character(text: str, newlines: bool = False) -> str:
    """Name of the first character a text may not hold, "" when there is none.

    Args:
        text: a value after escapes were read.
        newlines: True where a text of several lines is meant.
    """
    for mark in text:
        if mark in "\n\r\t":
            if mark == "\n" and newlines:
                continue
            return _name(mark)
        if _FORBIDDEN.match(mark) or unicodedata.category(mark) in ("Cs", "Cc"):
            return _name(mark)
    return ""


def _name(mark: str) -> str:
    names = {"\n": "line end", "\t": "tab", "\r": "carriage return", "\x00": "NUL"}
    return names.get(mark, f"U+{ord(mark):04X}")


def _encoding(name: str, place: Place) -> Finding:
    return error(
        "not-utf-8", f"the file is {name}, expected UTF-8", "save the file as UTF-8", place
    )


def _place_after(before: str, file: str) -> Place:
    lines = re.split("\r\n|\r|\n", before)
    column = len(lines[-1]) + 1
    return Place(file, len(lines), column, column + 1)


class _Builder:
    """Turns events into the tree; open containers stand on a stack."""

    def __init__(self, file: str, limits: Limits, spent: Spent):
        self.file, self.limits, self.spent = file, limits, spent
        self.root: Tree | None = None
        self.findings: list[Finding] = []
        self.stack: list[Fields | Items] = []
        self.pending: list[Scalar | None] = []  # the key waiting for its value, per container
        self.documents = 0

    def take(self, event: yaml.Event) -> None:
        place = self._place(event)
        if isinstance(event, yaml.DocumentStartEvent):
            self.documents += 1
            if self.documents > 1:
                self._stop(
                    "several-documents",
                    "a second document starts here (`---`), expected one per file",
                    "put it in a file of its own",
                    place,
                )
        elif isinstance(event, yaml.AliasEvent):
            self._stop(
                "alias",
                f"`*{event.anchor}` refers to another place in the file, which is not read here",
                "write the value out, or put it in an included file",
                place,
            )
        elif isinstance(event, yaml.ScalarEvent):
            self._check(event, place)
            if len(event.value) > self.limits["value-length"]:
                self._stop(
                    "too-long",
                    f"a value of {len(event.value)} characters",
                    self.limits.why("value-length"),
                    place,
                )
            quoted = event.style not in (None, "")
            if not quoted and (found := curled(event.value, place)):
                self.findings.append(found)
            self._add(Scalar(event.value, place, quoted))
        elif isinstance(event, (yaml.MappingStartEvent, yaml.SequenceStartEvent)):
            self._check(event, place)
            node = Fields(place) if isinstance(event, yaml.MappingStartEvent) else Items(place)
            self._add(node)
            if len(self.stack) >= self.limits["depth"]:
                self._stop(
                    "too-deep",
                    f"more than {self.limits['depth']:.0f} levels inside one another",
                    self.limits.why("depth"),
                    place,
                )
            self.stack.append(node)
            self.pending.append(None)
        elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
            self.stack.pop()
            self.pending.pop()

    def _add(self, node: Tree) -> None:
        self.spent.nodes += 1
        if self.spent.nodes > self.limits["nodes"]:
            self._stop(
                "too-many-values",
                f"more than {self.limits['nodes']:.0f} values in the files of a spec",
                self.limits.why("nodes"),
                node.place,
            )
        if not self.stack:
            self.root = node
            return
        parent = self.stack[-1]
        if isinstance(parent, Items):
            parent.append(node)
        elif self.pending[-1] is None:
            self.pending[-1] = self._key(node)
        else:
            self._put(parent, self.pending[-1], node)
            self.pending[-1] = None

    def _key(self, node: Tree) -> Scalar:
        if isinstance(node, Scalar):
            if node == "<<" and not node.quoted:
                self._stop(
                    "merge-key",
                    "`<<` (merging mappings) is not read here",
                    "write the keys out, or put them in an included file",
                    node.place,
                )
            return node
        self._stop(
            "odd-key",
            "a list or mapping stands where a key is expected",
            "a key is a plain word before a colon",
            node.place,
        )
        raise AssertionError("unreachable")

    def _put(self, parent: Fields, key: Scalar, node: Tree) -> None:
        if str(key) in parent:
            self.findings.append(
                error(
                    "duplicate-key",
                    f"`{key}` stands twice in the same mapping "
                    f"(lines {parent.key_places[key].line} and {key.place.line})",
                    "keep one of them",
                    key.place,
                    parent.key_places[key],
                )
            )
            return
        parent[str(key)] = node
        parent.key_places[str(key)] = key.place

    def _check(self, event: yaml.NodeEvent, place: Place) -> None:
        if event.anchor:
            self._stop(
                "anchor",
                f"`&{event.anchor}` marks a place to be copied, which is not read here",
                "write the value out, or put it in an included file",
                place,
            )
        if event.tag and event.tag != "!":
            tag = event.tag.replace("tag:yaml.org,2002:", "!!")
            self._stop("unknown-tag", f"unknown tag `{tag}`", "delete the tag", place)

    def _stop(self, code: str, message: str, help: str, place: Place) -> None:
        raise SpecError([*self.findings, error(code, message, help, place)])

    def _place(self, event: yaml.Event) -> Place:
        start, end = event.start_mark, event.end_mark
        column = start.column + 1
        one_line = end.line == start.line and end.column > start.column
        return Place(self.file, start.line + 1, column, end.column + 1 if one_line else column + 1)
