"""An exported record: read with suspicion, held against the plan, printed as built."""

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from plybook.diagnostics import Severity, SpecError
from plybook.drawing.book import booklet
from plybook.drawing.document import Blank, CheckBox, Table
from plybook.plan import plan_dict, to_json
from plybook.record import as_built, compare, read_record
from plybook.record.compare import known_fields
from plybook.record.figures import parse_figure
from plybook.record.log import Log, LogEntry
from plybook.write.book_pdf import book_pdf
from tests.drawing import doubles
from tests.record.bench import AT, Device, exported, filled, later


def planned(shop=None):
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    parts = (doubles.spec(), face, laminate, doubles.cut_plan(laminate), shop or doubles.shop())
    return booklet(*parts), json.loads(to_json(plan_dict(*parts)))


def to_json_bytes(raw) -> bytes:
    return json.dumps(raw).encode()


def read(sheet) -> object:
    return read_record(to_json_bytes(exported(sheet)))


def run(seconds, stopped=0, seen=0):
    """A timer that was started at noon, as the booklet keeps it; times after its start in s."""
    start = 1_777_888_800_000
    moments = {"stopped": stopped, "seen": seen}
    return {"kind": "limit", "start": start, "end": start + 1000 * seconds} | {
        name: start + 1000 * after if after else 0 for name, after in moments.items()
    }


def codes(raw, plan):
    return [f.code for f in compare(read(raw), plan)]


def field(raw, ending):
    return next(id for id in raw["fields"] if id.endswith(ending))


def test_a_record_filled_in_as_told_has_nothing_against_it():
    document, plan = planned()
    assert codes(filled(document), plan) == []


def test_an_empty_record_misses_every_step_that_has_checks():
    document, plan = planned()
    raw = filled(document) | {"fields": {}, "serial": ""}
    found = codes(raw, plan)
    with_checks = [s for stage in plan["stages"] for s in stage["steps"] if s["checks"]]
    assert found.count("record-step-missing") == len(with_checks)
    assert found.count("record-jig-open") == len(plan["jig"])
    assert "record-mass-missing" in found


def test_every_field_of_the_booklet_is_known_to_the_comparison():
    document, plan = planned()
    known = set(known_fields(plan))
    for block in doubles.fields_of(document):
        if isinstance(block, CheckBox | Blank):
            assert block.id in known or block.id.startswith(("record.lot.", "record.expiry."))


@pytest.mark.parametrize(
    ("value", "code"),
    [
        ("17", None), ("23.0", None), ("23,0", None), ("16.99", "record-value-out"),
        ("23.1", "record-value-out"), ("\u22125", "record-value-out"),
        ("warm", "record-value-no-figure"), ("1 2", "record-value-no-figure"),
        ("1" * 401, "record-value-no-figure"), ("٢٠", "record-value-no-figure"),
    ],
)  # fmt: skip
def test_a_measured_value_is_held_against_20_plus_minus_3(value, code):
    document, plan = planned()
    raw = filled(document)
    raw["fields"][field(raw, ".room")]["value"] = value
    found = codes(raw, plan)
    assert found == ([code] if code else [])


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"part": "XX-1"}, "record-other-part"),
        ({"revision": "A"}, "record-revision-mismatch"),
        ({"plan": "0" * 16}, "record-plan-changed"),
        ({"hand": "right"}, "record-other-hand"),
    ],
)
def test_a_record_of_something_else_is_told(change, code):
    document, plan = planned()
    assert code in codes(filled(document) | change, plan)


def test_a_check_left_open_and_a_step_not_signed_are_named():
    document, plan = planned()
    raw = filled(document)
    del raw["fields"][field(raw, "lay-p1.angle")]
    del raw["fields"][field(raw, "lay-p2.initials")]
    found = compare(read(raw), plan)
    assert [f.code for f in found] == ["record-check-open", "record-not-signed"]
    assert "Fibre at +45°" in found[0].message
    assert found[1].layers == ("P2-1", "P2-2")


