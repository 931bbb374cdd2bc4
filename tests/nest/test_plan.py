"""Cut plans of whole jobs: rules of the material, refusals, memory, interruption."""

import signal
from dataclasses import replace

import numpy as np
import pytest

from plybook.diagnostics import GeometryError, Severity, SpecError, StockError
from plybook.nest import LayoutMemory, plan_cuts, race
from plybook.nest.check import check_plan
from plybook.nest.placing import turn_ring
from plybook.nest.refusals import smallest_rotation
from plybook.spec.model import NestRules
from tests.nest.makers import bar, box, cloth, core, job, piece, roll, sheet, slanted

SHORT = 0.3


def plies(count=6, **changes):
    return [
        piece(f"P{k}", slanted(700 + 50 * k, 160, a), angle_deg=a, **changes)
        for k, a in ((k, 45.0 if k % 2 else -45.0) for k in range(count))
    ]


def bias(count=8):
    """Pieces slanted to their warp, so that no layout comes near the area bound."""
    return [
        piece(f"B{k}", slanted(700 + 50 * k, 160, 45.0 if k % 2 else -45.0)) for k in range(count)
    ]


def codes(raised) -> list[str]:
    return [f.code for f in raised.value.findings]


def test_cloth_core_and_rods_of_two_parts_are_planned_together():
    stock = [roll(), sheet(), bar()]
    pieces = [
        *plies(),
        piece("C1", slanted(1200, 400, 0.0), "foam", kind="core"),
        piece("D1", slanted(1900, 10, 17.0, taper=1.0), "strip", kind="rod", quantity=3),
    ]
    jobs = [job(pieces, stock, number="A-1"), job(plies(3), stock, number="A-2")]
    plan = plan_cuts(jobs, seconds=1.0)
    assert check_plan(plan.layouts, plan.items) == ()
    assert {p.item for x in plan.layouts for p in x.placements} == {i.id for i in plan.items}
    assert {x.unit.kind for x in plan.layouts} == {"roll", "sheet", "bar"}
    assert {i.part for i in plan.items} == {"A-1", "A-2"}
    for layout in plan.layouts:
        assert 0 < layout.utilisation <= 1
        if layout.unit.kind == "roll":
            assert layout.bound_mm <= layout.used_length_mm + 1e-3


def test_every_ply_lies_with_its_fibre_along_the_warp():
    plan = plan_cuts([job(plies(), [roll()])], seconds=SHORT)
    angle = {f"NT-1/P{k}": (45.0 if k % 2 else -45.0) for k in range(6)}
    for p in plan.layouts[0].placements:
        assert (angle[p.item] + p.rotation_deg) % 180.0 == pytest.approx(0.0)


@pytest.mark.parametrize("faces_alike, may, length", [
    (False, True, 2003.0), (True, False, 2003.0), (True, True, 1703.0),
])  # fmt: skip
def test_face_down_only_where_material_and_builder_allow(faces_alike, may, length):
    """Two plies as wide as the roll with one slanted end each, leaning opposite ways: end to end
    only their points pass each other; with one face down the slants match and 300 less is
    needed, but for the gap square to the slant."""
    leaning = np.array([(0.0, 0.0), (1000.0, 0.0), (700.0, 1240.0), (0.0, 1240.0)])
    other = (leaning * (1.0, -1.0))[::-1]
    pieces = [
        piece(name, turn_ring(ring, 45.0), angle_deg=45.0, may_turn_over=may)
        for name, ring in (("P", leaning), ("Q", other))
    ]
    plan = plan_cuts([job(pieces, [roll()], cloths=[cloth(faces_alike=faces_alike)])], seconds=1.0)
    laid = plan.layouts[0].placements
    assert any(p.flipped for p in laid) == (length < 2000.0)
    assert plan.layouts[0].used_length_mm == pytest.approx(length, abs=3.0)
    for p in laid:
        angle = -45.0 if p.flipped else 45.0
        assert (angle + p.rotation_deg) % 180.0 == pytest.approx(0.0)


def test_quarter_turns_where_warp_and_weft_are_alike():
    pieces = [piece("P", box(300.0, 1240.0)), piece("Q", box(1240.0, 300.0))]
    alike = plan_cuts([job(pieces, [roll()], cloths=[cloth(axes_alike=True)])], seconds=SHORT)
    assert alike.items[0].rotations_deg == (0.0, 90.0, 180.0, 270.0)
    assert alike.layouts[0].used_length_mm < 700.0


def test_selvedge_is_not_cut_from():
    plan = plan_cuts([job([piece("P", box(500.0, 1250.0))], [roll()])], seconds=SHORT)
    unit = plan.layouts[0].unit
    assert (unit.width_mm, unit.edge_mm) == (1250.0, 10.0)


