"""Standard laminate orientation code: `[0/±45/90]s` to the list of ply angles.

Read here (rules of the code as in TM 1-1500-204-23-11, paragraphs 5-7): plies are listed from the
first laid, angles separated by `/`, within -90..+90; a subscript after an angle or a set in
brackets repeats it; `±` lays the plus ply first, `∓` the minus ply first; a subscript after the
closing bracket repeats the whole; S means symmetric (the half is listed), T total. The centre ply
of an odd symmetric laminate, over-lined on paper, is marked with `~` (or a combining overline)
behind its angle: `[0/90~]s` is 0, 90, 0.

ASCII forms: `+-45`, `-+45`, `(+/-)45`, `(-/+)45`; repeats `0_2` or `0₂`; `(0/90)2` or `(0/90)_2`;
suffix `]s`, `]2s`, `]_2s`, `]t`.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

_SUBSCRIPTS = str.maketrans("₀₁₂₃₄₅₆₇₈₉ₛₜ−–", "0123456789st--")
_TOKEN = re.compile(
    r"\s*(?:(?P<pm>±|∓|\(\s*\+\s*/\s*-\s*\)|\(\s*-\s*/\s*\+\s*\)|\+\s*/\s*-|-\s*/\s*\+|\+-|-\+)?"
    r"(?P<angle>[-+]?\d+(?:\.\d+)?)\s*(?:°|deg)?(?P<over>~|\u0305|\u00af)?"
    r"|(?P<open>[\[(])|(?P<close>[\])])|(?P<slash>/)|(?P<sub>_\s*\d+))",
    re.ASCII,
)


class CodeError(ValueError):
    """A laminate code that cannot be read. `position` counts characters from 0."""

    def __init__(self, message: str, position: int, help: str = ""):
        super().__init__(message)
        self.message, self.position, self.help = message, position, help


@dataclass
class _Item:
    """One ply or one set, already expanded; `centre` marks the over-lined ply."""

    angles: list[float]
    centre: bool = False


def expand(code: str, most_plies: int = 1000, nesting: int = 4, length: int = 400) -> list[float]:
    """Expand a laminate code.

    Args:
        code: for example "[0/±45/90]s".
        most_plies: refuse longer laminates.
        nesting: how deep sets may stand within sets.
        length: characters at most.

    Returns:
        Angles in degrees, first laid first, each within -90..+90.

    Raises:
        CodeError: with the position of what cannot be read.
    """
    if len(code) > length:
        raise CodeError(
            f"the code has {len(code)} characters, expected at most {length}",
            0,
            "write it as several groups",
        )
    text, origin = _ascii(code)
    try:
        return _Reader(text, most_plies, nesting).laminate()
    except CodeError as problem:
        problem.position = origin[min(problem.position, len(text))]
        raise


def _ascii(code: str) -> tuple[str, list[int]]:
    """Subscripts as `_2`, and where each character came from."""
    text, origin = "", []
    for n, mark in enumerate(code):
        if mark in "₀₁₂₃₄₅₆₇₈₉" and (n == 0 or code[n - 1] not in "₀₁₂₃₄₅₆₇₈₉"):
            text, origin = text + "_", [*origin, n]
        text, origin = text + mark.translate(_SUBSCRIPTS), [*origin, n]
    return text, [*origin, len(code)]


class _Reader:
    def __init__(self, text: str, most: int, nesting: int):
        self.text, self.at, self.most, self.nesting = text, 0, most, nesting

    def laminate(self) -> list[float]:
        self._space()
        if not self._take("["):
            raise CodeError("a laminate code starts with `[`", self.at, "write it like [0/90]s")
        items = self._items("]", 1)
        repeat, symmetric = self._suffix()
        self._space()
        if self.at < len(self.text):
            raise CodeError(
                f"`{self.text[self.at :][:10]}` stands behind the code",
                self.at,
                "after `]` come a repeat, s or t",
            )
        centres = [n for n, item in enumerate(items) if item.centre]
        if centres and not symmetric:
            raise CodeError(
                "a centre ply is marked, but the code is not symmetric",
                0,
                "close it with ]s or drop the mark",
            )
        if centres and centres != [len(items) - 1]:
            raise CodeError(
                "the marked centre ply is not the last one listed",
                0,
                "the half of a symmetric code ends with its centre ply",
            )
        angles = [angle for item in items for angle in item.angles]
        if centres and repeat > 1:
            raise CodeError(
                "a marked centre ply and a repeat do not go together", 0, "write the half out"
            )
        self._limit(len(angles) * repeat * (2 if symmetric else 1))
        angles = angles * repeat
        if symmetric:
            angles += (angles[:-1] if centres else angles)[::-1]
        return angles

    def _items(self, closing: str, depth: int) -> list[_Item]:
        if depth > self.nesting:
            raise CodeError(
                f"sets stand more than {self.nesting} deep", self.at, "write some of them out"
            )
        items = [self._item(depth)]
        total = len(items[0].angles)
        while True:
            self._space()
            if self._take(closing):
                return items
            if self.at >= len(self.text):
                raise CodeError(
                    f"`{closing}` is missing at the end", self.at, 'write it like "[0/±45/90]s"'
                )
            if not self._take("/") and not self._take(","):
                raise CodeError(
                    f"expected `/` or `{closing}`, found `{self.text[self.at]}`",
                    self.at,
                    "angles are separated by /",
                )
            items.append(self._item(depth))
            total += len(items[-1].angles)
            self._limit(total)

    def _item(self, depth: int) -> _Item:
        self._space()
        start = self.at
        match = _TOKEN.match(self.text, self.at)
        if match and match["angle"] is not None:
            self.at = match.end()
            value = float(match["angle"])
            if not -90 <= value <= 90:
                help = f"write {((value + 90) % 180) - 90:g}"
                if value > 180:
                    help = _two_angles(match["angle"]) or "angles are written one by one: [0/45]"
                raise CodeError(f"angle {value:g} is outside -90 to 90", start, help)
            angles = self._pair(match["pm"], value, start)
            if match["over"] and len(angles) > 1:
                raise CodeError("one ply is the centre, not a pair", start)
            repeat = self._repeat(self.most)
            if len(angles) > 1 and repeat > 1:
                raise CodeError(
                    "a repeat behind a pair can be read two ways",
                    start,
                    f"write (±{value:g}){repeat}, or {value:g}_{repeat}/-{value:g}_{repeat}",
                )
            if match["over"] and repeat > 1:
                raise CodeError("the marked centre ply is one ply, not several", start)
            return _Item(angles * repeat, bool(match["over"]))
        if self._take("("):
            inner = self._items(")", depth + 1)
            if any(item.centre for item in inner):
                raise CodeError(
                    "the centre ply is marked inside a set", start, "take it out of the brackets"
                )
            repeat = self._repeat(self.most)
            symmetric = bool(re.match(r"[sS](?![a-zA-Z])", self.text[self.at :]))
            self.at += symmetric
            angles = [angle for item in inner for angle in item.angles]
            self._limit(len(angles) * repeat * 2)
            angles = angles * repeat
            return _Item(angles + angles[::-1] if symmetric else angles)
        if self.at >= len(self.text):
            raise CodeError("the code ends too early", self.at, "close it with ]")
        if self.text[self.at] in "])":
            raise CodeError("an angle is missing here", self.at)
        raise CodeError(
            f"expected an angle, found `{self.text[self.at]}`",
            self.at,
            "angles are numbers in degrees",
        )

    def _pair(self, sign: str | None, value: float, start: int) -> list[float]:
        if sign is None:
            return [value + 0.0]
        if value in (0, 90) or value < 0:
            raise CodeError(f"±{value:g} is not a pair of plies", start, "write the angle once")
        minus_first = sign == "∓" or sign.lstrip("( ").startswith("-")
        return [-value, value] if minus_first else [value, -value]

    def _repeat(self, most: int) -> int:
        match = re.match(r"\s*_?\s*([0-9]+)", self.text[self.at :])
        previous = self.text[self.at - 1 : self.at]
        if not match or ("_" not in match[0] and previous not in ")]°~g"):
            return 1
        self.at += match.end()
        repeat = int(match[1][:9])
        if not 1 <= repeat <= most:
            raise CodeError(f"repeat {repeat} is outside 1 to {most}", self.at - 1)
        return repeat

    def _suffix(self) -> tuple[int, bool]:
        repeat = self._repeat(self.most)
        match = re.match(r"\s*_?\s*([sStT]?)", self.text[self.at :])
        self.at += match.end() if match and match[1] else 0
        return repeat, bool(match and match[1].lower() == "s")

    def _limit(self, plies: int) -> None:
        if plies > self.most:
            raise CodeError(
                f"the code stands for more than {self.most} plies", 0, "check the repeats"
            )

    def _space(self) -> None:
        while self.at < len(self.text) and self.text[self.at].isspace():
            self.at += 1

    def _take(self, mark: str) -> bool:
        if self.text[self.at : self.at + 1] == mark:
            self.at += 1
            return True
        return False


def _two_angles(digits: str) -> str:
    """The edit where a `/` was left out between two angles, "" where that cannot be meant."""
    usual = ("0", "15", "22.5", "30", "45", "60", "90")
    for cut in range(1, len(digits)):
        if digits[:cut] in usual and digits[cut:] in usual:
            return f"did you mean {digits[:cut]}/{digits[cut:]}? a `/` stands between angles"
    return ""
