"""Jig figures against trigonometry."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from plybook.shop.jig import jig_measures
from plybook.shop.job import make_job
from plybook.spec import model as s
from tests.shop import parts


def measures(face, checks, hand="none", mould=None, **more):
    spec, _, lam, plan = parts.skin(jig_checks=checks, **more)
    part = replace(spec.part, hand=hand)
    mould = mould or parts.station_mould(face.length, face.width)
    job, _ = make_job(replace(spec, part=part, mould=mould), face, lam, plan)
    return jig_measures(job)


def check(kind, **more):
    return s.JigCheck("J", kind, more.pop("tolerance", 1.0), **more)


def test_mid_span_height_under_a_line_across_the_tips():
    """Two hands with 3 degrees of dihedral, 4000 mm each: the line across the tips hangs
    4000 x tan 3 above the root, and half of it above mid-span of one hand."""
    face = parts.PlaneFace(4000.0, 800.0, rise=math.tan(math.radians(3.0)))
    found, _ = measures(face, [check("height")], "left")
    assert [m.expected for m in found] == [209.6, 104.8]
    assert "both tips" in found[0].how
    assert [m.id for m in found] == ["J", "J.2"]


def test_height_at_the_tip_is_given_against_the_root():
    """At the tip the line touches; what is asked then is the tip above the root."""
    face = parts.PlaneFace(4000.0, 800.0, rise=0.052)
    found, _ = measures(face, [check("height", at_mm=4000.0)], "right")
    assert [m.expected for m in found] == [208.0]
    assert "root" in found[0].how


def test_height_of_a_part_without_a_hand():
    """A face bowed up 12 mm at mid-span stands 12 mm above the line between its own ends."""
    face = parts.PlaneFace(3000.0, 200.0, rise=0.05, bend=12.0)
    found, _ = measures(face, [check("height")])
    assert [m.expected for m in found] == [-12.0]


def test_diagonals_in_space():
    """A swept and raised parallelogram: both diagonals by Pythagoras."""
    face = parts.PlaneFace(3000.0, 600.0, rise=0.1, sweep=0.2)
    found, _ = measures(face, [check("diagonal")])
    long, short = (math.hypot(3000.0, 600.0 + 600.0, 300.0), math.hypot(3000.0, 0.0, 300.0))
    assert [m.expected for m in found] == [round(long, 1), round(short, 1)]


def test_straightness_counts_only_what_is_seen_from_above():
    """A bow upwards is no bend in plan; a sweep is straight too."""
    face = parts.PlaneFace(3000.0, 200.0, rise=0.05, sweep=0.2, bend=30.0)
    found, _ = measures(face, [check("straightness")])
    assert [m.expected for m in found] == [0.0]


def test_twist_and_its_tolerance():
    """Washed out 2 degrees at the tip, 1 at mid-span; 1 mm over 600 mm is 0.1 degree."""
    face = parts.PlaneFace(3000.0, 600.0, twist_deg=-2.0)
    found, _ = measures(face, [check("twist")])
    assert [m.expected for m in found] == [-1.0, -2.0]
    assert found[0].tolerance == pytest.approx(math.degrees(math.atan(1 / 600)), abs=0.01)
    assert all(m.unit == "°" for m in found)


def test_screws_at_a_pitch():
    """3048 mm at 12 in (304.8 mm): ten spaces, eleven screws."""
    face = parts.PlaneFace(3048.0, 200.0)
    found, _ = measures(face, [check("screws")])
    assert found[0].expected == 11
    found, _ = measures(face, [check("screws", pitch_mm=150.0)])
    assert found[0].expected == math.ceil(3048 / 150) + 1


def test_a_standing_web_is_plumbed():
    """Where the section stands, level becomes plumb."""

    class Upright(parts.PlaneFace):
        def to_space(self, points_mm):
            span, share = self.from_pattern(points_mm).T
            return np.column_stack((5.0 * share, span, self.width * share))

    found, _ = measures(Upright(3000.0, 150.0), [check("level")])
    assert found[0].title.startswith("Plumb") and found[0].expected == 5.0


@pytest.mark.parametrize(("lean", "turn"), [(6.0, 1), (-6.0, -1)])
def test_a_web_that_leans_twists_one_way_or_the_other(lean, turn):
    """The upper edge 6 mm aft over 150 mm of web is atan(6 / 150) = 2.29 degrees, forward minus."""

    class Web(parts.PlaneFace):
        def to_space(self, points_mm):
            span, share = self.from_pattern(points_mm).T
            return np.column_stack((lean * share * span / 3000, span, self.width * share))

    found, _ = measures(Web(3000.0, 150.0), [check("twist", at_mm=3000.0)])
    assert found[0].expected == pytest.approx(turn * math.degrees(math.atan(6 / 150)), abs=0.01)
    assert found[0].how.endswith("edge aft counts as plus")


def test_the_spar_sold_with_the_tool_by_hand():
    """Stations 0, 2000 and 4000 mm rise 0, 122 and 244: the line across the tips hangs 122 above
    mid span. Web 152 high at the root, 84 at the tip, corner to corner of the flanges 70 and 48
    aft: diagonals by Pythagoras, tip high and tip low. 0.5 mm of twist over 84 mm is 0.34 degree.
    A line of sqrt(4000^2 + 244^2) = 4007.4 mm takes ceil(4007.4 / 304.8) + 1 = 15 screws."""
    from pathlib import Path

    from plybook.outside import Outside
    from plybook.spec import load
    from plybook.surface import build_face

    path = Path(__file__).parents[2] / "specs" / "spar.yaml"
    spec = load(path, Outside()).specs[0]
    _, _, lam, plan = parts.skin()
    job, _ = make_job(replace(spec, stages=parts.skin()[0].stages), build_face(spec), lam, plan)
    found = {m.title: m for m in jig_measures(job)[0]}
    assert [t for t in found if "Split line" in t]  # the straightness of the plug's split line
    straight = next(m for t, m in found.items() if "Split line" in t)
    assert (straight.expected, straight.tolerance) == (0.0, 1.0)
    assert next(m for t, m in found.items() if "Dihedral" in t).expected == 122.0
    assert found["Tip above the root line"].expected == 244.0
    diagonals = [m.expected for t, m in found.items() if t.startswith("Diagonal")]
    aft = 70 - 48
    assert diagonals == [
        pytest.approx(math.hypot(4000, aft, 244 + 76 + 42), abs=0.06),
        pytest.approx(math.hypot(4000, aft, 244 - 76 - 42), abs=0.06),
    ]
    twist = next(m for t, m in found.items() if t.startswith("Twist"))
    assert twist.tolerance == pytest.approx(math.degrees(math.atan(0.5 / 84)), abs=0.005)
    screws = next(m for m in found.values() if m.unit == "screws")
    assert screws.expected == math.ceil(math.hypot(4000, 244) / 304.8) + 1 == 15


def test_flat_part_has_diagonals_and_flatness_only():
    """600 x 400: both diagonals 721.1; heights are said to be impossible."""
    spec, face, lam, plan = parts.hatch()
    checks = (check("diagonal"), check("straightness"), check("height"))
    job, _ = make_job(replace(spec, jig_checks=checks), face, lam, plan)
    found, notes = jig_measures(job)
    assert [m.expected for m in found] == [721.1, 721.1, 0.0, 0.0]
    assert [n.code for n in notes] == ["jig-check-empty"]


def test_the_jig_stage_asks_for_each_measure():
    """Each figure has a blank with expected value and tolerance in the jig stage."""
    from plybook.shop import plan_work

    shop = plan_work(*parts.spar())
    stage = next(st for st in shop.stages if st.kind == "assembly_jig")
    asked = [
        (c.expected, c.tolerance, c.unit)
        for step in stage.steps
        if step.name == "measure_jig"
        for c in step.checks
        if c.kind == "measure"
    ]
    assert asked == [(m.expected, m.tolerance, m.unit) for m in shop.jig if m.unit != "screws"]