DEVIATION = {
    "step": "C1-1", "what": "panel cracked, fitted in two", "why": "dropped", "by": "RL",
    "disposition": "use as is", "approved": "M. Brandt, designer",
}  # fmt: skip


def test_deviations_need_a_reason_and_initials():
    document, plan = planned()
    raw = filled(document)
    raw["rows"] = {
        "deviations.a": DEVIATION, "deviations.b": DEVIATION | {"by": ""},
        "deviations.c": DEVIATION | {"what": " "}, "deviations.d": DEVIATION | {"approved": ""},
        "deviations.e": DEVIATION | {"disposition": "rejected"},
    }  # fmt: skip
    assert codes(raw, plan) == [
        "record-deviation", "record-deviation-incomplete", "record-deviation-empty",
        "record-deviation-incomplete", "record-rejected",
    ]  # fmt: skip


def test_a_wait_that_was_cut_short_and_a_layer_out_of_order_are_told():
    document, plan = planned()
    raw = filled(document)
    raw["timers"]["mould-wax.wait"] = run(3600, stopped=2400)
    for id in raw["fields"]:
        if id.startswith("lay-p2."):
            raw["fields"][id]["at"] = later(AT, hours=-1)  # well before P1
    found = compare(read(raw), plan)
    assert [f.code for f in found] == ["record-wait-short", "record-order"]
    assert "20 min early" in found[0].message


def test_mass_is_held_against_the_plan():
    document, plan = planned()
    raw = filled(document)
    raw["fields"]["record.mass_g"]["value"] = "12700"  # 11 400 planned: 11.4 % more
    (finding,) = compare(read(raw), plan)
    assert finding.code == "record-mass" and "+11 %" in finding.message


def test_a_step_changed_since_makes_its_old_entries_unknown():
    document, _ = planned()
    shop = doubles.shop()
    stages = list(shop.stages)
    steps = list(stages[1].steps)
    steps[0] = replace(steps[0], id="lay-p1-anew")
    stages[1] = replace(stages[1], steps=tuple(steps))
    _, plan = planned(replace(shop, stages=tuple(stages)))
    found = codes(filled(document), plan)
    assert "record-plan-changed" in found and "record-unknown-entries" in found
    assert found.count("record-step-missing") == 1


@pytest.mark.parametrize(
    ("data", "code"),
    [
        (b"", "record-not-json"),
        (b"{", "record-not-json"),
        (b"\xff\xfe{}", "record-encoding"),
        (b"[]", "record-shape"),
        (b"{}", "record-shape"),
        (b'{"plybook_record": 1}', "record-shape"),
        (b'{"plybook_record": 3}', "record-shape"),
        (b'{"plybook_record": true}', "record-shape"),
        (b'{"plybook_record": 2, "plybook_record": 2}', "record-shape"),
        (b'{"plybook_record": 2, "entries": {}}', "record-shape"),
        (b'{"plybook_record": 2, "entries": [], "part": 7}', "record-shape"),
        (b'{"plybook_record": 2, "entries": [], "photos": []}', "record-shape"),
        (b'{"plybook_record": 2, "entries": [NaN]}', "record-shape"),
        (b'{"plybook_record": ' + b"2" * 5000 + b"}", "record-shape"),
        (b'{"plybook_record": 2, "entries": [1.' + b"2" * 400 + b"]}", "record-shape"),
        (b"[" * 200_000, "record-shape"),
    ],
    ids=range(16),
)
def test_what_is_not_a_record_is_refused_with_words(data, code):
    with pytest.raises(SpecError) as refusal:
        read_record(data)
    assert refusal.value.findings[0].code == code
    assert refusal.value.findings[0].help


def test_a_file_larger_than_any_record_is_refused():
    with pytest.raises(SpecError) as refusal:
        read_record(b" " * 101, limit_bytes=100)
    assert refusal.value.findings[0].code == "record-too-large"