def test_core_with_grain_is_not_turned_and_without_is():
    pieces = [piece("C", box(600.0, 2400.0), "foam", kind="core")]
    plan_cuts([job(pieces, [sheet()])], seconds=SHORT)
    with pytest.raises(StockError):
        plan_cuts([job(pieces, [sheet()], cores=[core(grain=True)])], seconds=SHORT)


def test_a_bevelled_panel_takes_the_larger_of_its_faces():
    panel = piece("C", box(600.0, 400.0), "foam", kind="core",
                  bag_side_outline_mm=box(620.0, 420.0) - 10.0)  # fmt: skip
    plan = plan_cuts([job([panel], [sheet()])], seconds=SHORT)
    assert np.ptp(plan.items[0].outline_mm, axis=0).tolist() == [620.0, 420.0]


# ---------------------------------------------------------------- refusals


def test_a_piece_wider_than_the_roll_is_refused_with_its_figures(monkeypatch):
    monkeypatch.setattr(race.subprocess, "Popen", lambda *_, **__: pytest.fail("packer started"))
    with pytest.raises(StockError) as raised:
        plan_cuts([job([piece("WIDE", box(400.0, 1320.0))], [roll()])], seconds=SHORT)
    finding = raised.value.findings[0]
    assert raised.value.exit_code == 3 and finding.code == "piece-too-wide"
    assert "1320 mm across" in finding.message and "1250 mm" in finding.message
    assert "turned 90.0 deg" in finding.help or "turned" in finding.help
    assert finding.layers == ("WIDE",)


def test_smallest_rotation_that_would_fit_is_found():
    """A strip 1400 long and vanishingly wide across a width of 700 fits from 60 degrees off
    square on: 1400 cos(60 deg) = 700 (a millimetre is left for its width)."""
    thin = piece("T", box(0.01, 1400.0))
    jobs = [job([thin], [roll(width=721.0)], cloths=[cloth(roll_width_mm=1270.0)])]
    with pytest.raises(StockError) as raised:
        plan_cuts(jobs, seconds=SHORT)
    assert "turned 60.0 deg" in raised.value.findings[0].help


def test_a_piece_no_rotation_can_save():
    with pytest.raises(StockError) as raised:
        plan_cuts([job([piece("BIG", box(1300.0, 1300.0))], [roll()])], seconds=SHORT)
    assert "no rotation makes it fit" in raised.value.findings[0].help


def test_several_refusals_are_told_together():
    pieces = [piece("W1", box(400.0, 1320.0)), piece("W2", box(400.0, 1420.0)), *plies(2)]
    with pytest.raises(StockError) as raised:
        plan_cuts([job(pieces, [roll()])], seconds=SHORT)
    assert codes(raised) == ["piece-too-wide", "piece-too-wide"]


def test_too_few_sheets_name_what_found_no_place():
    pieces = [piece(f"C{k}", box(2000.0, 1000.0), "foam", kind="core") for k in range(3)]
    with pytest.raises(StockError) as raised:
        plan_cuts([job(pieces, [sheet(quantity=2)])], seconds=SHORT)
    assert codes(raised) == ["not-enough-stock"]
    assert "NT-1/C2 copy 1" in raised.value.findings[0].message


def test_too_short_a_roll_and_too_few_bars_are_refused():
    with pytest.raises(StockError) as raised:
        plan_cuts([job(plies(3, quantity=6), [roll(length=900.0)])], seconds=SHORT)
    assert codes(raised) == ["not-enough-stock"]
    rods = [piece("D", box(4000.0, 10.0), "strip", kind="rod", quantity=3)]
    with pytest.raises(StockError) as raised:
        plan_cuts([job(rods, [bar(quantity=2)])], seconds=SHORT)
    assert codes(raised) == ["not-enough-stock"]


def test_no_stock_at_all_is_the_specs_mistake():
    with pytest.raises(SpecError) as raised:
        plan_cuts([job(plies(), [sheet()])], seconds=SHORT)
    assert codes(raised) == ["no-stock"] and raised.value.exit_code == 1


@pytest.mark.parametrize("ring", [
    np.array([(0.0, 0.0), (100.0, 100.0), (100.0, 0.0), (0.0, 100.0)]),
    np.array([(0.0, 0.0), (100.0, 0.0), (200.0, 0.0)]),
    np.array([(0.0, 0.0), (np.inf, 0.0), (0.0, 50.0)]),
])  # fmt: skip
def test_unsound_outlines_never_reach_a_packer(monkeypatch, ring):
    monkeypatch.setattr(race.subprocess, "Popen", lambda *_, **__: pytest.fail("packer started"))
    with pytest.raises(GeometryError):
        plan_cuts([job([piece("BAD", ring)], [roll()])], seconds=SHORT)


# ---------------------------------------------------------------- rolls in order, groups, zones


