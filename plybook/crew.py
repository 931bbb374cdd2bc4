"""The same work on several parts, side by side where the machine has processors to spare.

The results come back in order and do not depend on how many helped. A finding raised in a helper
is raised here; Ctrl-C and the end of the main process end the helpers at once.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
from collections.abc import Callable, Sequence
from functools import cache
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
    if hands < 2:
        return [work(one) for one in given]
    import multiprocessing

    if multiprocessing.current_process().daemon:
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


def beside(work: Callable[[], Made]) -> Callable[[], Made]:
    """Begin a piece of work in a helper, where the machine has a processor to spare.

    Args:
        work: makes something that can be pickled.

    Returns:
        Answers with what was made, waiting for it if need be. Where the helper failed the work is
        done here, and raises here.
    """
    if not sys.platform.startswith("linux") or _processors() < 2:
        return cache(work)
    reader, writer = os.pipe()
    former = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        helper = os.fork()
        if not helper:
            try:
                _settle_in()
                with os.fdopen(writer, "wb") as out:
                    out.write(_done(work))
            finally:
                os._exit(0)
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, former)
    os.close(writer)

    @cache
    def answer() -> Made:
        with os.fdopen(reader, "rb") as found:
            sent = found.read()
        os.waitpid(helper, 0)
        return pickle.loads(sent) if sent else work()

    return answer


def _done(work: Callable[[], Any]) -> bytes:
    """What `beside` sends back; nothing where the work fails."""
    try:
        return pickle.dumps(work(), pickle.HIGHEST_PROTOCOL)
    except Exception:
        return b""


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
    end_with_parent(signal.SIGKILL)


def end_with_parent(how: int = signal.SIGTERM) -> None:
    """Have the system end this process when the thread that started it has ended (Linux only)."""
    if sys.platform.startswith("linux"):
        import ctypes

        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, how)
