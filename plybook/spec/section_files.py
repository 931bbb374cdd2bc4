"""Coordinate files of sections, in both common orderings.

Round: x y pairs from the trailing edge over the upper side, round the leading edge, to the
trailing edge, after one line of name. Two lists: after the name a line with the two counts, then
the upper side from the leading edge, then the lower side from the leading edge. Either becomes
(n, 2) points in the round order on a chord of 1.
"""

from __future__ import annotations

import re

import numpy as np

from plybook.diagnostics import Place, SpecError, error
from plybook.spec.collect import Collector
from plybook.spec.model import CoordinateSection
from plybook.spec.outlines import crossing
from plybook.spec.reader import decode, forbidden_character
from plybook.units import mm

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_DECIMALS = re.compile(r"\.(\d+)", re.ASCII)
_LONGEST = 200  # characters of a line that may be a pair
COARSEST = 2e-4  # of the chord; 3 decimals were measured to leave 1 mm, 4 leave 0.035 mm
_PAIR = re.compile(rf"\s*\(?\s*({_NUMBER})[\s,;]+({_NUMBER})\s*\)?\s*$", re.ASCII)


def read_section(content: bytes, file: str, place: Place, out: Collector) -> CoordinateSection:
    """Read a coordinate file.

    Args:
        content: bytes of the file.
        file: its name, for places inside it.
        place: where the spec names it.
        out: takes a warning where the coordinates are coarse; holds the limits.

    Raises:
        SpecError: no such ordering, too few points, points that cross.
    """
    lines = re.split("\r\n|\r|\n", decode(content, file))
    name, rows = "", []
    for number, line in enumerate(lines, 1):
        text = line.split("#")[0].strip()
        if not text:
            continue
        if match := _PAIR.match(text) if len(text) <= _LONGEST else None:
            rows.append((number, float(match[1]), float(match[2])))
        elif not rows and not name:
            name = text[:60]
            if forbidden_character(name):
                name = ""
        else:
            raise SpecError(
                error(
                    "bad-section",
                    f"`{text[:40]}` is no pair of coordinates",
                    "each line holds x and y",
                    Place(file, number, 1, len(line) + 1),
                    place,
                )
            )
    if len(rows) > out.limits["section-points"]:
        raise SpecError(
            error(
                "too-many",
                f"`{file}` holds {len(rows)} points",
                out.limits.why("section-points"),
                place,
            )
        )
    points = _round(rows, file, place)
    unit, chord = _unit_chord(points, file, place)
    decimals = max((len(m[1]) for line in lines for m in _DECIMALS.finditer(line)), default=0)
    if 10.0**-decimals / chord > COARSEST:
        out.warning(
            "coarse-section",
            f"the coordinates in `{file}` have {decimals} decimals; the girth may be "
            f"{mm(1 if decimals >= 3 else 10):g} out on a chord of {mm(1500):g}",
            "use a file with 5 decimals or more",
            place,
        )
    return CoordinateSection(unit, name)


def _round(rows, file: str, place: Place) -> np.ndarray:
    if len(rows) >= 3:
        upper, lower = rows[0][1:]
        counts = upper > 1.5 and lower > 1.5 and upper == int(upper) and lower == int(lower)
        if counts:
            upper, lower = int(upper), int(lower)
            if len(rows) - 1 != upper + lower:
                raise SpecError(
                    error(
                        "bad-section",
                        f"`{file}` promises {upper} + {lower} points and holds {len(rows) - 1}",
                        "correct the counts in its second line",
                        Place(file, rows[0][0], 1),
                        place,
                    )
                )
            points = np.array([row[1:] for row in rows[1:]])
            top, bottom = points[:upper], points[upper:]
            if len(top) < 3 or len(bottom) < 3:
                raise SpecError(_too_few(file, len(points), place))
            if top[:, 1].mean() < bottom[:, 1].mean():
                top, bottom = bottom, top
            same = np.hypot(*(top[0] - bottom[0])) < 1e-9
            return np.vstack([top[::-1], bottom[1:] if same else bottom])
    if len(rows) < 7:
        raise SpecError(_too_few(file, len(rows), place))
    points = np.array([row[1:] for row in rows])
    nose = int(np.argmin(points[:, 0]))
    if not 2 <= nose <= len(points) - 3:
        raise SpecError(
            error(
                "bad-section",
                f"the points of `{file}` do not run from the trailing edge round the leading edge",
                "list them trailing edge, upper side, leading edge, lower side, "
                "trailing edge; or upper and lower side with their counts",
                place,
            )
        )
    if points[: nose + 1, 1].mean() < points[nose:, 1].mean():
        points = points[::-1]  # lower side first
    return points


def _unit_chord(points: np.ndarray, file: str, place: Place) -> tuple[np.ndarray, float]:
    """The points on a chord of 1 from a leading edge at x = 0, and the chord they had."""
    keep = np.r_[True, np.hypot(*np.diff(points, axis=0).T) > 1e-9]
    points = points[keep]
    nose = int(np.argmin(points[:, 0]))
    trailing = (points[0] + points[-1]) / 2
    chord = trailing[0] - points[nose, 0]
    if chord <= 0:
        raise SpecError(error("bad-section", f"`{file}` has no chord", "", place))
    closed = points if np.hypot(*(points[0] - points[-1])) > 1e-9 * chord else points[:-1]
    if fault := crossing(closed):
        x, y = fault.at_mm
        raise SpecError(
            error(
                "bad-section",
                f"the section in `{file}` crosses itself near x = {x:.4g}, y = {y:.4g}",
                "check the order of its points",
                place,
            )
        )
    return (points - [points[nose, 0], 0.0]) / chord + 0.0, float(chord)


def _too_few(file: str, count: int, place: Place):
    return error(
        "bad-section",
        f"`{file}` holds {count} points, expected at least 7",
        "use a file with the whole section",
        place,
    )
