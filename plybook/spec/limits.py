"""Limits on a spec, all in one place, each with its reason.

A limit keeps a slip of the pen or a hostile file from costing minutes or gigabytes. None is a
statement about what a part may be; the command line can raise any of them by name.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Limit:
    """A named bound. `reason` is printed with the refusal."""

    name: str
    value: float
    reason: str


_ALL = (
    Limit("spec-bytes", 2_000_000, "a part spec is a page or two of text"),
    Limit("data-bytes", 20_000_000, "an outline or a section is a few thousand points"),
    Limit("depth", 24, "the deepest sensible spec is about ten levels"),
    Limit("nodes", 200_000, "each value in the file costs memory"),
    Limit("value-length", 20_000, "no value of a spec fills a page"),
    Limit("text-length", 2_000, "notes are read standing at the bench"),
    Limit("id-length", 32, "an id is written on the piece and read from two metres"),
    Limit("files", 40, "materials, stock and shop need a handful of files"),
    Limit("findings", 200, "nobody reads more at one sitting"),
    Limit("layers", 250, "two hundred and fifty layers are a hand's breadth of cloth"),
    Limit("code-length", 400, "longer laminate codes are better written as several groups"),
    Limit("code-nesting", 4, "sets within sets are misread at the bench"),
    Limit("stations", 200, "a face is lofted through every station"),
    Limit("leaves", 12, "every layer is parted at each break, and each leaf sees all others"),
    Limit("section-points", 5_000, "a section file has at most a few hundred points"),
    Limit("outline-points", 20_000, "every later step walks the outline"),
    Limit("drawing-entities", 500_000, "an outline is drawn by a few thousand lines at most"),
    Limit("edges", 200, "each side has a name, a trim and a line in the book"),
    Limit("laid-points", 100_000, "each layer walks the whole outline with its holes"),
    Limit("holes", 400, "each is cut in every layer and held against the others"),
    Limit("taper", 100, "around the point that a face comes to, its pattern cannot be laid flat"),
    Limit("part-mm", 30_000, "longer than any part made by hand in one piece"),
    Limit("edge-mm", 1_000, "cloth and mould run on by a hand's breadth or two"),
    Limit("roll-mm", 5_000_000, "no roll, coil or bar is that long"),
    Limit("least-mm", 0.001, "nothing smaller can be cut"),
    Limit("region-parts", 200, "a region is described by a few pieces"),
    Limit("seams", 100, "each parts the panels on its way and is held against all others"),
    Limit("region-chain", 16, "each outline is grown from the one before, corner by corner"),
    Limit("rod-rows", 200, "rods side by side"),
    Limit("pieces", 1_000, "the cut plan's time and memory grow with their square"),
    Limit("zones", 3_000, "each is a stack to tell from its neighbours, in the book's table"),
    Limit("template-sheets", 10_000, "four boxes of paper, and many minutes of drawing"),
    Limit("cups", 2_000, "nobody mixes more in a stage; see the rate of wetting and the pot life"),
    Limit("stock-points", 400, "a left-over has a few dozen corners, found with a tape"),
    Limit("stock-items", 2_000, "the shelf of a small shop"),
)

DEFAULTS: dict[str, Limit] = {limit.name: limit for limit in _ALL}


class Limits:
    """The limits in force: the defaults, and what the command line raised.

    Args:
        changed: limit name to its new value.

    Raises:
        KeyError: a name that is no limit.
    """

    def __init__(self, changed: dict[str, float] | None = None):
        for name in changed or {}:
            DEFAULTS[name]  # an unknown name is the caller's mistake
        self._changed = dict(changed or {})

    @property
    def changed(self) -> tuple[tuple[str, float], ...]:
        """Name and value of each limit that is not the default, by name."""
        return tuple(sorted(self._changed.items()))

    def __getitem__(self, name: str) -> float:
        return self._changed.get(name, DEFAULTS[name].value)

    def why(self, name: str) -> str:
        """The help line of a refusal: the reason and how to raise the limit."""
        return f"{DEFAULTS[name].reason}; raise it with --limit {name}=N if it is meant"


USUAL = Limits()  # nothing raised
