"""Lengths printed in both units: the inches are the millimetres over 25.4, as exact as printed."""

from __future__ import annotations

import re
from html import unescape

from plybook.verify.report import Report
from plybook.verify.tolerances import IN_BOTH_MM

MM_PER_INCH = 25.4  # exact: the international yard and pound agreement of 1959
_INCHES = (
    r"(?:(?P<feet>\d+) ft )?(?:(?P<whole>\d+(?:\.\d+)?)(?= in| \d+/))?"
    r" ?(?:(?P<top>\d+)/(?P<under>\d+))? in"
)
_MM = r"(?P<mm>\d+(?:\.\d+)?) mm"
_PAIRS = [
    re.compile(rf"(?<![\d./]){_INCHES} \({_MM}\)"),
    re.compile(rf"(?<![\d./]){_MM} \({_INCHES}\)"),
]
_TAG = re.compile(r"<(style|script)\b.*?</\1>|<[^>]+>", re.DOTALL)


def check_lengths(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Every length of the booklet that stands in both units."""
    if "booklet.html" not in files:
        return
    words = unescape(_TAG.sub("\n", files["booklet.html"].decode("utf-8")))
    words = re.sub(r"[^\S\n]+", " ", words)  # a length never runs over from one cell to the next
    for pattern in _PAIRS:
        for found in pattern.finditer(words):
            inches, mm = _inches(found), float(found["mm"])
            report.expect(
                abs(inches * MM_PER_INCH - mm) <= IN_BOTH_MM,
                "lengths alike in inches and in millimetres",
                "booklet.html",
                f"{found.group()!r}: {inches:g} in are {inches * MM_PER_INCH:.1f} mm",
            )


def _inches(found: re.Match[str]) -> float:
    inches = 12.0 * float(found["feet"] or 0) + float(found["whole"] or 0)
    return inches + (float(found["top"]) / float(found["under"]) if found["top"] else 0.0)
