"""Fill times by Darcy's law, ways and lines of an infusion."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from plybook.plan import plan_dict
from plybook.shop import infusion, plan_work
from plybook.shop.standard import figure
from plybook.verify.infusion import check_fill_times
from plybook.verify.report import Report
from tests.shop import parts


def test_a_straight_front_takes_as_long_as_published():
    """Linear fill, t = porosity x viscosity x L^2 / (2 K p): 0.5, 0.1 Pa s, 1 bar, 1e-10 m2 and
    1 m give 2500 s (textbook example of vacuum infusion)."""
    spread = infusion.spread_mm2(1000.0, "edge")
    assert infusion.fill_s(spread, 0.5, 100.0, 1e-10, 1000.0) == pytest.approx(2500.0)


def test_a_round_front_takes_as_long_as_its_equation_of_motion():
    """Against Darcy's law integrated numerically: the front's speed in the pores is
    K p / (porosity x viscosity x r ln(r / r0))."""
    first, last = figure("inlet_radius"), 600.0
    r = np.linspace(first, last, 400_001) / 1000.0
    slowness = 0.5 * 0.1 * r * np.log(r / r[0]) / (1e-10 * 1e5)
    integral = float(((slowness[1:] + slowness[:-1]) / 2 * np.diff(r)).sum())
    spread = infusion.spread_mm2(last, "middle")
    assert infusion.fill_s(spread, 0.5, 100.0, 1e-10, 1000.0) == pytest.approx(integral, rel=1e-6)


def test_the_front_of_a_line_is_at_half_after_a_quarter_of_the_time():
    assert infusion.front_s(700.0, "edge", 1600.0) == pytest.approx((100.0, 400.0, 900.0))
    quarter, half, most = infusion.front_s(700.0, "middle", 1600.0)
    assert quarter < 100.0 and half < 400.0 and most < 900.0  # slower the farther it is


def test_porosity_is_what_the_fibre_leaves():
    assert infusion.porosity_of([(0.3, 0.5), (0.3, 0.5)]) == pytest.approx(0.5)
    assert infusion.porosity_of([(1.0, 0.6), (3.0, 0.4)]) == pytest.approx(0.55)


def test_a_strip_tells_the_whole_by_the_same_law():
    life = 5400.0
    for inlet in ("edge", "middle"):
        spread = infusion.spread_mm2(600.0, inlet)
        limit = infusion.strip_limit_s(spread, 200.0, life)
        per_mm2 = limit / 200.0**2
        assert per_mm2 * spread == pytest.approx(life / 2)


@pytest.mark.parametrize("shape", [
    shapely.box(0, 0, 900, 600),
    shapely.box(0, 0, 300, 1500),
    shapely.Polygon([(0, 0), (2000, 100), (2000, 500), (0, 800)]),
])  # fmt: skip
def test_an_inlet_in_the_middle_has_air_drawn_off_all_round(shape):
    plumbed = infusion.plumbing(shape, 80.0, "middle")
    ((name, line),) = plumbed.lines
    assert name == "vacuum line" and np.allclose(line[0], line[-1])
    ports = {name: shapely.Point(x, y) for name, x, y in plumbed.ports}
    assert shape.contains(ports["resin inlet"])
    assert ports["resin inlet"].distance(shape.centroid) < 0.1 * math.sqrt(shape.area)
    ring = shapely.LinearRing(line)
    assert shapely.Polygon(line).contains(shape)
    assert ports["vacuum port"].distance(ring) < 1e-6 and ports["gauge"].distance(ring) < 1e-6
    assert ports["vacuum port"].distance(ports["gauge"]) > 0.4 * ring.length / math.pi
    bare = min(figure("mesh_short_of_vacuum"), 1e9)
    assert plumbed.mesh.within(shape)
    assert plumbed.mesh.exterior.distance(shape.exterior) == pytest.approx(bare, rel=0.5)


def infused(viscosity=250.0, permeability=1e-10, inlet="edge"):
    """The shop of a spar that is laid dry, with what its builder says of the infusion."""
    spec, face, laminate, plan = parts.spar()
    resins = spec.materials.resins
    thin = replace(resins["slow"], viscosity_mpas=viscosity)
    rules = tuple(
        replace(rule, permeability_m2=permeability, inlet=inlet) if rule.id == "dry" else rule
        for rule in spec.stages
    )
    spec = replace(
        spec,
        stages=rules,
        materials=replace(spec.materials, resins={**resins, "slow": thin}),
    )
    return spec, face, laminate, plan, plan_work(spec, face, laminate, plan)


def codes(shop):
    return {finding.code for finding in shop.findings}


def test_a_face_that_fills_too_slowly_is_told_before_it_is_begun():
    """290 mm of way and 4/7 of open cloth: 2 000 mPa s take 0.57 * 2 * 0.29^2 / (2e-10 * 67 700)
    = two hours, 100 mPa s six minutes."""
    assert "slow-fill" in codes(infused(viscosity=2000.0)[4])
    assert "slow-fill" not in codes(infused(viscosity=100.0)[4])
    assert "no-fill-time" in codes(infused(viscosity=0.0)[4])
    assert not codes(infused(permeability=0.0)[4]) & {"slow-fill", "no-fill-time"}


def words_of(shop, name):
    return next(" ".join(s.text) for st in shop.stages for s in st.steps if s.name == name)


@pytest.mark.parametrize("inlet", ["edge", "middle"])
def test_the_steps_tell_way_time_and_front(inlet):
    *_, shop = infused(inlet=inlet)
    flow, infuse = words_of(shop, "flow"), words_of(shop, "infuse")
    assert ("resin line along" in flow) == (inlet == "edge")
    assert ("Set the resin inlet on the mesh" in flow) == (inlet == "middle")
    assert "By Darcy's law the face is full about" in infuse
    assert "permeability 1e-10 m2" in infuse and "viscosity 250 mPa s" in infuse
    assert "would fill in about" in words_of(shop, "test_strip")


def test_without_figures_no_time_is_told():
    *_, shop = infused(permeability=0.0)
    assert "Darcy" not in words_of(shop, "infuse")


def faults(given, forge=None):
    plan = plan_dict(*given)
    for stage in plan["stages"]:
        for step in stage["steps"]:
            step["text"] = [forge(text) if forge else text for text in step["text"]]
    report = Report("here")
    check_fill_times(plan, report)
    return report.faults, report.proofs


@pytest.mark.parametrize("inlet", ["edge", "middle"])
@pytest.mark.parametrize("viscosity", [60.0, 250.0, 2000.0])
def test_told_times_are_proved_from_the_told_figures(inlet, viscosity):
    wrong, proofs = faults(infused(viscosity, inlet=inlet))
    assert wrong == [] and proofs == {"fill times of infusions by Darcy's law": 1}


@pytest.mark.parametrize(("was", "becomes"), [
    (r"viscosity \d+ mPa s", "viscosity 77 mPa s"),
    (r"permeability \S+ m2", "permeability 3e-10 m2"),
    (r"half after [\d a-z]+,", "half after 2 min,"),
    (r"up to \d+ mm to run", "up to 500 mm to run"),
    (r"full about [\d a-z]+ after", "full about 3 min after"),
    (r"\d+ % of the stack", "12 % of the stack"),
])  # fmt: skip
def test_a_forged_fill_time_is_caught(was, becomes):
    import re

    given = infused(2000.0)
    assert re.search(was, words_of(given[4], "flow") + words_of(given[4], "infuse"))
    wrong, _ = faults(given, lambda text: re.sub(was, becomes, text))
    assert len(wrong) == 1 and "stage dry" in wrong[0]
