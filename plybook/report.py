"""Findings as text: in full with the source line, one to a line, or as JSON.

Nothing here prints; the command line does. Whatever a user wrote is shown literally: control
characters and marks that reorder text never reach the terminal, and on a console that cannot show
a character it is written out.
"""

from __future__ import annotations

import json
import unicodedata
from collections.abc import Callable, Iterable, Sequence

from plybook.diagnostics import Finding, Place, Severity

MOST = 20  # findings shown in full
WIDTH = 100
SHOW_ALL = "--all shows them"

_INK = {Severity.ERROR: "31", Severity.WARNING: "33", Severity.NOTE: "36"}
_ASCII = {
    "±": "+-", "∓": "-+", "°": " deg", "×": "x", "−": "-", "–": "-", "—": "-", "…": "...",
    "“": '"', "”": '"', "‘": "'", "’": "'", "²": "2", "³": "3", "µ": "u", "½": "1/2", "¼": "1/4",
}  # fmt: skip


LinesOf = Callable[[str], Sequence[str] | None]


def wants_colour(stream, no_color: str = "", term: str = "") -> bool:
    """Whether a stream is shown in colour: a terminal, no NO_COLOR, not TERM=dumb."""
    isatty = getattr(stream, "isatty", lambda: False)
    return bool(isatty()) and not no_color and term != "dumb"


def wants_unicode(stream) -> bool:
    """Whether a stream can show more than ASCII."""
    try:
        "±°é—日".encode(getattr(stream, "encoding", None) or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True


def as_text(
    findings: Iterable[Finding],
    colour: bool = False,
    lines_of: LinesOf | None = None,
    unicode: bool = True,
    most: int = MOST,
    everything: bool = False,
) -> str:
    """Errors and open warnings with their place, source line, carets and help, errors first;
    accepted ones and notes are counted.

    Args:
        findings: in any order.
        colour: with terminal colours.
        lines_of: the lines of a file by the name in a place (`Outside.lines`), None when they are
            not at hand; without it no source lines are shown.
        unicode: False writes out what ASCII cannot show.
        most: findings shown before the rest is counted.
        everything: accepted ones and notes are shown too, and none is left out.

    Returns:
        Text without a last line end, "" for no finding.
    """
    ordered = by_severity(findings)
    paint = _painter(colour)
    shown = [one for one in ordered if everything or not is_quiet(one)]
    first = shown if everything else shown[:most]
    blocks = [_block(one, lines_of or (lambda _: None), paint, unicode) for one in first]
    if shown[len(first) :]:
        blocks.append(f"... and {count_words(shown[len(first) :])} more: {SHOW_ALL}")
    counts = [count_words(shown)] if shown else []
    if not everything:
        accepted = [one for one in ordered if one.acknowledged]
        notes = [one for one in ordered if is_quiet(one) and not one.acknowledged]
        if accepted:
            counts.append(f"{count_words(accepted)} accepted: {SHOW_ALL} with the reasons")
        if notes:
            counts.append(f"{count_words(notes)}: {SHOW_ALL}")
    return "\n\n".join([*blocks, "\n".join(counts)] if counts else [])


def is_quiet(finding: Finding) -> bool:
    """Whether a finding asks for nothing: a note, or one that the spec accepts."""
    return finding.severity is Severity.NOTE or bool(finding.acknowledged)


def as_lines(findings: Iterable[Finding], unicode: bool = True) -> str:
    """One finding to a line: `file:line:col: severity[code]: message (help)`."""
    rows = []
    for one in by_severity(findings):
        place = f"{_where(one.places[0])}: " if one.places else ""
        help = f" ({one.help})" if one.help else ""
        accepted = f" [accepted: {one.acknowledged}]" if one.acknowledged else ""
        rows.append(
            plain(f"{place}{one.severity}[{one.code}]: {one.message}{help}{accepted}", unicode)
        )
    return "\n".join(rows)


def as_json(findings: Iterable[Finding]) -> str:
    """The findings as a JSON list in ASCII, keys in a fixed order."""
    return json.dumps([as_dict(one) for one in by_severity(findings)], indent=1)


def as_dict(finding: Finding) -> dict:
    """A finding as plain data, as it stands in the plan."""
    return {
        "code": finding.code,
        "severity": str(finding.severity),
        "message": finding.message,
        "help": finding.help,
        "places": [
            {"file": p.file, "line": p.line, "column": p.column, "end_column": p.end_column}
            for p in finding.places
        ],
        "layers": list(finding.layers),
        "source": finding.source,
        "acknowledged": finding.acknowledged,
    }


def by_severity(findings: Iterable[Finding]) -> list[Finding]:
    """Errors, then warnings, then notes; within each in the order given."""
    rank = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.NOTE: 2}
    return sorted(findings, key=lambda f: rank[f.severity])


