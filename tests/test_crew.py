"""Work handed to helpers comes back whole and in order, whatever becomes of them."""

import os
import signal

import numpy as np
import pytest

from plybook import crew

PROCESSORS = [1, 2]


@pytest.fixture(params=PROCESSORS, ids=["one processor", "two"])
def processors(request, monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda pid: set(range(request.param)))
    return request.param


def test_what_one_helper_makes_comes_one_by_one_and_in_order(processors):
    made = crew.one_by_one(lambda: (("one", bytes(100_000) * k) for k in range(5)))
    assert [(name, len(much)) for name, much in made] == [("one", 100_000 * k) for k in range(5)]
    assert next(made, "no more") == "no more"


def test_what_two_things_have_in_common_is_one_here_too(processors):
    def work():
        common = np.arange(1000.0)
        for number in range(3):
            yield number, common, [common]

    made = list(crew.one_by_one(work))
    assert [number for number, *_ in made] == [0, 1, 2]
    assert all(one is made[0][1] and held[0] is one for _, one, held in made)
    assert np.array_equal(made[2][1], np.arange(1000.0))


def test_a_helper_goes_on_while_nobody_reads(processors):
    """More than a pipe holds lies ready before the first is asked for."""
    here = os.getpid()
    made = crew.one_by_one(lambda: ((os.getpid(), bytes(1_000_000)) for _ in range(3)))
    if processors > 1:
        os.waitid(os.P_PID, made.process, os.WEXITED | os.WNOWAIT)
    makers = {maker for maker, _ in made}
    assert (here in makers) == (processors == 1) and len(makers) == 1


def test_what_a_helper_leaves_undone_is_made_here(processors):
    here = os.getpid()

    def work():
        for number in range(4):
            if number == 2 and os.getpid() != here:
                os.kill(os.getpid(), signal.SIGKILL)
            yield number

    assert list(crew.one_by_one(work)) == [0, 1, 2, 3]


def test_a_failure_is_raised_here_after_what_was_made_before(processors):
    def work():
        yield 1
        raise ValueError("the second")

    made = crew.one_by_one(work)
    assert next(made) == 1
    with pytest.raises(ValueError, match="the second"):
        next(made)


@pytest.mark.parametrize("niceness", [0, 5])
def test_one_answer_is_made_once_and_given_as_often_as_asked(processors, niceness):
    answer = crew.beside(lambda: object, niceness)
    assert answer() is object and answer() is object


def test_a_failure_of_one_answer_is_raised_here(processors):
    def work():
        raise KeyError("gone")

    with pytest.raises(KeyError):
        crew.beside(work)()


def test_a_helper_nobody_waits_for_is_ended(processors):
    made = crew.one_by_one(lambda: iter(int, 1))  # without end
    assert next(made) == 0
    if processors == 1:
        return
    helper = made.process
    del made
    with pytest.raises(ProcessLookupError):
        os.kill(helper, 0)


def test_a_helper_that_inherits_another_leaves_it_alone(processors):
    """What a helper makes with the answers of another, begun before it, ends with the helper."""
    first = crew.one_by_one(lambda: iter(range(3)))

    def second():
        nonlocal first
        first = None
        return "second"

    assert crew.beside(second)() == "second"
    if processors > 1:
        assert list(first) == [0, 1, 2]
