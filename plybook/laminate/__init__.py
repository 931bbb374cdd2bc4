"""Layers become pieces: regions, developments, splices, core panels, marks and zones."""

from typing import Any

__all__ = ["lay_up"]


def __getattr__(name: str) -> Any:
    """`lay_up` on first use: it loads all of the geometry, its neighbours here do not."""
    if name == "lay_up":
        from plybook.laminate.layup import lay_up

        return lay_up
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
