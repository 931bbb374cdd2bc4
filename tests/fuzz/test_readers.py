"""A short run of each reader; `python -m tests.fuzz.readers` runs as many cases as wanted."""

import pytest

from tests.fuzz import readers

COUNT = {"scalars": 60, "dxf": 30, "csv": 60, "record": 60, "plan": 30, "proof": 30}


@pytest.mark.parametrize("reader", readers.READERS)
def test_what_is_read_is_read_or_refused(reader):
    tally = readers.run(reader, COUNT.get(reader, 150), seed=30_001)
    assert tally.failures == [] and tally.cases


def test_a_failure_and_a_costly_case_would_be_told(monkeypatch):
    """The fuzzer itself: what must not happen is counted, with its seed."""

    def broken(dice):
        return dice.random() < 0.5 and 1 / 0

    monkeypatch.setitem(readers.READERS, "broken", broken)
    monkeypatch.setattr(readers, "LONGEST_S", -1.0)
    tally = readers.run("broken", 20, seed=1)
    assert any("ZeroDivisionError" in said for said in tally.failures)
    assert sum("takes" in said for said in tally.failures) == 20
