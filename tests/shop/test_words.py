"""Sentences with facts."""

from __future__ import annotations

import pytest

from plybook.shop.standard import STAGE_KINDS, standard
from plybook.shop.words import Scope, WordsError, degrees_text, listed, minutes_text

SCOPE = Scope(
    {"panels": ("C1", "C2"), "one": ("C1",), "n": 3, "name": "left", "yes": True, "no": ""},
    {"panel": (Scope({"panel": "C1"}), Scope({"panel": "C2"}))},
)


@pytest.mark.parametrize(
    ("sentence", "said"),
    [
        ("Lay {panels}.", "Lay C1 and C2."),
        ("Cut {n} {n:panel|panels}.", "Cut 3 panels."),
        ("{one:It is|They are} square.", "It is square."),
        ("{panels:It is|They are} square.", "They are square."),
        ("{name} hand", "left hand"),
    ],
)
def test_placeholders(sentence, said):
    """Text, lists and counts."""
    assert SCOPE.say(sentence) == said


@pytest.mark.parametrize("sentence", ["{unknown}", "{", "a } b", "{name:a|b}", "{yes}", "{n:x}"])
def test_what_is_refused(sentence):
    """An unknown fact, a lone brace, counting text, printing yes or no."""
    with pytest.raises(WordsError):
        SCOPE.say(sentence)


def test_a_fact_may_hold_braces():
    """What a user wrote is printed as it is and not read again."""
    assert Scope({"note": "{panels} 100%"}).say("{note}") == "{panels} 100%"


def test_conditions_and_lists():
    """All conditions must hold; a list is walked with its items over the outer facts."""
    assert SCOPE.holds(("yes", "panels", "not no"))
    assert not SCOPE.holds(("yes", "no"))
    assert [inner.say("{panel} {name}") for inner in SCOPE.walk("panel")] == ["C1 left", "C2 left"]
    with pytest.raises(WordsError):
        SCOPE.walk("seam")
    with pytest.raises(WordsError):
        SCOPE.holds(("nothing",))


def test_small_forms():
    """Lists, durations and angles as people say them."""
    assert [listed(x) for x in ((), ("a",), ("a", "b"), "abc")] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
    assert [minutes_text(s) for s in (60, 1500, 5400, 28800, 7140)] == [
        "1 min", "25 min", "90 min", "8 h", "1 h 59 min",
    ]  # fmt: skip
    assert [degrees_text(a) for a in (0.0, 45, -45, 90, 30.25, -0.0)] == [
        "0°", "+45°", "-45°", "90°", "+30.2°", "0°",
    ]  # fmt: skip


def test_the_trade_data_is_whole():
    """Every kind has steps, every caution and figure a source, every name is there once."""
    data = standard()
    assert set(data.stages) == set(STAGE_KINDS)
    assert all(stage.steps for stage in data.stages.values())
    assert all(c.source and c.text.endswith(".") for c in data.cautions.values())
    assert all(f.source for f in data.figures.values())
    used = {line.say for st in data.stages.values() for step in st.steps for line in step.cautions}
    assert used == set(data.cautions)


def test_the_usual_cautions_are_there():
    """Each danger of the trade stands at a step of its own stage, deferring where it must."""
    data = standard()
    at = {
        (kind, line.say)
        for kind, stage in data.stages.items()
        for step in stage.steps
        for line in step.cautions
    }
    for place in [
        ("wet_laminate", "sensitisation"), ("wet_laminate", "exotherm"), ("core_bond", "dust"),
        ("mould_preparation", "solvents"), ("trim", "carbon_dust"), ("wet_laminate", "vacuum"),
        ("dry_layup", "spray"), ("trim", "structure"), ("trim", "inspector"),
    ]:  # fmt: skip
        assert place in at
    words = " ".join(c.text for c in data.cautions.values())
    for phrase in (
        "safety data sheet",
        "Local fire rules",
        "designer",
        "inspector",
        "sizes nothing",
    ):
        assert phrase in words


# 1 inHg = 33.8639 mbar (NIST conversion); AC 43.13-1B 3-4 gives inches
@pytest.mark.parametrize(
    ("name", "value", "tolerance"),
    [
        ("leak_vacuum", 20 * 33.8639, 0.5),  # TM 1-1500-204-23-11, 6-18: 20 inHg
        ("leak_drop", 33.8639, 0.5),  # TM 1-1500-204-23-11, 6-18: 1 inHg in 1 min
        ("leak_time", 1.0, 0.0),
        ("breather_beyond", 2 * 25.4, 1e-9),  # FAA AC 43.13-1B, 3-4: 2 to 3 in
        ("release_film_less", 25.4, 1e-9),  # FAA AC 43.13-1B, p. 3-7: 1 in
        ("hot_room", (90 - 32) / 1.8, 0.05),  # TM 1-1500-204-23-11: 90 degF
        ("ply_angle", 3.0, 0.0),  # TM 1-1500-204-23-11: 3 deg
        ("butt_gap", 0.08 * 25.4, 0.05),  # MIL-HDBK-17-3F, chapter 12: 0.08 in
        ("screw_pitch", 12 * 25.4, 1e-9),  # common practice, no source: 12 in
    ],
)
def test_published_defaults(name, value, tolerance):
    """Defaults in metric are the published figures."""
    assert standard().figures[name].value == pytest.approx(value, abs=tolerance)


def test_vacuum_presses_with_ten_tonnes():
    """One atmosphere, 101 325 Pa, is the weight of 10.3 t on a square metre."""
    assert pytest.approx(10.3, abs=0.05) == 101_325 / 9.80665 / 1000
    assert "10 tonnes" in standard().cautions["vacuum"].text
