"""Nesting: which piece is cut where from which roll, sheet or bar."""

from plybook.nest.memory import LayoutMemory
from plybook.nest.needs import CutJob

__all__ = ["CutJob", "LayoutMemory", "plan_cuts"]


def __getattr__(name: str):
    if name == "plan_cuts":  # late: it brings in the packers
        from plybook.nest.plan import plan_cuts

        return plan_cuts
    raise AttributeError(name)
