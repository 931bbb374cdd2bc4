"""Which files a spec depends on, and whether their contents have changed.

Editors save in many ways: in place, or a new file renamed over the old one. So nothing is held
open and no file times are trusted: the content behind each name is hashed, again and again.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from plybook.diagnostics import PlybookError
from plybook.outside import Outside, sha256

LARGEST_BYTES = 50_000_000


class Asking(Outside):
    """The outside world, with a note of every file that was asked for, there or not."""

    def __init__(self, limits: Mapping[str, float] | None = None) -> None:
        super().__init__(limits)
        self.asked: set[Path] = set()

    def read(self, path: Path, limit_bytes: int) -> bytes:
        self.asked.add(Path(path))
        return super().read(path, limit_bytes)


def fingerprint(paths: Iterable[Path], outside: Outside) -> dict[Path, str]:
    """The hash of each file's content, "" where there is none to be read."""
    found = {}
    for path in sorted(paths):
        try:
            found[path] = sha256(outside.read(path, LARGEST_BYTES))
        except PlybookError:
            found[path] = ""
    return found
