"""Where the tool puts the seams of a core so that every panel fits a sheet.

Terms:
    row: what lies between two seams along the span.
    stretch: what lies between two seams across the span, in all rows.
    footprint: what a panel takes up on its sheet; past a scarfed seam its bag side stands out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import shapely

from plybook.diagnostics import Finding, error
from plybook.geometry.fitting import most_room, room_mm
from plybook.laminate.bevel import polygons, rings_of
from plybook.laminate.seams import SeamLine, ToCut, place_seam, split_by
from plybook.laminate.shapes import mean_width_mm
from plybook.spec.model import Core, Seam, ShareLine, SpanLine, Treatment
from plybook.surface.model import Face
from plybook.units import bare_mm, mm

NARROWEST_MM = 15.0  # a panel narrower than this breaks in the hand
_WELL_INSIDE_MM = 20.0
_CLOSE_MM = 4.0  # where the largest stretch ends is guessed as well as this
_STEP_MM = 5.0  # a seam across that is not clear is drawn back by this much at a time
_HOLLOW_DEG = 20.0  # a corner of the outline that turns back so far is a place for a seam
_EVENED = 7  # halvings of what the longest stretch may lose when panels are evened out
_ALIKE = 0.05  # of the core's area: divisions that waste as much of their sheets
_LIKE = 0.02  # seams whose shares differ less are one


def sheet_room_mm(
    outline: shapely.Geometry,
    sheets_mm: Sequence[tuple[float, float]],
    grain: bool,
    slantwise: bool = False,
) -> float:
    """The room a panel leaves on the sheet that suits it best, mm; negative where none takes it.

    Args:
        outline: footprint of the panel in the cut frame.
        sheets_mm: length along the grain and width of each sheet size.
        grain: True where the panel's x must stay along the grain of the sheet.
        slantwise: the panel may also lie at any angle on its sheet.
    """
    ring = np.asarray(outline.convex_hull.exterior.coords)[:-1]
    if grain:
        return max(float(room_mm(ring, sheet, np.zeros(1))[0]) for sheet in sheets_mm)
    return max(most_room(ring, sheet, slantwise)[1] for sheet in sheets_mm)


def leaves_room(
    outline: shapely.Geometry,
    sheets_mm: Sequence[tuple[float, float]],
    grain: bool,
    least_mm: float,
) -> bool:
    """Whether `sheet_room_mm` is at least `least_mm`, told without turning the panel where its
    size tells it: a panel that fits as it lies fits, one larger than every sheet does not."""
    left, low, right, high = outline.bounds
    size = right - left, high - low
    if any(size[0] <= x - least_mm and size[1] <= y - least_mm for x, y in sheets_mm):
        return True
    if grain or outline.area > max(x * y for x, y in sheets_mm):
        return False
    return sheet_room_mm(outline, sheets_mm, grain) >= least_mm


class _Stretches:
    """Which stretches between two spans are known to fit: all within one that does, and none
    that takes in one that does not."""

    def __init__(self) -> None:
        self._fit: list[tuple[float, float]] = []
        self._unfit: list[tuple[float, float]] = []

    def known(self, low: float, high: float) -> bool | None:
        if any(a <= low and high <= b for a, b in self._fit):
            return True
        if any(low <= a and b <= high for a, b in self._unfit):
            return False
        return None

    def learn(self, low: float, high: float, fits: bool) -> bool:
        (self._fit if fits else self._unfit).append((low, high))
        return fits


def fits_a_sheet(
    outline: shapely.Geometry, sheets_mm: Sequence[tuple[float, float]], grain: bool
) -> bool:
    """Whether a panel goes on any of the sheets, at any angle unless the grain forbids it."""
    return sheet_room_mm(outline, sheets_mm, grain, slantwise=True) >= -1e-6


@dataclass(frozen=True)
class SeamSearch:
    """What the search for seams may do.

    Attributes:
        sheets_mm: sheet sizes at hand (length along the grain, width).
        grain: the grain must follow the reference axis.
        treatment: how the seams are cut.
        thickness_mm: of the sheet; a scarf needs room for its slope.
        keep_off: geometry the seams stay clear of (hardpoints), or None.
        clear_mm: how far they stay clear.
        past_openings_mm: how far from an opening they pass by it, where they do not lead well
            into it: a strip of core as narrow would break.
        reserve_mm: room left beside a panel for saw cuts and what the search does not see.
        most: give up above this many panels in one direction.
    """

    sheets_mm: tuple[tuple[float, float], ...]
    grain: bool
    treatment: Treatment
    thickness_mm: float = 0.0
    keep_off: shapely.Geometry | None = None
    clear_mm: float = 30.0
    past_openings_mm: float = 0.0
    reserve_mm: float = 2.0
    most: int = 12


def choose_seams(
    region: shapely.Geometry,
    face: Face,
    to_cut: ToCut,
    search: SeamSearch,
    fixed: Sequence[SeamLine] = (),
) -> tuple[SeamLine, ...] | None:
    """The fewest seams that bring every panel onto a sheet with a side along the sheet's.

    Rows are tried one, two, three ... at equal shares of the section, and at the hollow corners
    of the outline. Within each choice the seams across the span are set greedily, each as far out
    as its panels still fit, then evened out. The division with the fewest panels wins, of
    those the one whose panels are least hollow (an L wastes its sheet), then the one with the
    least seam length.

    Args:
        region: the core in the cut frame.
        to_cut: (n, 2) pattern mm -> (n, 2) cut frame mm.
        fixed: seams that stand already (kinks, the builder's own).

    Returns:
        The new seams (maybe none), or None where no such division was found.
    """
    return _Division(region, face, to_cut, search, tuple(fixed)).best()


class _Division:
    """One region and the ways it is divided."""

    def __init__(self, region, face: Face, to_cut: ToCut, search: SeamSearch, fixed):
        self._region, self._face, self._to_cut = region, face, to_cut
        self._search, self._fixed = search, fixed
        # the cut frame is close enough to the pattern to tell spans and shares
        places = np.asarray(face.from_pattern(shapely.get_coordinates(region)))
        self._spans = float(places[:, 0].min()), float(places[:, 0].max())
        self._shares = float(places[:, 1].min()), float(places[:, 1].max())
        self._across: dict[float, SeamLine] = {}
        self._firsts: dict[tuple[str, float], shapely.Polygon] = {}
        # of the rows that are divided now
        self._stretches = _Stretches()
        self._beyond: dict[tuple[int, float, float], np.ndarray] = {}
        self._reached: list[tuple[float, float]] = []  # the largest stretches: where from, where to
        self._barred = self._through_hardpoints()

    def best(self) -> tuple[SeamLine, ...] | None:
        best: tuple[tuple[int, int, float], tuple[SeamLine, ...]] | None = None
        for shares in self._row_choices():
            if best is not None and len(shares) + 1 > best[0][0]:
                continue
            along = self._along(shares)
            cuts = None if along is None else self._cuts(along)
            if along is None or cuts is None:
                continue
            seams = along + cuts
            panels = split_by(self._region, [*self._fixed, *seams])
            length = sum(self._region.intersection(s.line).length for s in seams)
            hollow = sum(p.convex_hull.area - p.area for p in panels) / self._region.area
            score = (len(panels), round(hollow / _ALIKE), length)
            if best is None or score < best[0]:
                best = (score, seams)
        return None if best is None else best[1]

    # ------------------------------------------------------------ along the span

    def _row_choices(self) -> list[tuple[float, ...]]:
        """Shares of the seams along the span, fewest seams first."""
        low, high = self._shares
        hollow = self._hollow_shares()
        choices: list[tuple[float, ...]] = []
        for rows in range(1, self._search.most + 1):
            pitch = (high - low) / rows
            choices.append(tuple(round(low + k * pitch, 4) for k in range(1, rows)))
            if rows == 2:
                choices += [(share,) for share in hollow]
            if rows == 3:
                choices += [(a, b) for n, a in enumerate(hollow) for b in hollow[n + 1 :]]
        return choices

    def _hollow_shares(self) -> list[float]:
        """Shares at which the outline of the core turns back: where an L has its inner corner."""
        found: list[float] = []
        for part in polygons(self._region):
            ring = rings_of(shapely.Polygon(part.exterior).simplify(1.0))[0]
            ahead, back = np.roll(ring, -1, axis=0) - ring, ring - np.roll(ring, 1, axis=0)
            turn = np.degrees(
                np.arctan2(
                    back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0], (back * ahead).sum(axis=1)
                )
            )
            hollow = ring[turn < -_HOLLOW_DEG]
            if len(hollow):
                found += np.asarray(self._face.from_pattern(hollow))[:, 1].tolist()
        own: list[float] = []
        for share in sorted(found):
            inside = self._shares[0] + _LIKE < share < self._shares[1] - _LIKE
            if inside and (not own or share - own[-1] > _LIKE):
                own.append(share)
        return own[:4]

    def _along(self, shares: tuple[float, ...]) -> tuple[SeamLine, ...] | None:
        """Seams along the span, each moved the least that clears the hardpoints."""
        seams = []
        pitch = (self._shares[1] - self._shares[0]) / (len(shares) + 1)
        for k, wanted in enumerate(shares, 1):
            for move in sorted(np.linspace(-0.3, 0.3, 31), key=lambda m: (abs(m), m)):
                line = ShareLine(round(float(wanted + move * pitch), 7))
                seam = self._placed(Seam(f"L{k}", line, self._search.treatment))
                if self._clear(seam):
                    seams.append(seam)
                    break
            else:
                return None
        return tuple(seams)

    def _placed(self, seam: Seam) -> SeamLine:
        return place_seam(seam, self._face, self._to_cut, chosen=True)

    def _clear(self, seam: SeamLine) -> bool:
        keep_off, past_mm = self._search.keep_off, self._search.past_openings_mm
        if keep_off is not None and seam.line.distance(keep_off) < self._search.clear_mm:
            return False
        return not past_mm or all(
            seam.line.distance(opening) >= past_mm or seam.line.intersects(inside)
            for opening, inside in self._openings
        )

    @cached_property
    def _openings(self) -> list[tuple[shapely.Polygon, shapely.Geometry]]:
        """Of the core, in the cut frame, each with what lies well inside it."""
        rings = (ring for part in polygons(self._region) for ring in part.interiors)
        return [(one, one.buffer(-_WELL_INSIDE_MM)) for one in map(shapely.Polygon, rings)]

    def _through_hardpoints(self) -> list[tuple[float, float]]:
        """Spans where a seam across would run right through a hardpoint; there is no need to
        place it."""
        found = []
        keep_off = self._search.keep_off
        for part in polygons(keep_off) if keep_off is not None else []:
            spans = np.asarray(self._face.from_pattern(shapely.get_coordinates(part)))[:, 0]
            low, high = float(spans.min()) + _WELL_INSIDE_MM, float(spans.max()) - _WELL_INSIDE_MM
            if low < high:
                found.append((low, high))
        return found

    # ------------------------------------------------------------ across the span

    def _cuts(self, along: tuple[SeamLine, ...]) -> tuple[SeamLine, ...] | None:
        """Seams across the span; every stretch between two of them fits in all rows."""
        slopes = [abs(s.scarf_shift_mm(self._search.thickness_mm)) for s in along]
        rows = split_by(self._region, [*self._fixed, *along])
        grown = [self._grown(row, max(slopes, default=0.0)) for row in rows]
        low, high = self._spans
        reach = high - low + 1.0
        self._stretches, self._beyond, self._reached = _Stretches(), {}, []
        best = self._walk(grown, rows, reach)
        if best is None:
            return None
        least, reach_now = reach / len(best), reach  # even out without adding a panel
        for _ in range(_EVENED):
            middle = (least + reach_now) / 2
            tried = self._walk(grown, rows, middle)
            if tried is not None and len(tried) == len(best):
                best, reach_now = tried, middle
            else:
                least = middle
        return tuple(self._seam_at(end) for end in best[:-1])

    def _grown(self, row: shapely.Polygon, slope_mm: float) -> shapely.Polygon:
        """A row with the slopes that stand out past scarfed seams along it."""
        return row.union(row.buffer(slope_mm).intersection(self._region)) if slope_mm else row

    def _walk(self, grown, rows, reach: float) -> list[float] | None:
        ends: list[float] = []
        low = self._spans[0]
        while low < self._spans[1]:
            end = self._farthest(grown, rows, low, reach)
            if end is None or len(ends) >= self._search.most:
                return None
            ends.append(end)
            low = end
        return ends

    def _farthest(self, grown, rows, low: float, reach: float) -> float | None:
        """The largest end <= low + reach whose stretch fits and whose seam may lie there."""
        end = min(low + reach, self._spans[1])
        if not self._fit(grown, low, end):
            self._close_in(grown, low, end)
            inside, outside = low, end
            while outside - inside > 2.0:
                middle = (inside + outside) / 2
                fits = self._fit(grown, low, middle)
                inside, outside = (middle, outside) if fits else (inside, middle)
            end = inside
            self._reached.append((low, end))
        if end >= self._spans[1]:
            return end
        while end > low + 20.0:
            at = float(round(end))
            through = any(a < at < b for a, b in self._barred)
            if (
                not through
                and self._clear(self._seam_at(at))
                and self._fit(grown, low, at)
                and not self._leaves_slivers(rows, low, at)
            ):
                return at
            end -= _STEP_MM
        return None

    def _close_in(self, grown, low: float, end: float) -> None:
        """Learn of two stretches that hardly differ which fits and which does not; where they end
        is guessed from the stretches that began nearby, so that the halving asks no others."""
        near = min(self._reached, key=lambda known: abs(known[0] - low), default=None)
        length = max(map(max, self._search.sheets_mm)) if near is None else near[1] - near[0]
        at, step = min(low + length, end), _CLOSE_MM
        way = 1.0 if self._fit(grown, low, at) else -1.0
        while low < at + way * step < end:
            at += way * step
            if self._fit(grown, low, at) != (way > 0):
                break
            step *= 2

    def _seam_at(self, at_mm: float) -> SeamLine:
        at_mm = float(round(at_mm))
        if at_mm not in self._across:
            seam = Seam(f"A{at_mm:.0f}", SpanLine(at_mm), self._search.treatment)
            self._across[at_mm] = self._placed(seam)
        return self._across[at_mm]

    def _between(self, rows, low: float, high: float, slope_mm: float) -> list[shapely.Polygon]:
        """What lies between two spans, with the slopes of scarfs past the seams there."""
        parts = self._past(rows, low, min(slope_mm, 0.0))
        if high < self._spans[1]:
            parts = _parts(shapely.intersection(parts, self._first(high, max(slope_mm, 0.0))))
        return [p for p in parts if p.area > 1.0]

    def _past(self, rows, low: float, slope_mm: float) -> np.ndarray:
        """The polygons beyond a seam; many stretches begin at the same one."""
        at = -math.inf if low <= self._spans[0] else float(round(low))
        key = id(rows), at, slope_mm
        if key not in self._beyond:
            parts = np.array(rows)
            if low > self._spans[0]:
                parts = _parts(shapely.difference(parts, self._first(low, slope_mm)))
            self._beyond[key] = parts
        return self._beyond[key]

    def _first(self, at_mm: float, slope_mm: float) -> shapely.Polygon:
        """The first side of a seam moved to the foot of its slope."""
        seam = self._seam_at(at_mm)
        key = seam.id, slope_mm
        if key not in self._firsts:
            self._firsts[key] = seam.shifted(slope_mm).first
        return self._firsts[key]

    def _fit(self, grown, low: float, high: float) -> bool:
        start = low if low <= self._spans[0] else float(round(low))  # where the seams lie
        end = high if high >= self._spans[1] else float(round(high))
        known = self._stretches.known(start, end)
        if known is not None:
            return known
        search = self._search
        slope = self._seam_at(low).scarf_shift_mm(search.thickness_mm)
        panels = self._between(grown, low, high, slope)
        fits = all(
            leaves_room(p, search.sheets_mm, search.grain, search.reserve_mm) for p in panels
        )
        return self._stretches.learn(start, end, fits)

    def _leaves_slivers(self, rows, low: float, at: float) -> bool:
        beside = [
            *self._between(rows, low, at, 0.0),
            *self._between(rows, at, self._spans[1], 0.0),
        ]
        return any(mean_width_mm(p) < NARROWEST_MM for p in beside)


def _parts(shapes: np.ndarray) -> np.ndarray:
    """All polygons of some geometries, in any order."""
    found = shapely.get_parts(shapely.get_parts(shapes))
    return found[shapely.get_type_id(found) == shapely.GeometryType.POLYGON]


def size_that_would_do(
    region: shapely.Geometry,
    face: Face,
    to_cut: ToCut,
    search: SeamSearch,
    fixed: Sequence[SeamLine] = (),
) -> tuple[float, float] | None:
    """A sheet size, as little over the largest as could be found, on which every panel of some
    division fits; (length, width) in whole centimetres, as mm; None where none was found."""
    length, width = max(search.sheets_mm, key=lambda s: s[0] * s[1])
    for along, across in ((1, 1.25), (1.25, 1), (1.25, 1.25), (1, 2), (2, 1), (2, 2), (4, 4)):
        size = tuple(10.0 * round(v / 10.0) for v in (length * along, width * across))
        larger = replace(search, sheets_mm=((size[0], size[1]),))
        if choose_seams(region, face, to_cut, larger, fixed) is not None:
            return size[0], size[1]
    return None


def no_seams(
    core: Core, search: SeamSearch, wanted: tuple[float, float] | None, beside: bool
) -> Finding:
    """Why no seams were found, and the sheet that would do."""
    size = max(search.sheets_mm, key=lambda s: s[0] * s[1])
    why = f" with its seams {mm(search.clear_mm):.0f} clear of the inserts" if beside else ""
    grain = " and the grain along the axis" if search.grain else ""
    help_text = (
        f"a sheet of {bare_mm(wanted[0]):.0f} x {mm(wanted[1]):.0f} would do; "
        "or give the seams by hand"
        if wanted
        else "give the seams by hand, or divide the core into several"
    )
    return error(
        "core-seams-not-found",
        f"core {core.id}: no division into panels fits a sheet of "
        f"{bare_mm(size[0]):.0f} x {mm(size[1]):.0f}{why}{grain}",
        help_text,
        core.place,
        layers=(core.id,),
    )
