"""The same work on several parts, side by side where the machine has processors to spare.

The results come back in order and do not depend on how many helped. A finding raised in a helper
is raised here; Ctrl-C and the end of the main process end the helpers at once.
"""

from __future__ import annotations

import ctypes
import gc
import multiprocessing
import os
import signal
import sys
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")
_PR_SET_PDEATHSIG = 1
_inherited: list[tuple[Callable[[Any], Any], Sequence[Any]]] = []


def each(work: Callable[[Given], Made], given: Sequence[Given]) -> list[Made]:
    """`[work(one) for one in given]`, by several processes when that pays.

    Args:
        work: a function of a module (it is sent by name).
        given: what it gets, the longest first; like its results, values that can be pickled.

    Raises:
        Whatever `work` raises, for the first of `given` that fails.
    """
    hands = min(len(given), _processors())
    if hands < 2 or multiprocessing.current_process().daemon:
        return [work(one) for one in given]
    if not sys.platform.startswith("linux"):
        with multiprocessing.get_context("spawn").Pool(hands, _settle_in) as pool:
            return pool.map(work, given, chunksize=1)
    _inherited.append((work, given))  # helpers that are forks have it without being sent it
    # Ctrl-C in the midst of a fork would be lost
    former = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        with multiprocessing.get_context("fork").Pool(hands, _settle_in) as pool:
            signal.pthread_sigmask(signal.SIG_SETMASK, former)
            return pool.map(_nth, range(len(given)), chunksize=1)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, former)
        _inherited.pop()


def _nth(number: int) -> Any:
    work, given = _inherited[-1]
    return work(given[number])


def _processors() -> int:
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _settle_in() -> None:
    """Leave Ctrl-C to the main process, and go when it goes. A helper lives for one piece of
    work, so looking for garbage would only cost time."""
    gc.disable()
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    signal.signal(signal.SIGTERM, signal.SIG_DFL)
    if hasattr(signal, "pthread_sigmask"):
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGINT})
    if sys.platform.startswith("linux"):
        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
