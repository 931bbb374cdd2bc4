"""Drop-off ladders on a tapered, swept face."""

import math

import pytest

from plybook.laminate.dropoff import drop_findings, drop_marks, ladders_of
from plybook.laminate.regions import Regions
from plybook.spec.model import (
    Common,
    DropRun,
    EdgeBand,
    Inset,
    Less,
    Ply,
    ShareBand,
    SpanBand,
    Whole,
)
from tests.laminate.doubles import TaperedFace

FACE = TaperedFace()


def run(regions, edge="tip", step=150.0):
    count = len(regions)
    return [
        Ply(f"R{i + 1}", "twill", "s", region, drop=DropRun("R", i, count, edge, step))
        for i, region in enumerate(regions)
    ]


def ladder(plies, face=FACE):
    regions = Regions(face, (), plies)
    (found,) = ladders_of(plies, regions)
    return found, drop_findings([found], plies)


def test_ends_of_a_run_towards_the_tip_stand_a_step_apart():
    plies = run([SpanBand(0, 1350 - 150 * i) for i in range(4)])
    found, findings = ladder(plies)
    assert [rung.position_mm for rung in found.rungs] == pytest.approx([1350, 1200, 1050, 900])
    assert found.steps_mm == pytest.approx((150, 150, 150))
    assert [rung.gap_mm for rung in found.rungs] == pytest.approx([150, 150, 150, 0])
    assert findings == []


def test_a_run_towards_the_trailing_edge_is_measured_square_to_it():
    plies = run([Less(Whole(), (EdgeBand("trailing", 0, 40 + 20 * i),)) for i in range(3)],
                "trailing", 20.0)  # fmt: skip
    found, findings = ladder(plies)
    assert [-rung.position_mm for rung in found.rungs] == pytest.approx([40, 60, 80])
    assert [rung.gap_mm for rung in found.rungs][:2] == pytest.approx([20, 20], abs=1e-3)
    assert not found.along_span and findings == []


def test_ends_measured_from_the_tip_run_beside_it_where_the_face_tapers():
    region = [
        Common((ShareBand(0.2, 0.45), EdgeBand("tip", 300.0 + 50.0 * i, 1e5))) for i in range(3)
    ]
    found, findings = ladder(run(region, "tip", 50.0))
    assert [-rung.position_mm for rung in found.rungs] == pytest.approx([300, 350, 400], abs=0.01)
    assert all(rung.line_mm is not None for rung in found.rungs)
    assert findings == []


def test_a_run_that_ends_past_the_face_has_no_ladder():
    plies = run([Less(Whole(), (EdgeBand("trailing", 0, 5000 + i),)) for i in range(3)],
                "trailing", 1.0)  # fmt: skip
    regions = Regions(FACE, (), plies)
    assert all(regions.net(ply.region).is_empty for ply in plies)
    assert ladders_of(plies, regions) == ()


def test_shortest_first_is_as_good_as_longest_first():
    plies = run([SpanBand(0, 900 + 150 * i) for i in range(4)])
    assert ladder(plies)[1] == []


def test_a_ply_out_of_order_is_an_error():
    plies = run([SpanBand(0, s) for s in (1350, 1050, 1200)])
    assert [f.code for f in ladder(plies)[1]] == ["drop-order"]


def test_a_region_that_cuts_a_step_short_is_found():
    base = SpanBand(0, 1250)
    plies = run([Common((base, SpanBand(0, 1350 - 150 * i))) for i in range(4)])
    assert "drop-step" in [f.code for f in ladder(plies)[1]]


def test_plies_that_run_off_the_tip_do_not_drop():
    plies = run([SpanBand(0, 4100 - 150 * i) for i in range(4)])
    assert "drop-runs-off" in [f.code for f in ladder(plies)[1]]


def test_on_a_swept_end_the_gap_on_the_face_is_the_step_times_the_cosine():
    """Station lines of this face are skewed by 30 degrees: steps along x shrink by cos 30."""

    class Skewed(TaperedFace):
        def to_pattern(self, span_share):
            points = super().to_pattern(span_share)
            points[:, 0] += -points[:, 1] * math.tan(math.radians(30))
            return points

        def from_pattern(self, points_mm):
            points = points_mm.copy()
            points[:, 0] += points[:, 1] * math.tan(math.radians(30))
            return super().from_pattern(points)

    plies = run([SpanBand(0, 1350 - 150 * i) for i in range(3)])
    found, findings = ladder(plies, Skewed())
    assert found.rungs[0].gap_mm == pytest.approx(150 * math.cos(math.radians(30)), rel=1e-6)
    assert [f.code for f in findings] == ["drop-gap-on-face"]


def test_neighbours_in_the_run_are_marked_where_they_end():
    plies = run([Common((Inset((("root", 10.0),)), SpanBand(0, 900 - 150 * i))) for i in range(3)])
    marks = drop_marks(plies[0], plies, Regions(FACE, (), plies))
    (mark,) = marks
    assert mark.label == "R2 (next) ends here"
    assert mark.points_mm[:, 0] == pytest.approx(750.0)