def test_the_oldest_roll_is_used_first_and_the_next_takes_the_rest():
    stock = [roll("new", 9000.0, received="2026-02-01"), roll("old", 1500.0, received="2025-01-01")]
    plan = plan_cuts([job(plies(14), stock)], seconds=SHORT)
    assert [x.unit.id for x in plan.layouts] == ["old", "new"]
    assert len(plan.layouts[0].placements) >= 3
    assert check_plan(plan.layouts, plan.items) == ()


def test_the_shortest_roll_is_used_first_where_asked():
    stock = [roll("long", 9000.0, received="2025-01-01"), roll("short", 1500.0)]
    plan = plan_cuts([job(plies(14), stock, rules=NestRules(order="shortest"))], seconds=SHORT)
    assert [x.unit.id for x in plan.layouts] == ["short", "long"]


def test_stages_come_off_the_roll_one_after_another():
    pieces = [replace(p, stage="first" if k % 2 else "second") for k, p in enumerate(plies(6))]
    rules = NestRules(kits="by stage")
    plan = plan_cuts([job(pieces, [roll()], rules=rules)], seconds=SHORT)
    assert check_plan(plan.layouts, plan.items) == ()
    from plybook.nest.placing import placed_outline

    by_id = {i.id: i for i in plan.items}
    spans = {}
    for p in plan.layouts[0].placements:
        xs = placed_outline(by_id[p.item], p)[:, 0]
        low, high = spans.get(by_id[p.item].group, (1e9, -1e9))
        spans[by_id[p.item].group] = (min(low, xs.min()), max(high, xs.max()))
    (_, end), (start, _) = sorted(spans.values())
    assert start - end >= rules.knife_gap_mm - 1e-3


def test_a_bad_zone_on_a_roll_and_a_remnant_of_any_outline_are_kept_clear():
    corner = np.array([(0, 0), (2600, 0), (2600, 700), (1500, 1250), (0, 1250)], dtype=float)
    zone = box(150.0, 200.0) + (400.0, 500.0)
    stock = [roll("rem", outline_mm=corner, received="2025-01-01"),
             roll("bad", 9000.0, bad_zones_mm=(zone,))]  # fmt: skip
    plan = plan_cuts([job(plies(24), stock)], seconds=SHORT)
    assert check_plan(plan.layouts, plan.items) == ()
    assert [x.unit.id for x in plan.layouts] == ["rem", "bad"]
    assert plan.layouts[1].unit.bad_zones_mm[0].min(axis=0).tolist() == [400.0, 490.0]


# ---------------------------------------------------------------- memory and interruption


def test_the_same_input_gives_the_same_layouts_from_memory():
    jobs = [job([*bias(8), piece("C", box(900.0, 600.0), "foam", kind="core")], [roll(), sheet()])]
    memory = LayoutMemory()
    first = plan_cuts(jobs, memory=memory, seconds=SHORT)
    kept = memory.to_bytes()
    again = LayoutMemory.from_bytes(kept)
    second = plan_cuts(jobs, memory=again, seconds=SHORT)
    assert [x.placements for x in first.layouts] == [x.placements for x in second.layouts]
    assert all(x.remembered for x in second.layouts)
    assert again.to_bytes() == kept and not again.changed


def test_a_spoiled_memory_does_no_harm():
    jobs = [job(plies(3), [roll()])]
    memory = LayoutMemory()
    plan_cuts(jobs, memory=memory, seconds=SHORT)
    text = memory.to_bytes().decode()
    moved = text.replace('"NT-1/P0", 1, ', '"NT-1/P0", 1, 9')
    assert moved != text
    plan = plan_cuts(jobs, memory=LayoutMemory.from_bytes(moved.encode()), seconds=SHORT)
    assert check_plan(plan.layouts, plan.items) == ()
    no_place = text.replace('"NT-1/P0", 1, ', '"NT-1/P0", 1, NaN, 0, 0, false], ["NT-1/P0", 1, ')
    assert len(LayoutMemory.from_bytes(no_place.encode())) == 0
    for broken in (b"", b"{", b"[]", b'{"version": 99}', b'{"version": 1, "layouts": {"a": 3}}'):
        assert len(LayoutMemory.from_bytes(broken)) == 0


def test_more_effort_never_makes_the_remembered_plan_worse():
    jobs = [job(bias(10), [roll()])]
    memory = LayoutMemory()
    quick = plan_cuts(jobs, memory=memory, seconds=0.2).layouts[0].used_length_mm
    longer = plan_cuts(jobs, memory=memory, seconds=1.0).layouts[0].used_length_mm
    assert longer <= quick
    assert plan_cuts(jobs, memory=memory, seconds=0.2).layouts[0].used_length_mm == longer


