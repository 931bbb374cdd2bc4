"""A short run of the fuzzer with fixed seeds; `python -m tests.fuzz.run` runs as long as wanted."""

from pathlib import Path

import pytest

from tests.fuzz.run import FILES, Tally, attempt, manner, run, run_beside

CASES = Path(__file__).parent / "cases"


def test_spoiled_and_made_up_specs_are_read_or_refused():
    tally = run(150, seed=20_001)
    assert tally.failures == []
    assert tally.refused > 30 and tally.passed > 30, tally


@pytest.mark.slow
def test_what_is_read_is_laid_up_or_refused():
    tally = run(30, seed=520_001, depth="lay", made_up=0.8)
    assert tally.failures == []
    assert tally.passed > 5, tally


@pytest.mark.slow
def test_what_is_laid_up_is_built_and_verifies():
    tally = run(12, seed=720_001, depth="build", made_up=0.9)
    assert tally.failures == []
    assert tally.sound > 3, tally


def test_a_failure_would_be_told(monkeypatch):
    """The fuzzer itself: what must not happen is counted, with its seed."""
    import tests.fuzz.run as fuzz

    def broken(*_):
        raise ZeroDivisionError("made up")

    monkeypatch.setattr(fuzz, "load", broken)
    tally = run(3, seed=1)
    assert len(tally.failures) == 3 and "seed 1: ZeroDivisionError" in tally.failures[0]


def test_two_workers_try_each_case_once():
    alone, beside = run(12, seed=9), run_beside(2, 12, 9, "load", 0.2, None, float("inf"))
    assert (beside.cases, beside.refused, beside.passed) == (12, alone.refused, alone.passed)
    assert beside.failures == alone.failures == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", [500_085, 500_094])
def test_what_once_tangled_is_laid_up_or_refused(seed):
    """A tab with sides that ran together; an edge folded over a core's ramp."""
    assert run(1, seed, depth="lay", made_up=0.7).failures == []


@pytest.mark.slow
@pytest.mark.parametrize("seed", [700_018, 700_042, 700_077, 700_094])
def test_what_once_did_not_verify_is_sound(seed):
    """Arcs of either hand; bevels that meet; a piece that touches a dent; a slit in a cut."""
    tally = run(1, seed, depth="build", made_up=0.8)
    assert tally.failures == [] and tally.sound == 1


@pytest.mark.slow
@pytest.mark.parametrize("name", [p.stem for p in sorted(CASES.glob("*.yaml"))])
def test_what_small_parts_once_broke_is_built_and_sound(name):
    """A mesh on a narrow part; an overlap wider than its seam is long; a sliver marked out; a film
    laid first in the section; a piece longer than a page; a slot marked out, a cut that ends on the
    stock's edge; a core without a crease inside the net line; an insert written after a film that
    goes over it; letters of a piece, cut off by the frame, beside the head of the page: the name
    says what it was."""
    tally = Tally()
    with manner("small"):
        attempt("part.yaml", {**FILES, "part.yaml": (CASES / f"{name}.yaml").read_bytes()},
                "small", tally)  # fmt: skip
    assert tally.sound == 1 and tally.unproved == 0


@pytest.mark.slow
def test_small_parts_are_refused_or_built_and_verify():
    tally = run(30, seed=4_000_001, depth="small")
    assert tally.failures == []
    assert tally.sound > 5, tally
