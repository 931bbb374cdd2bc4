"""Layers become pieces: regions, developments, splices, core panels, marks and zones."""

from plybook.laminate.layup import lay_up

__all__ = ["lay_up"]
