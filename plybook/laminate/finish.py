"""From a blank to a finished piece: thinned once, on the grid, with its edges, marks and words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.ground import Ground, Sheet
from plybook.laminate.joints import Blank
from plybook.laminate.marks import MarkRule, datum_mark, marks_on, tick
from plybook.laminate.model import Growth, Mark, Piece, SpliceInfo
from plybook.laminate.outline import (
    Carry,
    on_grid,
    outline_and_edges,
    ring_from,
    thinned,
    thinned_ring,
)
from plybook.laminate.raising import Strains
from plybook.laminate.shapes import holes_of, inside_lines, ring_of
from plybook.spec.model import Unit
from plybook.units import show_length

ON_PIECE_MM = 0.1


def finished(
    blank: Blank,
    number: int,
    count: int,
    sheet: Sheet,
    ground: Ground,
    rules: Sequence[MarkRule] = (),
    strains: Strains | None = None,
) -> Piece:
    """The piece made of a blank.

    Args:
        blank: joined to its neighbours and named.
        number, count: it is strip `number` (from 0) of `count` of its part.
        sheet: the layer it is cut from.
        ground: face, spec and regions.
        rules: lines to mark where they cross it.
        strains: what strains it.
    """
    error_mm, carry = ground.chord_error_mm, blank.way.carry
    stretches = thinned(blank.stretches, error_mm)
    outline, edges = outline_and_edges(stretches, blank.mates)
    laid = thinned(blank.laid_stretches, error_mm)
    laid_outline = canonical_ring(ring_from(laid))
    holes = tuple(canonical_ring(thinned_ring(h, error_mm)) for h in holes_of(blank.cut))
    marks = _marks(blank, ground, rules, error_mm) if ground.marked else []
    area = signed_area_mm2(outline) - sum(signed_area_mm2(h) for h in holes)
    splice = None
    if blank.neighbours:
        splice = SpliceInfo(
            number + 1, count, sheet.rule.kind, sheet.overlap_mm, tuple(blank.neighbours)
        )
    tension, squeeze = strains.over(blank.laid, blank.leaf) if strains else (0.0, 0.0)
    return Piece(
        id=blank.id,
        layer=sheet.layer.id,
        kind=sheet.kind,
        material=sheet.layer.material,
        angle_deg=sheet.angle_deg,
        outline_mm=outline,
        holes_mm=holes,
        bag_side_outline_mm=None,
        laid_outline_mm=laid_outline,
        laid_holes_mm=tuple(thinned_ring(h, error_mm) for h in holes_of(blank.laid)),
        area_mm2=round(area, 2),
        quantity=1,
        stage=sheet.layer.stage,
        thickness_mm=sheet.thickness_mm,
        edges=edges,
        splice=splice,
        marks=tuple(marks),
        growth=growth_of(blank, carry),
        may_turn_over=sheet.may_turn_over,
        strain_pct=(0.0, 0.0) if blank.way.generators_mm else (tension, squeeze),
        shear_deg=round(blank.way.shear_deg, 2),
        notes=_notes(blank, number, count, sheet, ground.spec.part.units),
    )


def _marks(blank: Blank, ground: Ground, rules: Sequence[MarkRule], error_mm: float) -> list[Mark]:
    """All that is drawn on a piece, the corner it is laid by last."""
    marks = [*blank.marks, *marks_on(blank.laid, rules, blank.way.carry, error_mm)]
    marks += [*_generators(blank), *_darts(blank)]
    laid_corners, corners = (
        np.stack([s.points_mm[0] for s in some]) for some in (blank.laid_stretches, blank.stretches)
    )
    marks.append(
        datum_mark(laid_corners, corners, ground.views[blank.leaf].face, ground.spec.part.units)
    )
    return [Mark(m.kind, on_grid(m.points_mm), m.label) for m in marks]


def _generators(blank: Blank) -> list[Mark]:
    """The yarns a draped ply is started along."""
    found = []
    for yarn, word in zip(blank.way.generators_mm, ("warp", "weft"), strict=False):
        for part in inside_lines(yarn, blank.cut):
            label = f"drape starts along this {word}"
            found.append(Mark("axis", on_grid(part[[0, -1]]), label))
    return found


def _darts(blank: Blank) -> list[Mark]:
    """Every dart of a blank from its mouth to its tip, and ticks that meet when it is closed."""
    found = []
    for number, wedge in enumerate(blank.way.darts_mm, 1):
        half = len(wedge) // 2  # node k of the way in meets node -1 - k of the way out
        tip = shapely.points(wedge[half])
        if shapely.distance(tip, blank.cut) > ON_PIECE_MM:
            continue
        mouth = (wedge[0] + wedge[-1]) / 2
        found.append(Mark("dart", on_grid(np.stack([mouth, wedge[half]])), f"dart {number}"))
        for count, k in enumerate(sorted({0, half // 2}), 1):
            one, other = wedge[k], wedge[-1 - k]
            away = (one - other) / max(float(np.hypot(*(one - other))), 1e-9)
            label = f"D{number}-{count}"
            found += [tick(one, away, label), tick(other, -away, label)]
    return [Mark(m.kind, on_grid(m.points_mm), m.label) for m in found]


def _notes(blank: Blank, number: int, count: int, sheet: Sheet, unit: Unit) -> tuple[str, ...]:
    words = [sheet.layer.note] if sheet.layer.note else []
    if blank.neighbours:
        meets = "butts against"
        if sheet.overlap_mm:
            meets = f"overlaps {show_length(sheet.overlap_mm, unit)} with"
        words.append(f"part {number + 1} of {count}; {meets} {', '.join(blank.neighbours)}")
    if blank.way.generators_mm:
        words.append("drape from the two marked yarns outwards, warp and weft kept straight there")
    if blank.way.darts_mm:
        words.append(f"{len(blank.way.darts_mm)} darts: close each until its sides meet")
    return tuple(words)


def growth_of(blank: Blank, carry: Carry | None) -> Growth:
    """How the layers below changed a blank: its extent along the axis, its girth at the station
    where that changes most (of those at least half as long as the longest), its area."""
    if carry is None:
        return Growth()
    laid, cut = ring_of(blank.laid), ring_of(blank.cut)
    low, bottom, high, top = blank.laid.bounds
    slices = shapely.linestrings(
        [[[x, bottom - 1], [x, top + 1]] for x in np.linspace(low, high, 23)[1:-1]]
    )
    lines = [
        line
        for line in shapely.get_parts(shapely.intersection(slices, blank.laid))
        if line.geom_type == "LineString" and line.length > 0
    ]
    longest = max((line.length for line in lines), default=0.0)
    across = 0.0
    if lines:
        whole = [line for line in lines if line.length >= longest / 2]
        ends = np.vstack([shapely.get_coordinates(line)[[0, -1]] for line in whole])
        step = np.diff(np.asarray(carry(ends)).reshape(-1, 2, 2), axis=1)[:, 0]
        changes = np.hypot(*step.T) - shapely.length(whole)
        across = float(changes[np.argmax(np.abs(changes))])
    area = 100 * (blank.cut.area / blank.laid.area - 1)
    along = float(np.ptp(cut[:, 0]) - np.ptp(laid[:, 0]))
    return Growth(round(along, 4), round(across, 4), round(area, 5))