def count_words(findings: Sequence[Finding]) -> str:
    """ "2 errors, 1 warning"."""
    words = []
    for severity in Severity:
        number = sum(one.severity == severity for one in findings)
        if number:
            words.append(f"{number} {severity}{'' if number == 1 else 's'}")
    return ", ".join(words)


# ---------------------------------------------------------------- one finding


def _block(one: Finding, lines_of: LinesOf, paint, unicode: bool) -> str:
    ink = _INK[one.severity]
    head = paint(f"{one.severity}[{one.code}]", f"1;{ink}")
    rows = [f"{head}: {plain(one.message, unicode)}"]
    shown = [p for p in one.places if p.file]
    margin = max((len(str(p.line)) for p in shown), default=1)
    for n, place in enumerate(shown[:3]):
        rows.append(f"{' ' * margin}--> {plain(_where(place), unicode)}")
        source = _source(place, lines_of)
        if source is not None:
            text, caret, width = _window(source, place, unicode)
            number = str(place.line).rjust(margin)
            rows.append(f"{number} | {text}")
            mark = ("^" if n == 0 else "-") * width
            rows.append(f"{' ' * margin} | {' ' * caret}{paint(mark, ink)}")
    pad = " " * margin
    if one.help:
        rows.append(f"{pad} {paint('help:', '1')} {plain(one.help, unicode)}")
    if one.source:
        rows.append(f"{pad} source: {plain(one.source, unicode)}")
    if one.acknowledged:
        rows.append(f"{pad} accepted: {plain(one.acknowledged, unicode)}")
    return "\n".join(rows)


def _where(place: Place) -> str:
    return f"{place.file}:{place.line}:{place.column}" if place.line else place.file


def _source(place: Place, lines_of) -> str | None:
    lines = lines_of(place.file) if place.line else None
    if lines is None or not 1 <= place.line <= len(lines):
        return None
    return lines[place.line - 1]


def _window(line: str, place: Place, wide: bool) -> tuple[str, int, int]:
    """The part of a line around its place: text, column of the first caret, number of carets."""
    start = min(max(place.column - 1, 0), len(line))
    stop = min(max(place.end_column - 1, start + 1), max(len(line), start + 1))
    first = 0
    if len(line) > WIDTH and start > WIDTH // 2:
        first = start - WIDTH // 3
    last = min(len(line), first + WIDTH)
    before, inside = line[first:start], line[start : min(stop, last)]
    text = plain(line[first:last], wide)
    head = "..." if first else ""
    tail = "..." if last < len(line) else ""
    caret = len(head) + cells(plain(before, wide))
    return head + text + tail, caret, max(1, cells(plain(inside, wide)))


def _painter(colour: bool) -> Callable[[str, str], str]:
    return (lambda text, ink: f"\x1b[{ink}m{text}\x1b[0m") if colour else (lambda text, _: text)


# ---------------------------------------------------------------- text on a terminal


def plain(text: str, wide: bool = True) -> str:
    """Text that shows what was typed and does nothing to the terminal.

    Args:
        text: anything.
        wide: False writes out what ASCII cannot show.
    """
    return "".join(_mark(mark, wide) for mark in text)


def _mark(mark: str, wide: bool) -> str:
    if " " <= mark <= "~":
        return mark
    if mark == "\t":
        return " "
    if unicodedata.category(mark) in ("Cc", "Cf", "Cs", "Zl", "Zp", "Co", "Cn"):
        return f"<U+{ord(mark):04X}>"
    if wide:
        return mark
    if mark in _ASCII:
        return _ASCII[mark]
    basic = unicodedata.normalize("NFKD", mark).encode("ascii", "ignore").decode()
    return basic or f"<U+{ord(mark):04X}>"


def cells(text: str) -> int:
    """Columns a text takes on a terminal: wide marks two, combining ones none."""
    return sum(
        0 if unicodedata.combining(m) else 2 if unicodedata.east_asian_width(m) in "WF" else 1
        for m in text
    )
