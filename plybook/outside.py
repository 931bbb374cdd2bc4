"""The outside world: files and the environment, through one small object.

Everything the tool reads comes through `Outside`, so a test can hand in a double and nothing else
touches the disk. A file is read once, whole, and only when it is an ordinary file.
"""

from __future__ import annotations

import hashlib
import os
import re
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from plybook.diagnostics import Place, SpecError, error

_WRONG_KIND = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a pipe"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
    (stat.S_ISSOCK, "a socket"),
)


class Outside:
    """Files and environment of this machine.

    Args:
        limits: limits the person at the command line has raised, by name.
    """

    def __init__(self, limits: Mapping[str, float] | None = None) -> None:
        self.limits: dict[str, float] = dict(limits or {})
        self._read: dict[str, bytes] = {}

    def lines(self, file: str) -> list[str] | None:
        """Lines of a file that was read already, for showing them; None when it was not.

        Args:
            file: its name as it stands in a place.
        """
        content = self._read.get(Path(file).as_posix())
        if content is None:
            return None
        text = content.removeprefix(b"\xef\xbb\xbf").decode("utf-8", "replace")
        return re.split("\r\n|\r|\n", text)

    def read(self, path: Path, limit_bytes: int) -> bytes:
        """Read one ordinary file, once.

        Args:
            path: the file; symbolic links are followed.
            limit_bytes: the largest size accepted.

        Returns:
            The whole content.

        Raises:
            SpecError: no such file, not an ordinary file, not readable, or larger than the limit.
        """
        place = Place(str(path), 0, 0)
        try:
            # without O_NONBLOCK, opening a pipe that nobody writes to would wait for ever
            handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | _binary())
        except FileNotFoundError:
            raise SpecError(
                error("no-such-file", f"there is no file {path}", "check the name", place)
            ) from None
        except (OSError, ValueError) as problem:
            if os.path.isdir(path):
                raise SpecError(_not_regular(path, "a folder", place)) from None
            reason = getattr(problem, "strerror", None) or str(problem)
            raise SpecError(
                error("unreadable", f"{path} cannot be read: {reason.lower()}", "", place)
            ) from None
        facts = os.fstat(handle)
        mode = facts.st_mode
        if not stat.S_ISREG(mode):
            os.close(handle)
            kind = next((word for is_kind, word in _WRONG_KIND if is_kind(mode)), "special")
            raise SpecError(_not_regular(path, kind, place))
        with os.fdopen(handle, "rb") as stream:
            try:
                # what grows while it is read is cut off, and no buffer is larger than the file
                content = stream.read(min(limit_bytes, max(facts.st_size, 1 << 20)) + 1)
            except OSError as problem:
                raise SpecError(
                    error("unreadable", f"{path} cannot be read: {problem.strerror}", "", place)
                ) from None
        if len(content) > limit_bytes:
            raise SpecError(
                error(
                    "file-too-large",
                    f"{path} is larger than {limit_bytes // 1000} kB",
                    "split it, or simplify what it holds",
                    place,
                )
            )
        self._read[Path(path).as_posix()] = content
        return content

    def remember(self, other: Outside) -> None:
        """Take over the lines of files that a helper's `Outside` has read."""
        self._read.update(other._read)

    def real(self, path: Path) -> Path:
        """The path with every symbolic link followed (it need not exist)."""
        try:
            return Path(os.path.realpath(path))
        except (OSError, ValueError):
            return path

    def env(self, name: str) -> str:
        """An environment variable, "" when unset."""
        return os.environ.get(name, "")


class Overlaid(Outside):
    """The outside world as it would be with other contents of some files.

    Args:
        below: the outside world as it is.
        contents: by path; links to these files are followed.
    """

    def __init__(self, below: Outside, contents: Mapping[Path, bytes]) -> None:
        super().__init__(below.limits)
        self._below = below
        self._contents = {below.real(path): data for path, data in contents.items()}

    def read(self, path: Path, limit_bytes: int) -> bytes:
        content = self._contents.get(self._below.real(path))
        if content is None or len(content) > limit_bytes:
            return self._below.read(path, limit_bytes)
        return content

    def real(self, path: Path) -> Path:
        return self._below.real(path)

    def env(self, name: str) -> str:
        return self._below.env(name)


@dataclass
class Shelf(Outside):
    """A double for tests: files by path, an environment of its own.

    Attributes:
        files: content by path as asked for (`str(path)`).
        variables: environment.
        reads: the paths read so far, in order.
    """

    files: dict[str, bytes]
    variables: dict[str, str] | None = None

    def __post_init__(self) -> None:
        super().__init__()
        self.reads: list[str] = []

    def read(self, path: Path, limit_bytes: int) -> bytes:
        self.reads.append(str(path))
        place = Place(str(path), 0, 0)
        if str(path) not in self.files:
            raise SpecError(
                error("no-such-file", f"there is no file {path}", "check the name", place)
            )
        content = self.files[str(path)]
        if len(content) > limit_bytes:
            raise SpecError(
                error(
                    "file-too-large", f"{path} is larger than {limit_bytes // 1000} kB", "", place
                )
            )
        self._read[Path(path).as_posix()] = content
        return content

    def real(self, path: Path) -> Path:
        return Path(os.path.normpath(Path("/shelf") / path))

    def env(self, name: str) -> str:
        return (self.variables or {}).get(name, "")


def sha256(content: bytes) -> str:
    """Hex digest of a file's content."""
    return hashlib.sha256(content).hexdigest()


def _not_regular(path: Path, kind: str, place: Place):
    return error(
        "not-a-file", f"{path} is {kind}, not a regular file", "name the YAML file itself", place
    )


def _binary() -> int:
    return getattr(os, "O_BINARY", 0)
