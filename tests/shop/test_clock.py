"""The day plan: waits, working days, work done while waiting, blocks that cannot be broken."""

from __future__ import annotations

import pytest

from plybook.shop import plan_work
from plybook.shop.clock import DAY_MIN, clock_text, day_plan, sessions
from plybook.shop.model import Stage, Step, Timer
from plybook.spec.model import Workshop
from tests.shop import parts

SHOP = Workshop(day_start="09:00", day_hours=8.0)


def step(name, minutes, waits=(), **more):
    timers = tuple(Timer(f"{name}{n}", "wait", 60 * w) for n, w in enumerate(waits))
    return Step(id=name, title=name, text=(), timers=timers, minutes=minutes, **more)


def stage(*steps, id="A"):
    return Stage(id, "wet_laminate", id, steps)


def rows(lines):
    return [(d.step, d.start_min, d.end_min, d.attended) for d in lines]


def test_four_wax_coats_with_their_waits():
    """Four coats of 5 min with 25 min between: the next work starts after 120 min."""
    lines, _ = day_plan([stage(step("wax", 20, [25] * 4), step("next", 10))], SHOP)
    assert rows(lines) == [
        ("wax", 0, 5, True), ("wax", 5, 30, False), ("wax", 30, 35, True), ("wax", 35, 60, False),
        ("wax", 60, 65, True), ("wax", 65, 90, False), ("wax", 90, 95, True),
        ("wax", 95, 120, False), ("next", 120, 130, True),
    ]  # fmt: skip


def test_cutting_is_done_while_the_wax_dries():
    """A cutting step of a later stage fills the wait, and is not done twice."""
    lines, _ = day_plan(
        [
            stage(step("wax", 10, [60])),
            stage(step("cut", 40, overlaps=True), step("lay", 30), id="B"),
        ],
        SHOP,
    )
    assert rows(lines) == [
        ("wax", 0, 10, True), ("cut", 10, 50, True), ("wax", 10, 70, False), ("lay", 70, 100, True),
    ]  # fmt: skip


def test_the_cutting_that_is_needed_first_is_done_first():
    """A long cut of the next stage is begun in a wait, not one of a later stage that fits whole."""
    lines, _ = day_plan(
        [
            stage(step("wax", 10, [25, 25])),
            stage(step("cut cloth", 40, overlaps=True), step("lay", 30), id="B"),
            stage(step("cut rods", 20, overlaps=True), step("bed", 30), id="C"),
        ],
        SHOP,
    )
    cuts = [row for row in rows(lines) if row[0].startswith("cut")]
    assert cuts == [
        ("cut cloth", 5, 30, True),
        ("cut cloth", 35, 50, True),
        ("cut rods", 90, 110, True),
    ]


def test_the_day_plan_is_read_by_sessions():
    """What is done in one go is one line; a wait of a minute is stood through, a cure is not."""
    lay = [step("Lay P1: cloth", 10), step("Lay P2: cloth", 10, together=True),
           step("Leak", 5, [1], together=True), step("Leave", 5, [480], together=True)]  # fmt: skip
    lines, _ = day_plan([stage(*lay), stage(step("Strip", 15), id="B")], SHOP)
    told = [(x.what, x.start_min, x.end_min, x.attended) for x in sessions(lines)]
    assert told == [
        ("Lay P1; Lay P2; Leak; Leave", 0, 31, True),
        ("wait", 31, 511, False),
        ("Strip", DAY_MIN, DAY_MIN + 15, True),
    ]


@pytest.mark.parametrize("part", [parts.hatch, parts.skin, parts.spar])
def test_sessions_lose_no_step_and_no_minute(part):
    """Every step's title and every attended minute of the clock stand in the sessions too."""
    shop = plan_work(*part())
    told = sessions(shop.clock)
    words = " ".join(x.what for x in told)
    for line in shop.clock:
        if line.attended:
            title = line.what.removesuffix(" (while waiting)").partition(":")[0]
            assert title in words
    work = sum(x.end_min - x.start_min for x in shop.clock if x.attended)
    short = sum(x.end_min - x.start_min for x in shop.clock if not x.attended and
                x.end_min - x.start_min <= 5.0)  # fmt: skip
    assert sum(x.end_min - x.start_min for x in told if x.attended) == pytest.approx(work + short)


