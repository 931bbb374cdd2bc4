"""Time a search may take, and the wish to stop.

The first Ctrl-C asks every search to end with the best it has; the second ends the program.
"""

from __future__ import annotations

import signal
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace


class Budget:
    """Wall time from now. Parts of a budget stop with the whole."""

    def __init__(self, seconds: float, whole: Budget | None = None):
        self._until = time.monotonic() + seconds
        self._whole = whole
        self._stopped = False

    @property
    def stopped(self) -> bool:
        return self._stopped or (self._whole is not None and self._whole.stopped)

    def stop(self) -> None:
        """End the search with the best it has."""
        self._stopped = True

    def left_s(self) -> float:
        """Seconds left, 0 when stopped or over."""
        return 0.0 if self.stopped else max(0.0, self._until - time.monotonic())

    def part(self, seconds: float) -> Budget:
        """A budget of its own that ends when this one is stopped."""
        return Budget(seconds, self)


@dataclass(frozen=True)
class Search:
    """How pieces are searched a place for on a roll.

    Attributes:
        gap_mm: clear distance between pieces.
        budget: wall time to search.
        seed: of the search.
        progress: called with each better length.
    """

    gap_mm: float
    budget: Budget
    seed: int = 0
    progress: Callable[[float], None] | None = None

    def part(self, seconds: float) -> Search:
        """The same for so much of its time."""
        return replace(self, budget=self.budget.part(seconds))

    def left_s(self) -> float:
        """Seconds left."""
        return self.budget.left_s()

    def quietly(self) -> Search:
        """The same, with nobody told: for lengths that say nothing of the whole."""
        return replace(self, progress=None)

    def tell(self, length_mm: float) -> None:
        """Tell of a better length."""
        if self.progress:
            self.progress(length_mm)


@contextmanager
def stops_on_interrupt(budget: Budget) -> Iterator[None]:
    """Within this, the first Ctrl-C stops the budget instead of raising KeyboardInterrupt."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    former = signal.getsignal(signal.SIGINT)

    def first(_number, _frame) -> None:
        budget.stop()
        signal.signal(signal.SIGINT, former)

    signal.signal(signal.SIGINT, first)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, former)
