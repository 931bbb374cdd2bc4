"""From a blank to a finished piece: thinned once, on the grid, with its edges, marks and words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely

from plybook.geometry.rings import canonical_ring, signed_area_mm2
from plybook.laminate.ground import Ground, Sheet
from plybook.laminate.joints import Blank
from plybook.laminate.marks import MarkRule, datum_mark, marks_on
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
from plybook.laminate.shapes import holes_of, ring_of


def finished(
    blank: Blank,
    number: int,
    count: int,
    sheet: Sheet,
    ground: Ground,
    carry: Carry | None,
    rules: Sequence[MarkRule] = (),
    strains: Strains | None = None,
) -> Piece:
    """The piece made of a blank.

    Args:
        blank: joined to its neighbours and named.
        number, count: it is strip `number` (from 0) of `count` of its part.
        sheet: the layer it is cut from.
        ground: face, spec and regions.
        carry: map of its leaf into the cut frame, None for the identity.
        rules: lines to mark where they cross it.
        strains: what strains it.
    """
    error_mm = ground.chord_error_mm
    stretches = thinned(blank.stretches, error_mm)
    outline, edges = outline_and_edges(stretches, blank.mates)
    laid = thinned(blank.laid_stretches, error_mm)
    laid_outline = canonical_ring(ring_from(laid))
    holes = tuple(canonical_ring(thinned_ring(h, error_mm)) for h in holes_of(blank.cut))
    marks = [Mark(m.kind, on_grid(m.points_mm), m.label) for m in blank.marks]
    marks += [
        Mark(m.kind, on_grid(m.points_mm), m.label)
        for m in marks_on(blank.laid, rules, carry, error_mm)
    ]
    corners = [
        np.stack([s.points_mm[0] for s in some]) for some in (blank.laid_stretches, blank.stretches)
    ]
    datum = datum_mark(*corners, ground.face, ground.spec.part.units)
    marks.append(Mark(datum.kind, on_grid(datum.points_mm), datum.label))
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
        area_mm2=round(area, 2),
        quantity=1,
        stage=sheet.layer.stage,
        thickness_mm=sheet.thickness_mm,
        edges=edges,
        splice=splice,
        marks=tuple(marks),
        growth=growth_of(blank, carry),
        may_turn_over=sheet.may_turn_over,
        strain_pct=(tension, squeeze),
        notes=_notes(blank, number, count, sheet),
    )


def _notes(blank: Blank, number: int, count: int, sheet: Sheet) -> tuple[str, ...]:
    words = [sheet.layer.note] if sheet.layer.note else []
    if blank.neighbours:
        kind = "butts against" if not sheet.overlap_mm else f"overlaps {sheet.overlap_mm:g} mm with"
        words.append(f"part {number + 1} of {count}; {kind} {', '.join(blank.neighbours)}")
    return tuple(words)


def growth_of(blank: Blank, carry) -> Growth:
    """How the layers below changed a blank: extents along the axis, longest girth, area."""
    if carry is None:
        return Growth()
    laid, cut = ring_of(blank.laid), ring_of(blank.cut)
    low, high = blank.laid.bounds[0], blank.laid.bounds[2]
    bottom, top = blank.laid.bounds[1] - 1, blank.laid.bounds[3] + 1
    slices = [
        shapely.linestrings([[x, bottom], [x, top]]).intersection(blank.laid)
        for x in np.linspace(low, high, 23)[1:-1]
    ]
    lines = [g for s in slices for g in shapely.get_parts(s) if g.geom_type == "LineString"]
    across = 0.0
    if lines:
        longest = max(lines, key=lambda g: g.length)
        ends = np.asarray(carry(shapely.get_coordinates(longest)))
        across = float(np.hypot(*(ends[-1] - ends[0])) - longest.length)
    area = 100 * (blank.cut.area / blank.laid.area - 1)
    along = float(np.ptp(cut[:, 0]) - np.ptp(laid[:, 0]))
    return Growth(round(along, 4), round(across, 4), round(area, 5))
