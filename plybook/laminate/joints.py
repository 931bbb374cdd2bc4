"""Where the pieces of one layer meet: mates, matching ticks and overlap lines.

Two pieces meet across a splice (a cut along the warp) or a kink (a station where the face
breaks). Both get the same ticks with the same labels, opposite each other; at an overlap the lower
piece also shows the line to which the upper one reaches.
"""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import shapely
from shapely.geometry import Polygon

from plybook.diagnostics import Finding, warning
from plybook.laminate.ground import LEAST_JOINT_MM, Meeting, Sheet
from plybook.laminate.ids import tick_label
from plybook.laminate.marks import TICK_MM, tick
from plybook.laminate.model import Mark, Piece
from plybook.laminate.outline import Carry, Stretch
from plybook.laminate.shapes import inside_lines
from plybook.laminate.splice import WarpFrame
from plybook.laminate.way import STAY, Way
from plybook.surface.model import Kink
from plybook.units import mm

TICK_EVERY_MM = 600.0
ON_LINE_MM = 0.05  # of a piece that ends on a line, what lies on it
MOST_TICKS = 8
LEAST_SHARED_MM2 = 1.0


@dataclass
class Blank:
    """A piece in the making: its outline in the cut frame and where it lies."""

    leaf: int
    row: int  # strip within its leaf, counted across the warp
    splices: tuple[int, ...]  # numbers of the splices below and above it, -1 for none
    stretches: list[Stretch]  # cut frame, not thinned
    cut: Polygon
    laid: Polygon
    laid_stretches: list[Stretch]
    way: Way = STAY  # from the mould face to its cut frame
    id: str = ""
    mates: dict[str, str] = field(default_factory=dict)
    neighbours: list[str] = field(default_factory=list)
    marks: list[Mark] = field(default_factory=list)

    def meets(self, name: str, other: Blank) -> None:
        """Notes the neighbour across a stretch; the first one named is the mate of the edge."""
        self.mates.setdefault(name, other.id)
        if other.id not in self.neighbours:
            self.neighbours.append(other.id)


def join_strips(
    blanks: Sequence[Blank], number: int, line_mm: float, overlap_mm: float, frame: WarpFrame
) -> int:
    """Marks one splice on the strips to both sides of it.

    Args:
        blanks: all blanks of the same leaf and part.
        number: number of the splice, as in the name of its stretches.
        line_mm: its position across the warp.

    Returns:
        How many pairs of pieces meet there.
    """
    name, found = f"splice {number}", 0
    lower = [b for b in blanks if b.splices[1] == number]
    upper = [b for b in blanks if b.splices[0] == number]
    ticks = 0
    for below in lower:
        for above in upper:
            for start, end in _shared(below, above, name, frame):
                found += 1
                below.meets(name, above)
                above.meets(name, below)
                for at in tick_places(start, end):
                    label = tick_label(number, ticks)
                    ticks += 1
                    high = frame.points(np.array([at]), np.array([line_mm + overlap_mm / 2]))[0]
                    low = frame.points(np.array([at]), np.array([line_mm - overlap_mm / 2]))[0]
                    below.marks.append(tick(high, -frame.across, label, TICK_MM + overlap_mm))
                    above.marks.append(tick(low, frame.across, label, TICK_MM))
    for below, above in itertools.product(lower, upper):
        if not (name in below.mates or name in above.mates) and _overlap(below, above):
            found += 1
            below.meets(name, above)
            above.meets(name, below)
    if overlap_mm > 0:
        for below in lower:
            _reach_line(
                below, line_mm - overlap_mm / 2, frame, f"{name}: upper strip comes to here"
            )
        for above in upper:
            _reach_line(above, line_mm + overlap_mm / 2, frame, f"{name}: lower strip ends below")
    return found


def _shared(below: Blank, above: Blank, name: str, frame: WarpFrame) -> list[tuple[float, float]]:
    found = []
    for a in _spans(below, name, frame):
        for b in _spans(above, name, frame):
            start, end = max(a[0], b[0]), min(a[1], b[1])
            if end - start >= LEAST_JOINT_MM:
                found.append((start, end))
    return sorted(found)


def _overlap(below: Blank, above: Blank) -> bool:
    """Whether two pieces lie on each other. Of a strip narrower than its overlap that runs askew
    to the warp, the two sides lie past one another along the warp and have no stretch in common.
    """
    return bool(below.cut.intersection(above.cut).area > LEAST_SHARED_MM2)


def _spans(blank: Blank, name: str, frame: WarpFrame) -> list[tuple[float, float]]:
    lines = [frame.distances(s.points_mm) for s in blank.stretches if s.name == name]
    return [(float(at.min()), float(at.max())) for at in lines]


