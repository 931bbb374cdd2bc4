"""What the stages found and what is told of it: accepted, joined, in order, once for both hands."""

from dataclasses import replace

import pytest

from plybook.diagnostics import Place, Severity, error, note, warning
from plybook.finishing import Found, finish
from plybook.spec.model import Acknowledgement
from tests.drawing import doubles

HERE = Place("part.yaml", 9, 3)


def found(*findings, accepts=(), **part):
    spec = replace(doubles.spec(**part), acknowledged=tuple(accepts))
    return Found(spec, tuple(findings))


def told(*findings, accepts=(), of_set=(), **part):
    return finish([found(*findings, accepts=accepts, **part)], of_set).findings


def steep(layer="C1", **more):
    return warning("core-square-edge", f"core {layer} has a square edge", layers=(layer,), **more)


def accepted(code="core-square-edge", layers=("C1",)):
    return Acknowledgement(code, layers, "the rib needs it square", HERE)


def test_an_accepted_finding_carries_the_reason():
    (one,) = told(steep(), accepts=[accepted()])
    assert one.acknowledged == "the rib needs it square"


def test_findings_of_the_bench_and_of_the_stock_are_accepted_too():
    late = warning("wet-too-long", "laying takes long", "", HERE)
    film = note("film-in-lengths", "the film is narrower than P", layers=("P",))
    both = told(
        late,
        of_set=[film],
        accepts=[accepted("wet-too-long", ()), accepted("film-in-lengths", ("P",))],
    )
    assert [f.acknowledged != "" for f in both] == [True, True]


def test_an_acknowledgement_without_layers_fits_everywhere():
    assert all(f.acknowledged for f in told(steep(), steep("C2"), accepts=[accepted(layers=())]))


def test_an_acknowledgement_for_other_layers_does_not_fit():
    both = replace(steep(), layers=("C1", "C2"))
    assert [(f.code, f.acknowledged) for f in told(both, accepts=[accepted()])] == [
        ("core-square-edge", ""), ("acknowledgement-unused", ""),
    ]  # fmt: skip


def test_an_unused_acknowledgement_is_told_once_every_stage_was_run():
    (one,) = told(accepts=[accepted()])
    assert one.code == "acknowledgement-unused" and one.severity is Severity.WARNING
    assert finish([found(accepts=[accepted()])], complete=False).findings == ()


def test_what_only_a_search_or_a_record_can_find_may_be_accepted_beforehand():
    later = [accepted("packer-failed", ()), accepted("record-mass", ())]
    assert told(accepts=later) == ()


@pytest.mark.parametrize("code", ["layouts-searched", "layouts-forgotten", "search-stopped",
                                  "no-irregular-packer"])  # fmt: skip
def test_what_one_machine_found_while_it_searched_is_told_and_put_in_no_file(code):
    kept, of_search = warning("film-in-lengths", "words"), warning(code, "other words")
    every = finish([found(), found()], [of_search, kept])
    assert every.findings == (of_search, kept)
    assert every.of_parts == ((kept,), (kept,))


def test_an_error_cannot_be_accepted():
    one, unused = told(error("x", "words"), accepts=[accepted("x", ())])
    assert (one.acknowledged, unused.code) == ("", "acknowledgement-unused")


def test_findings_that_differ_by_layer_and_place_are_one():
    many = [steep(f"C{n}") for n in range(1, 4)]
    places = [Place("part.yaml", n, 1) for n in range(3)]
    (one,) = told(*(replace(f, places=(p,)) for f, p in zip(many, places, strict=True)))
    assert one.message == "core C1 has a square edge (also C2; C3)"
    assert one.places == tuple(places) and one.layers == ("C1", "C2", "C3")


def test_findings_with_other_figures_stay_apart():
    one, two = (warning("w", f"{x} reaches {n} g", layers=(x,)) for x, n in (("A", 4), ("B", 5)))
    assert len(told(one, two)) == 2


def test_the_same_sentence_at_several_places_says_so():
    (one,) = told(*(warning("w", "a core", "", Place("part.yaml", n, 1)) for n in (3, 7)))
    assert one.message == "a core (in 2 places)" and len(one.places) == 2


def test_what_is_accepted_is_not_joined_with_what_is_not():
    assert len(told(steep(), steep("C2"), accepts=[accepted()])) == 2


def test_errors_come_first_and_accepted_warnings_after_open_ones():
    codes = [
        f.code
        for f in told(
            note("n", "a note"), steep(), warning("w", "open"), error("e", "wrong"),
            accepts=[accepted()],
        )
    ]  # fmt: skip
    assert codes == ["e", "w", "core-square-edge", "n"]


def test_an_opposite_hand_does_not_repeat_its_twin():
    left = found(steep(), other_hand="R")
    right = found(steep(), number="R")
    done = finish([left, right])
    assert len(done.findings) == 1
    assert [len(own) for own in done.of_parts] == [1, 1]  # each booklet has its own


def test_what_concerns_the_set_is_in_every_booklet_and_told_once():
    of_set = [warning("rules-differ", "other cutting rules")]
    done = finish([found(number="A"), found(number="B")], of_set)
    assert [f.code for f in done.findings] == ["rules-differ"]
    assert all([f.code for f in own] == ["rules-differ"] for own in done.of_parts)
