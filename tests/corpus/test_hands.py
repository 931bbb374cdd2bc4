"""Both hands of ordinary parts: the same pieces, point for point, whatever rounding does."""

from pathlib import Path

import numpy as np
import pytest
import shapely

from plybook.laminate import lay_up
from plybook.outside import Shelf
from plybook.plan import joint_row, piece_row
from plybook.spec import load
from plybook.surface import build_face
from plybook.verify.joints import check_joints
from plybook.verify.report import Report
from tests.corpus.cases import PART, case

ALIKE_MM = 1e-6
FOUND = Path(__file__).parent / "found"
DRAWN, SEED, MOST_DRAWN = ("skin", "spar", "panel", "shell"), 31, 400
ON_PART = np.array([1.0, -1.0, 1.0])


def drawn(name):
    """Files of the first drawn part of a kind that has both hands, or of a kept part."""
    if name in DRAWN:
        cases = (case(SEED, k) for k in range(MOST_DRAWN))
        return next(c.files for c in cases if c.kind == name and b"other_hand:" in c.files[PART])
    return {file.name: file.read_bytes() for file in (FOUND / name).iterdir()}


def apart(one, other, sign=(1.0, -1.0)):
    """Most that two lists of points differ by where one is the mirror image of the other."""
    assert np.shape(one) == np.shape(other)
    return float(np.abs(np.asarray(one) * sign - other).max(initial=0.0))


def ring_apart(one, other):
    """As `apart`, for rings, which begin and go round as each hand has it."""
    rings = [np.asarray(ring) for ring in (one * [1.0, -1.0], other)]
    assert len(rings[0]) == len(rings[1])
    spots = [shapely.multipoints(ring) for ring in rings]
    return float(shapely.hausdorff_distance(*spots))


@pytest.mark.slow
@pytest.mark.parametrize("name", [*DRAWN, "smooth-skin-of-both-hands"])
def test_both_hands_are_alike_to_a_millionth(name):
    specs = load(Path(PART), Shelf(drawn(name))).specs
    one, other = (lay_up(spec, build_face(spec)) for spec in specs)
    assert len(specs) == 2 and len(one.pieces) == len(other.pieces) > 0
    for a, b in zip(one.pieces, other.pieces, strict=True):
        assert (a.id, a.layer, a.kind, a.growth) == (b.id, b.layer, b.kind, b.growth)
        assert (a.angle_deg + b.angle_deg) % 180.0 == pytest.approx(0.0, abs=1e-9)
        for ours, theirs in (
            ((a.outline_mm,), (b.outline_mm,)),
            ((a.laid_outline_mm,), (b.laid_outline_mm,)),
            (a.holes_mm, b.holes_mm),
            (a.bag_side_holes_mm, b.bag_side_holes_mm),
            *(() if a.bag_side_outline_mm is None
              else [((a.bag_side_outline_mm,), (b.bag_side_outline_mm,))]),
        ):  # fmt: skip
            assert len(ours) == len(theirs)
            assert all(ring_apart(x, y) <= ALIKE_MM for x, y in zip(ours, theirs, strict=True))
        assert [(m.kind, m.label) for m in a.marks] == [(m.kind, m.label) for m in b.marks]
        assert all(
            apart(x.points_mm, y.points_mm) <= ALIKE_MM
            for x, y in zip(a.marks, b.marks, strict=True)
        )
        assert sorted(e.mate for e in a.edges) == sorted(e.mate for e in b.edges)
    for a, b in zip(one.joints, other.joints, strict=True):
        for x, y in zip(a.sides, b.sides, strict=True):
            assert apart(x.line_mm, y.line_mm) <= ALIKE_MM
            assert apart(x.beside_mm, y.beside_mm) <= ALIKE_MM
            assert apart(x.on_part_mm, y.on_part_mm, ON_PART) <= ALIKE_MM
    # the image has joints of its own on the part, and they are proved by themselves
    report = Report("")
    check_joints({"pieces": [piece_row(p) for p in other.pieces],
                  "joints": [joint_row(j) for j in other.joints]}, report)  # fmt: skip
    assert not report.faults