def _reach_line(blank: Blank, line_mm: float, frame: WarpFrame, label: str) -> None:
    at = frame.distances(shapely.get_coordinates(blank.cut))
    line = frame.points(np.array([at.min() - 1, at.max() + 1]), np.array([line_mm, line_mm]))
    for part in inside_lines(line, blank.cut):
        blank.marks.append(Mark("splice_line", part[[0, -1]], label))


def tick_places(start_mm: float, end_mm: float) -> list[float]:
    """Places of the ticks along a joint: two at least, none nearer an end than a fifth of the
    spacing, unevenly so that a piece laid the wrong way round does not match."""
    length = end_mm - start_mm
    count = min(MOST_TICKS, max(2, round(length / TICK_EVERY_MM) + 1))
    shares = (np.arange(count) + 0.5) / count
    shares = shares + 0.06 * (1 - shares) * (np.arange(count) % 2 == 0)
    return [float(start_mm + share * length) for share in shares]


def join_leaves(
    inner: Sequence[Blank], outer: Sequence[Blank], meeting: Meeting, overlap_mm: float, number: int
) -> list[tuple[Blank, Blank, float, float]]:
    """Marks the joint at a break on the pieces of the two leaves that meet there.

    Args:
        inner, outer: blanks of the leaf towards the root and the one beyond.
        meeting: where they meet.
        number: first part of the tick labels.

    Returns:
        The pairs that meet, with where they begin and end to do so along the break, within the net
        line: past it, where all is trimmed away, nothing is joined.
    """
    ticks, found = 0, []
    for first in inner:
        for second in outer:
            for a in _along(first, 0, meeting):
                for b in _along(second, 1, meeting):
                    start = max(a[0], b[0], meeting.net_mm[0])
                    end = min(a[1], b[1], meeting.net_mm[1])
                    if end - start < LEAST_JOINT_MM:
                        continue
                    found.append((first, second, start, end))
                    first.meets(meeting.name, second)
                    second.meets(meeting.name, first)
                    for at in tick_places(start, end):
                        label = tick_label(number, ticks)
                        ticks += 1
                        for blank, side, past in ((first, 0, overlap_mm), (second, 1, 0.0)):
                            mark = _break_tick(meeting, side, at, past, blank.way.carry, label)
                            blank.marks.append(mark)
    return found


def kink_findings(
    pieces: Sequence[Piece], kinks: Sequence[Kink], parts_by: Mapping[str, Sheet]
) -> list[Finding]:
    """Plies that are all joined on the line where the face breaks: no stagger is possible there.

    Args:
        pieces: of all layers.
        kinks: those the cloth is not laid over, from root to tip.
        parts_by: the cloth layers of the part by id.
    """
    found = []
    for number, kink in enumerate(kinks, 1):
        name = f"kink {number}"
        ids = {p.layer for p in pieces for e in p.edges if e.name == name and e.mate}
        sheets = [sheet for layer, sheet in parts_by.items() if layer in ids]
        if len(sheets) < 2:
            continue
        what = "no cloth of theirs crosses it"
        if all(sheet.overlap_mm for sheet in sheets):
            more = sum(sheet.thickness_mm for sheet in sheets)
            what = f"their overlaps lie on each other and add {mm(more):.2f}"
        names = ", ".join(sheet.layer.id for sheet in sheets)
        found.append(
            warning(
                "joints-at-break",
                f"layers {names} are joined on one line, where the face breaks by "
                f"{kink.turn_deg:.1f} deg at {mm(kink.span_mm):.0f}; {what}",
                f"joints at a break cannot be staggered: lay the cloth over it "
                f"(`accept_kinks: [{mm(kink.span_mm):g}]`, a gap of {mm(kink.gap_mm):.1f} to work "
                f"in), "
                f"add a strip of cloth over the line, or accept it with the designer's reason",
                sheets[0].layer.place,
                layers=tuple(sheet.layer.id for sheet in sheets),
            )
        )
    return found


def _along(blank: Blank, side: int, meeting: Meeting) -> list[tuple[float, float]]:
    """From where to where along a break a piece lies on its line and ends square across it."""
    ends = [meeting.along(side, stretch.points_mm) for stretch in blank.laid_stretches
            if stretch.name == meeting.name]  # fmt: skip
    on_line = inside_lines(meeting.lines_mm[side], blank.laid.buffer(ON_LINE_MM)) if ends else []
    lies = [meeting.along(side, part[[0, -1]]) for part in on_line]
    spans = [(max(a.min(), b.min()), min(a.max(), b.max())) for a in ends for b in lies]
    return [(float(start), float(end)) for start, end in spans if start < end]


def _break_tick(
    meeting: Meeting, side: int, at: float, past_mm: float, carry: Carry | None, label: str
) -> Mark:
    spot = np.array([at])
    ends = np.vstack([meeting.beside(side, spot, -past_mm), meeting.beside(side, spot, TICK_MM)])
    return Mark("tick", np.asarray(carry(ends)) if carry else ends, label)
