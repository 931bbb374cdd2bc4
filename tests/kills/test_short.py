"""A few kills of each command; `python -m tests.kills.run` makes as many as are asked for."""

import sys

import pytest

from tests.kills.run import JOBS, trials


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there are no forks on Windows")
def test_killed_at_any_moment_nothing_is_lost_or_mixed(tmp_path):
    tally = trials(tmp_path, 2 * len(JOBS), seed=1)
    assert tally.killed and tally.failures == []