def test_cutting_that_found_no_wait_is_done_before_it_is_needed():
    """Without a wait long enough the cut stands before its own stage."""
    lines, _ = day_plan([stage(step("cut", 50, overlaps=True), step("lay", 30))], SHOP)
    assert rows(lines) == [("cut", 0, 50, True), ("lay", 50, 80, True)]


def test_a_cure_runs_through_the_night():
    """A cure begun at 7 h of the first day ends at 15 h; work goes on the next morning."""
    lines, _ = day_plan([stage(step("lay", 420, [480]), step("strip", 15))], SHOP)
    assert rows(lines)[-2:] == [("lay", 420, 900, False), ("strip", DAY_MIN, DAY_MIN + 15, True)]


def test_open_resin_is_not_left_overnight():
    """A block of 100 min is not begun with 60 min of the day left."""
    first = step("before", 420)
    lay, bag = step("lay", 60), step("bag", 40, together=True)
    lines, findings = day_plan([stage(first, lay, bag)], SHOP)
    assert rows(lines)[1:] == [
        ("lay", DAY_MIN, DAY_MIN + 60, True), ("bag", DAY_MIN + 60, DAY_MIN + 100, True),
    ]  # fmt: skip
    assert not findings


def test_a_block_longer_than_the_day_is_said():
    """Nine hours that cannot be broken do not fit into eight."""
    _, findings = day_plan([stage(step("lay", 300), step("bag", 240, together=True))], SHOP)
    assert [f.code for f in findings] == ["stage-over-a-day"]


def test_times_of_day():
    """Minutes from the start as a day and a time of day."""
    assert clock_text(0, SHOP) == "day 1, 09:00"
    assert clock_text(DAY_MIN + 90, SHOP) == "day 2, 10:30"


@pytest.mark.parametrize("part", [parts.hatch, parts.skin, parts.spar])
def test_the_plan_of_a_part_is_possible(part):
    """Attended work never overlaps itself, lies in working hours, and misses no step's time."""
    spec, *rest = part()
    shop = plan_work(spec, *rest)
    work = sorted((d.start_min, d.end_min) for d in shop.clock if d.attended)
    for (_, end), (start, _) in zip(work, work[1:], strict=False):
        assert start >= end - 1e-6
    hours = spec.workshop.day_hours * 60
    for start, end in work:
        assert start % DAY_MIN < hours and end - start <= hours - start % DAY_MIN + 1e-6
    for st in shop.stages:
        for sp in st.steps:
            done = sum(
                d.end_min - d.start_min for d in shop.clock if d.attended and d.step == sp.id
            )
            assert done == pytest.approx(sp.minutes)
            waits = sum(t.seconds for t in sp.timers if t.kind == "wait") / 60
            waited = sum(
                d.end_min - d.start_min for d in shop.clock if not d.attended and d.step == sp.id
            )
            assert waited == pytest.approx(waits)


def test_a_face_is_opened_on_the_day_it_is_bonded():
    """Peel ply comes off no day earlier than the resin goes on, whatever hour a stage begins."""
    for hours in (5.0, 6.0, 7.0, 9.0):
        shop = plan_work(*parts.skin(workshop=Workshop(wetting_m2_h=6.0, day_hours=hours)))
        day = {d.step: d.start_min // DAY_MIN for d in reversed(shop.clock) if d.attended}
        for st in shop.stages:
            opened = [day[x.id] for x in st.steps if x.name == "open_face"]
            laid = [day[x.id] for x in st.steps if x.lays]
            assert not opened or set(laid) == set(opened)


@pytest.mark.parametrize("part", [parts.skin, parts.spar])
def test_nothing_is_laid_before_it_is_cut_on_the_clock(part):
    """Work done while waiting still comes before the step that needs it."""
    shop = plan_work(*part())
    start, end = {}, {}
    for line in shop.clock:
        if line.attended:
            start.setdefault(line.step, line.start_min)
            end[line.step] = line.end_min
    cut_by = {}
    for st in shop.stages:
        for sp in st.steps:
            if sp.overlaps:
                cut_by.update(dict.fromkeys(sp.pieces, end[sp.id]))
    for st in shop.stages:
        for sp in st.steps:
            if sp.lays:
                assert all(cut_by[p] <= start[sp.id] + 1e-6 for p in sp.pieces)
