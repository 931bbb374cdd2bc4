"""Tables as CSV by RFC 4180: commas, CRLF, quotes only where needed, UTF-8.

A cell of text that a spreadsheet would run as a formula (it starts with = + - @, tab or a line
end) is preceded by an apostrophe; numbers are left alone.
"""

from __future__ import annotations

import csv
import io
import math
import re
from collections.abc import Iterable, Sequence

from plybook.write.numbers import NotDrawable, number

Cell = str | int | float | bool | None
_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?\Z")
_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n")


def csv_bytes(head: Sequence[str], rows: Iterable[Sequence[Cell]], decimals: int = 4) -> bytes:
    """A table as bytes.

    Args:
        head: column names, with the unit where there is one.
        rows: cells; floats are rounded to `decimals`, whole numbers lose their ".0", None is an
            empty cell, True and False become yes and no.

    Raises:
        NotDrawable: a number is not finite, or a row has not one cell per column.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([_cell(name, decimals) for name in head])
    for row in rows:
        if len(row) != len(head):
            raise NotDrawable(f"a row has {len(row)} cells, the table has {len(head)} columns")
        writer.writerow([_cell(value, decimals) for value in row])
    return text.getvalue().encode("utf-8")


def _cell(value: Cell, decimals: int) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return _guarded(value)
    if not math.isfinite(value):
        raise NotDrawable(f"a number in a table is {value}")
    return number(float(value), decimals)


def _guarded(value: str) -> str:
    """Text without control characters that no spreadsheet takes for a formula."""
    kept = "".join(c for c in value if c in "\t\n" or (c >= " " and not 0x7F <= ord(c) <= 0x9F))
    if kept.lstrip(" ").startswith(_STARTS) and not _NUMBER.match(kept):
        return "'" + kept
    return kept
