"""The one door to the terminal: whatever is printed passes here and does nothing to it.

File names, ids and notes come from anyone. A control character among them would move the cursor
over a verdict or reach the clipboard, so everything but line ends and our own colours is written
out as `<U+001B>`. No other module prints.
"""

from __future__ import annotations

import re
import sys
from typing import TextIO

_COLOUR = re.compile(r"(\x1b\[[0-9;]*m)")


def put(text: object, lines: bool = False) -> None:
    """Print a result on stdout.

    Args:
        text: anything.
        lines: line ends in it are ours and stay; else they are written out too, so that a name
            cannot look like a line of its own.
    """
    _put(str(text), sys.stdout, lines)


def talk(text: object, lines: bool = False, coloured: bool = False) -> None:
    """Print on stderr, where the talk goes.

    Args:
        text: anything.
        lines: as `put` has it.
        coloured: colour codes pass. Only for text that `plybook.report` has painted: it has made
            the user's words harmless before.
    """
    _put(str(text), sys.stderr, lines, coloured)


def _put(text: str, stream: TextIO, lines: bool, coloured: bool = False) -> None:
    from plybook import report

    wide = report.wants_unicode(stream)
    parts = _COLOUR.split(text) if coloured else [text]
    for number in range(0, len(parts), 2):
        rows = parts[number].split("\n") if lines else [parts[number]]
        parts[number] = "\n".join(report.plain(row, wide) for row in rows)
    shown = "".join(parts)
    stream.write(shown if lines and shown.endswith("\n") else shown + "\n")
    stream.flush()


class Ticker:
    """One line of progress on a terminal; silent everywhere else, gone when done."""

    def __init__(self, stream: TextIO, quiet: bool):
        self._stream = stream
        self._on = not quiet and hasattr(stream, "isatty") and stream.isatty()
        self._width = 0

    def __call__(self, text: str) -> None:
        if self._on:
            from plybook.report import plain

            line = plain(text, wide=False)[:78]
            self._stream.write("\r" + line.ljust(self._width))
            self._stream.flush()
            self._width = len(line)

    def clear(self) -> None:
        if self._on and self._width:
            self._stream.write("\r" + " " * self._width + "\r")
            self._stream.flush()
            self._width = 0