@given(st.binary(max_size=200))
def test_no_bytes_get_past_the_reader_as_anything_but_a_refusal_or_a_record(data):
    try:
        record = read_record(data)
    except SpecError:
        return
    assert record.fields is not None


@pytest.mark.parametrize("plan", [{"part": {}}, {"part": 5}, {}])
def test_a_plan_that_is_none_is_refused(plan):
    document, _ = planned()
    with pytest.raises(SpecError) as refusal:
        compare(read(filled(document)), plan)
    assert refusal.value.findings[0].code == "plan-shape"


@pytest.mark.parametrize(
    ("text", "value"),
    [("12.5", 12.5), (" -0,5 ", -0.5), (".5", 0.5), ("5.", 5.0), ("+3", 3.0), ("1e5", None),
     ("nan", None), ("", None), ("1,000.5", None), ("12 mm", None)],
)  # fmt: skip
def test_figures_are_read_as_people_write_them(text, value):
    assert parse_figure(text) == value


def test_the_as_built_book_holds_lots_times_values_and_deviations():
    document, plan = planned()
    raw = filled(document)
    raw["rows"]["deviations.a"] = DEVIATION | {"what": doubles.NASTY[0]}
    raw["fields"]["record.lot.epoxy"] = {"value": "LOT 4711", "at": AT}
    record = read(raw)
    findings = compare(record, plan)
    built = as_built(record, plan, findings)
    cells = [
        cell
        for page in built.pages
        for block in page.blocks
        if isinstance(block, Table)
        for row in block.rows
        for cell in row
    ]
    assert "LOT 4711" in cells and doubles.NASTY[0] in cells
    assert f"{raw['saved'][:10]} {raw['saved'][11:16]}" in cells and "IN" in cells
    assert built.date == raw["saved"][:10]
    assert book_pdf(built).startswith(b"%PDF")
    assert book_pdf(built) == book_pdf(as_built(record, plan, findings))


def test_an_open_record_says_on_its_cover_that_it_is_not_complete():
    document, plan = planned()
    record = read(filled(document) | {"fields": {}, "serial": ""})
    findings = compare(record, plan)
    assert not any(f.severity is Severity.ERROR for f in findings)
    cover = as_built(record, plan, findings).pages[0]
    assert any("NOT COMPLETE" in getattr(block, "text", "") for block in cover.blocks)


def test_a_cup_used_past_its_time_is_told():
    """40 min of pot life, the timer stopped after 55: a quarter of an hour too late."""
    document, plan = planned()
    raw = filled(document)
    raw["timers"]["lay-p1.pot"] = run(2400, stopped=3300)
    (found,) = compare(read(raw), plan)
    assert found.code == "record-limit-over"
    assert "Pot life" in found.message and "15 min after its 40 min" in found.message


def test_jig_figures_that_steps_ask_for_are_not_asked_twice():
    """Where a step shows the jig, its checks are the jig card; no second card is missed."""
    document, plan = planned()
    raw = filled(document)
    raw["fields"] = {id: f for id, f in raw["fields"].items() if not id.startswith("jig.")}
    assert set(codes(raw, plan)) == {"record-jig-open"}
    plan["stages"][-1]["steps"][-1]["shows"] = "jig"
    assert codes(raw, plan) == []


@pytest.mark.parametrize("by", ["RL", "KM", "TS"])
def test_entries_of_one_second_stand_in_the_order_they_were_made(by):
    """Their names, which are as good as random, say nothing of it."""
    device = Device(by=by)
    values = [True, None, "18", "19", None, "20", True, None]
    for value in values:
        device.put("lay-p1.angle", value)
    # handed over in any order
    log = Log(LogEntry(**entry) for _, entry in sorted(device.entries.items()))
    assert [entry.value for entry in log.history("lay-p1.angle")] == values[::-1]