def test_a_long_search_saves_as_it_goes_and_never_gets_worse():
    """Whatever was saved last is what a run that is killed leaves: sound, and no worse than what
    was saved before it."""
    pieces = [*bias(9), piece("C", box(900.0, 600.0), "foam", kind="core")]
    jobs = [job(pieces, [roll(), sheet()])]
    memory, saved = LayoutMemory(), []
    first = plan_cuts(jobs, memory=memory, seconds=0.2)
    lengths = [first.layouts[0].used_length_mm]
    plan_cuts(jobs, "long", memory, seconds=4.0, save=lambda known: saved.append(known.to_bytes()))
    assert len(saved) >= 2 and saved[-1] == memory.to_bytes()
    for content in saved:
        left = plan_cuts(jobs, memory=LayoutMemory.from_bytes(content), seconds=0.0)
        assert all(x.remembered for x in left.layouts)
        lengths.append(left.layouts[0].used_length_mm)
    assert lengths == sorted(lengths, reverse=True)


def test_a_long_search_ends_where_nothing_can_be_bettered():
    jobs = [job([piece("P", box(1250.0, 500.0))], [roll()])]
    plan = plan_cuts(jobs, "long")
    assert plan.layouts[0].used_length_mm == plan.layouts[0].bound_mm == 1250.0


def test_an_interrupt_keeps_a_proved_plan_of_everything():
    said = []

    def interrupt(words: str) -> None:
        said.append(words)
        if len(said) == 1:
            signal.raise_signal(signal.SIGINT)

    pieces = [*bias(10), piece("C", box(900.0, 600.0), "foam", kind="core")]
    plan = plan_cuts([job(pieces, [roll(), sheet()])], seconds=30.0, progress=interrupt)
    assert check_plan(plan.layouts, plan.items) == ()
    assert [f.code for f in plan.findings] == ["search-stopped"]
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_without_the_irregular_packer_a_plan_is_made_and_its_cost_said(monkeypatch):
    monkeypatch.setattr("plybook.nest.strip.packer_is_installed", lambda: False)
    monkeypatch.setattr("plybook.nest.needs.packer_is_installed", lambda: False)
    monkeypatch.setattr("plybook.nest.plan.packer_is_installed", lambda: False)
    plan = plan_cuts([job(bias(), [roll()])], seconds=SHORT)
    assert plan.layouts[0].method == "one by one"
    assert check_plan(plan.layouts, plan.items) == ()
    assert [f.code for f in plan.findings] == ["no-irregular-packer"]
    assert "10 to 20 % more cloth" in plan.findings[0].message


def test_progress_tells_length_and_bound():
    said = []
    plan_cuts([job(bias(), [roll()])], seconds=SHORT, progress=said.append)
    assert any("m so far, at least" in words for words in said)


def test_smallest_rotation_counts_from_the_allowed_ones():
    from plybook.nest.model import Item

    item = Item("x", box(10.0, 100.0), 1, (90.0,))
    assert smallest_rotation(item, 200.0) == 0.0


def test_a_ply_as_wide_as_its_roll_and_a_panel_as_large_as_its_sheet_are_cut():
    """The curved edge may be simplified for packing, but not past the edge of the stock."""
    turn = np.linspace(0.0, np.pi, 60)
    bulge = np.column_stack([1000.0 + 200.0 * np.sin(turn), 625.0 - 625.0 * np.cos(turn)])
    ply = piece("P", np.vstack([[(0.0, 0.0)], bulge, [(0.0, 1250.0)]]))
    panel = piece("C", box(2438.4, 1219.2), "foam", kind="core")
    plan = plan_cuts([job([ply, panel], [roll(), sheet()])], seconds=SHORT)
    assert check_plan(plan.layouts, plan.items) == ()


def test_what_is_easy_is_laid_the_same_without_any_memory():
    """Strips along the warp side by side reach the bound at once: no timed search, same layout."""
    jobs = [job(plies(6), [roll()])]
    first, second = (plan_cuts(jobs, seconds=SHORT) for _ in range(2))
    assert first.layouts[0].placements == second.layouts[0].placements
    assert first.layouts[0].used_length_mm <= first.layouts[0].bound_mm * 1.001


def test_a_packer_that_breaks_down_is_said(monkeypatch, tmp_path):
    dying = tmp_path / "child.py"
    lines = ("import os, sys", "sys.stdin.read()", "print('no room', file=sys.stderr, flush=True)")
    dying.write_text("\n".join([*lines, "os._exit(134)"]))
    monkeypatch.setattr(race, "CHILD", dying)
    plan = plan_cuts([job(bias(), [roll()])], seconds=3.0)
    assert check_plan(plan.layouts, plan.items) == ()
    assert [(f.code, f.severity) for f in plan.findings] == [("packer-failed", Severity.NOTE)]
    assert "the packer said: no room" in plan.findings[0].message
