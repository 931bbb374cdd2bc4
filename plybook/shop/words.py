"""Sentences with named facts: the words of `trade/` become the words for one part.

Terms:
    fact: a named value: a piece of text, a whole number, a list of names, yes/no, or a figure,
        which checks and waits may use but no sentence may print.
    scope: the facts in force at one place, and the lists that can be walked from there.

The forms of a placeholder, and there are no others:

    {name}               the text; a number as it is; a list as "a, b and c"
    {name:piece|pieces}  the first word when the fact is one (or a list of one), else the second

A condition (`when`) is a fact's name or "not <name>"; several must all hold. A fact holds when it
is not empty, not zero and not False.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

Fact = str | float | bool | tuple[str, ...]

_HOLE = re.compile(r"\{([a-z][a-z0-9_]*)(?::([^{}|]*)\|([^{}|]*))?\}")


class WordsError(ValueError):
    """A sentence of `trade/` asks for a fact that does not exist, or is not well formed."""


@dataclass(frozen=True)
class Scope:
    """Facts by name, and lists of scopes by the word used in `for_each`."""

    facts: Mapping[str, Fact]
    lists: Mapping[str, tuple[Scope, ...]] = field(default_factory=dict)

    def inside(self, item: Scope) -> Scope:
        """This scope with an item of one of its lists laid over it."""
        return Scope({**self.facts, **item.facts}, {**self.lists, **item.lists})

    def walk(self, name: str) -> tuple[Scope, ...]:
        """The scopes of one list; this scope itself, once, for the empty name."""
        if not name:
            return (self,)
        if name not in self.lists:
            raise WordsError(f"there is no list {name!r}; there are: {', '.join(self.lists)}")
        return tuple(self.inside(item) for item in self.lists[name])

    def holds(self, conditions: Iterable[str]) -> bool:
        """Whether every condition holds."""
        for condition in conditions:
            wanted, name = True, condition
            if condition.startswith("not "):
                wanted, name = False, condition[4:]
            if bool(self._fact(name)) is not wanted:
                return False
        return True

    def say(self, sentence: str) -> str:
        """The sentence with every placeholder filled.

        Raises:
            WordsError: an unknown fact, or a brace that is no placeholder.
        """
        bare = _HOLE.sub("", sentence)
        if "{" in bare or "}" in bare:
            raise WordsError(f"a brace that is no placeholder in: {sentence}")
        return _HOLE.sub(self._fill, sentence)

    def number(self, value: str | float) -> float:
        """A figure given as such or by the name of a fact."""
        fact = self._fact(value) if isinstance(value, str) else value
        if isinstance(fact, tuple):
            raise WordsError(f"{value!r} is a list and no figure")
        return float(fact)

    def _fact(self, name: str) -> Fact:
        try:
            return self.facts[name]
        except KeyError:
            raise WordsError(f"there is no fact {name!r}") from None

    def _fill(self, match: re.Match[str]) -> str:
        name, one, many = match.groups()
        value = self._fact(name)
        if one is not None:
            count = len(value) if isinstance(value, tuple) else value
            if isinstance(count, str | bool):
                raise WordsError(f"{name!r} cannot be counted")
            return one if count == 1 else many
        if isinstance(value, bool):
            raise WordsError(f"{name!r} is yes or no and cannot be printed")
        if isinstance(value, float):
            raise WordsError(f"{name!r} is a figure without a unit and cannot be printed")
        if isinstance(value, tuple):
            return listed(value)
        return str(value)


def listed(names: Iterable[str], last: str = "and") -> str:
    """ "a", "a and b", "a, b and c"."""
    names = tuple(names)
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} {last} {names[-1]}"


def counted(number: int, one: str, many: str = "") -> str:
    """ "1 panel", "3 panels"."""
    return f"{number} {one if number == 1 else many or one + 's'}"


def minutes_text(seconds: float) -> str:
    """A duration as said at the bench: "25 min", "1 h 30 min", "8 h"."""
    minutes = int(round(seconds / 60))
    hours, rest = divmod(minutes, 60)
    if minutes < 100:
        return f"{minutes} min"
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def degrees_text(angle_deg: float) -> str:
    """A fibre angle: "0°", "+45°", "-45°", "90°"."""
    angle = round(angle_deg, 1) + 0.0
    number = f"{angle:.1f}".rstrip("0").rstrip(".")
    return f"+{number}°" if 0 < angle < 90 else f"{number}°"
