"""Single files on the disk: written whole, or left as they were."""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

from plybook.diagnostics import OutputError, error

NEW = ".plybook-new-"  # what is not yet in its place begins with this


def replace_file(path: Path, data: bytes, follow: bool = False) -> None:
    """Write one file by rename, keeping the former until the new one is complete.

    Args:
        path: the file.
        data: its new content.
        follow: where the path is a link, the file it leads to is written, not the link; only for
            paths that were proved to stay where they may.

    Raises:
        OutputError: the file could not be written; the former one is untouched.
    """
    with told(path):
        real = Path(os.path.realpath(path)) if follow else path
        temporary = staged(real, data)
        try:
            os.replace(temporary, real)
        except BaseException:
            with suppress(OSError):
                os.unlink(temporary)
            raise


def replace_files(files: Mapping[Path, bytes]) -> None:
    """Write several files, links followed: all contents first, then the renames in their order.

    Raises:
        OutputError: one could not be written; all are as they were, unless a rename failed, which
            in a folder that a file was just written to it does not.
    """
    ready: list[tuple[Path, Path]] = []
    try:
        for path, data in files.items():
            with told(path):
                real = Path(os.path.realpath(path))
                ready.append((staged(real, data), real))
        while ready:
            temporary, real = ready[0]
            with told(real):
                os.replace(temporary, real)
            del ready[0]
    finally:
        for temporary, _ in ready:
            with suppress(OSError):
                os.unlink(temporary)


def staged(path: Path, data: bytes) -> Path:
    """The new content in a file beside its place, always of the same name: what a run that was
    cut short has left is taken away by the next. What may be done with the file stays."""
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        facts = os.lstat(path)
        if stat.S_ISDIR(facts.st_mode):  # no file can take its place
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
        mode = stat.S_IMODE(facts.st_mode) if stat.S_ISREG(facts.st_mode) else 0o644
    except FileNotFoundError:
        mode = 0o644
    temporary = staged_name(path)
    with suppress(FileNotFoundError):
        os.unlink(temporary)
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    handle = os.open(temporary, flags, 0o600)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.chmod(temporary, mode)
    except BaseException:
        with suppress(OSError):
            os.unlink(temporary)
        raise
    return temporary


def staged_name(path: Path) -> Path:
    """Where the new content of a file is written before it takes its place."""
    return path.with_name(f"{NEW}{path.name}")


def new_file(path: Path, data: bytes) -> None:
    """Write a file that does not exist yet.

    Raises:
        OutputError: something of that name is there already, or it could not be written.
    """
    with told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
            handle = os.open(path, flags, 0o644)
        except FileExistsError:
            raise OutputError(
                error(
                    "file-exists",
                    f"{path} is there already and is left as it is",
                    "choose another name, or move it away",
                )
            ) from None
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
        except BaseException:
            with suppress(OSError):
                os.unlink(path)
            raise


@contextmanager
def told(path: Path) -> Iterator[None]:
    """Turn what the system refuses into one finding."""
    try:
        yield
    except OutputError:
        raise
    except OSError as trouble:
        where = trouble.filename or path
        raise OutputError(
            error(
                "cannot-write",
                f"{where} could not be written: {reason(trouble)}",
                "what was there is untouched; free the place or choose another with --out",
            )
        ) from trouble


def reason(trouble: OSError) -> str:
    return {
        errno.ENOSPC: "the disk is full",
        errno.EROFS: "the disk is read-only",
        errno.EACCES: "no permission to write there",
        errno.EPERM: "no permission to write there",
        errno.EEXIST: "a file stands where a folder is needed",
        errno.ENOTDIR: "a file stands where a folder is needed",
        errno.ENAMETOOLONG: "the name is too long for this disk",
    }.get(trouble.errno or 0, trouble.strerror or str(trouble))
