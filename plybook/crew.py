"""The same work on several parts, side by side where the machine has processors to spare.

The results come back in order and do not depend on how many helped. A finding raised in a helper
is raised here; Ctrl-C and the end of the main process end the helpers at once.
"""

from __future__ import annotations

import gc
import os
import pickle
import select
import signal
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache
from itertools import islice
from typing import Any, TypeVar

Given = TypeVar("Given")
Made = TypeVar("Made")
_PR_SET_PDEATHSIG = 1
_chores: list[Callable[[], object]] = []
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


def beside(work: Callable[[], Made], niceness: int = 0) -> Callable[[], Made]:
    """Begin a piece of work in a helper, where the machine has a processor to spare.

    Args:
        work: makes something that can be pickled.
        niceness: by how much it leaves the processors to what goes on meanwhile, and is waited for
            sooner, in steps of the system.

    Returns:
        Answers with what was made, waiting for it if need be. Where the helper failed the work is
        done here, and raises here.
    """
    if not _has_helpers():
        return cache(work)
    only = _Helper(lambda: iter([work()]), niceness)
    return cache(lambda: next(only))


def one_by_one(work: Callable[[], Iterable[Made]]) -> Iterator[Made]:
    """As `beside`, for work that makes one thing after the other: each is handed over at once, and
    the helper goes on with the next."""
    return _Helper(work, 0) if _has_helpers() else iter(work())


class _Helper(Iterator[Made]):
    """A forked process and what it makes, in order. It writes into memory that both share, so that
    it never waits for its reader; a pipe brings a 1 for each thing, and a 0 at the end. What
    several of them have in common is sent once, and they have it in common here too."""

    def __init__(self, work: Callable[[], Iterable[Made]], niceness: int):
        self._work = work
        self._rest: Iterator[Made] | None = None  # made here, after the helper failed
        self._count = 0
        self._owner = os.getpid()
        self._pipe, writer = os.pipe()
        self._shared = _Shared(os.memfd_create("made"))
        self._reader = pickle.Unpickler(self._shared)
        former = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            self.process = os.fork()
            if not self.process:
                try:
                    _settle_in()
                    os.nice(niceness)
                    pickler = pickle.Pickler(self._shared, pickle.HIGHEST_PROTOCOL)
                    for made in work():
                        pickler.dump(made)
                        os.write(writer, b"1")
                    os.write(writer, b"0")
                except Exception:
                    pass  # the end that is missing tells it
                finally:
                    os._exit(0)
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, former)
        os.close(writer)

    def __next__(self) -> Made:
        if self._rest is not None:
            return next(self._rest)
        while _chores and not select.select([self._pipe], [], [], 0)[0]:
            _chores.pop(0)()
        told = os.read(self._pipe, 1)
        if told == b"1":
            self._count += 1
            found: Made = self._reader.load()
            return found
        self._rest = iter(()) if told else islice(self._work(), self._count, None)
        return next(self._rest)

    def __del__(self) -> None:
        if os.getpid() != self._owner:  # inherited by another helper
            return
        os.close(self._pipe)
        os.close(self._shared.file)
        os.kill(self.process, signal.SIGKILL)
        os.waitpid(self.process, 0)


class _Shared:
    """A file that two processes have open, one to write and one to read; each has its own place."""

    def __init__(self, file: int):
        self.file, self._at = file, 0

    def write(self, content: bytes) -> int:
        written = os.pwrite(self.file, content, self._at)
        self._at += written
        return written

    def read(self, size: int) -> bytes:
        found = os.pread(self.file, size, self._at)
        self._at += len(found)
        return found

    def readinto(self, room: bytearray) -> int:
        count = os.preadv(self.file, [room], self._at)
        self._at += count
        return count

    def readline(self) -> bytes:
        raise ValueError("the format that is sent has no lines")


def meanwhile(chore: Callable[[], object]) -> None:
    """Do what will be needed, such as loading a library, when a helper has to be waited for; it
    may never come to that."""
    _chores.append(chore)


def _has_helpers() -> bool:
    return sys.platform.startswith("linux") and _processors() > 1


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
