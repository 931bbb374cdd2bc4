"""The one module that writes to disk: a folder of files, all of them or none.

A folder is made complete beside its target under a temporary name and then exchanged with it in
one system call, so that whoever looks, at any moment, sees the former build or the new one. Where
the system has no such call the former folder is set aside first and brought back by the next run
if the two renames were cut in half.

`manifest.json` says which files are ours. Files it does not list are a stranger's: they are carried
over untouched, and where one stands in the way of a file to be written the commit is refused.
"""

from __future__ import annotations

import ctypes
import errno
import hashlib
import json
import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path, PurePosixPath

from plybook.diagnostics import OutputError, error

MANIFEST = "manifest.json"
LOCK_WAIT_S = 10.0
_NEW, _OLD = ".plybook-new-", ".plybook-old-"
_AT_FDCWD, _RENAME_EXCHANGE = -100, 2


def sha256(data: bytes) -> str:
    """Hex digest of some bytes."""
    return hashlib.sha256(data).hexdigest()


def with_manifest(files: Mapping[str, bytes], facts: Mapping[str, object]) -> dict[str, bytes]:
    """The same files and a manifest that lists each with size and hash, last."""
    listing = [
        {"name": name, "bytes": len(files[name]), "sha256": sha256(files[name])}
        for name in sorted(files)
    ]
    body = json.dumps({**facts, "files": listing}, indent=1, sort_keys=True, ensure_ascii=False)
    return {**files, MANIFEST: body.encode() + b"\n"}


def commit(out: Path, folders: Mapping[str, Mapping[str, bytes]]) -> None:
    """Write several folders under `out`; each is replaced whole or left as it was.

    Args:
        out: the output directory; made when missing.
        folders: folder name -> relative file name (with "/") -> content, manifest included.

    Raises:
        OutputError: not a directory, no room, no right, a stranger's file in the way, or another
            build holds the directory; everything is then as before.
    """
    with _told(out):
        out.mkdir(parents=True, exist_ok=True)
        with _locked(out):
            _recover(out)
            made: list[tuple[Path, Path]] = []
            try:
                for name, files in folders.items():
                    target = out / _plain_name(name)
                    made.append((_make(out, target, files), target))
                with _uninterrupted():
                    for fresh, target in made:
                        _exchange(fresh, target)
            finally:
                for fresh, target in made:
                    _clear(fresh, target)


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Hold back Ctrl-C and a request to end for the few milliseconds that folders are exchanged."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    former = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, former)


def replace_file(path: Path, data: bytes) -> None:
    """Write one file by rename, keeping the former until the new one is complete.

    Raises:
        OutputError: the file could not be written; the former one is untouched.
    """
    with _told(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(prefix=_NEW, dir=path.parent)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(name, 0o644)
            os.replace(name, path)
        except BaseException:
            with suppress(OSError):
                os.unlink(name)
            raise


def new_file(path: Path, data: bytes) -> None:
    """Write a file that does not exist yet.

    Raises:
        OutputError: something of that name is there already, or it could not be written.
    """
    with _told(path):
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
def _told(path: Path) -> Iterator[None]:
    """Turn what the system refuses into one finding."""
    try:
        yield
    except OutputError:
        raise
    except OSError as trouble:
        where = trouble.filename or path
        reason = {
            errno.ENOSPC: "the disk is full",
            errno.EROFS: "the disk is read-only",
            errno.EACCES: "no permission to write there",
            errno.EPERM: "no permission to write there",
            errno.EEXIST: "a file stands where a folder is needed",
            errno.ENOTDIR: "a file stands where a folder is needed",
            errno.ENAMETOOLONG: "the name is too long for this disk",
        }.get(trouble.errno or 0, trouble.strerror or str(trouble))
        raise OutputError(
            error(
                "cannot-write",
                f"{where} could not be written: {reason}",
                "the former build is untouched; free the place or choose another with --out",
            )
        ) from trouble


@contextmanager
def _locked(out: Path) -> Iterator[None]:
    """Hold the output directory; the system lets go of it when the process ends."""
    try:
        import fcntl
    except ImportError:  # no advisory locks: builds are then kept apart by the renames alone
        yield
        return
    handle = os.open(out, os.O_RDONLY)
    try:
        until = time.monotonic() + LOCK_WAIT_S
        while True:
            try:
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                break
            except BlockingIOError:
                if time.monotonic() > until:
                    raise OutputError(
                        error(
                            "out-in-use",
                            f"another build is writing to {out}",
                            "wait for it to end, or choose another folder with --out",
                        )
                    ) from None
                time.sleep(0.05)
        yield
    finally:
        os.close(handle)


def _plain_name(name: str) -> str:
    if not name or name in (".", "..") or "/" in name or "\\" in name or name.startswith("."):
        raise OutputError(error("bad-folder-name", f"{name!r} cannot be the name of a folder"))
    return name


def _ours(folder: Path) -> set[str]:
    """Files of a folder that its manifest lists, and the manifest."""
    try:
        listing = json.loads((folder / MANIFEST).read_bytes())["files"]
        return {str(PurePosixPath(entry["name"])) for entry in listing} | {MANIFEST}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _walk(folder: Path) -> Iterator[str]:
    for root, dirs, names in os.walk(folder):
        dirs.sort()
        for name in sorted(names) + [d for d in dirs if os.path.islink(os.path.join(root, d))]:
            yield Path(root, name).relative_to(folder).as_posix()


def _make(out: Path, target: Path, files: Mapping[str, bytes]) -> Path:
    """The new folder, complete with the strangers' files of the old one, under another name."""
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise OutputError(
            error(
                "in-the-way",
                f"{target} is not a folder",
                "move it away, or choose another place with --out",
            )
        )
    fresh = Path(tempfile.mkdtemp(prefix=_NEW, dir=out))
    try:
        os.chmod(fresh, 0o755)
        ours = _ours(target)
        strangers = [name for name in _walk(target) if name not in ours] if target.exists() else []
        blocked = _blocked(strangers, files)
        if blocked:
            raise OutputError(
                error(
                    "in-the-way",
                    f"{target / blocked} was not written by plybook and stands in the way",
                    "move it away, or choose another place with --out",
                )
            )
        for name, data in files.items():
            path = fresh / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        for name in strangers:
            _carry(target / name, fresh / name)
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    return fresh


def _blocked(strangers: list[str], files: Mapping[str, bytes]) -> str:
    """A stranger's file that has the name of one of ours, or of a folder we need; "" if none."""
    taken = set(files)
    for name in files:
        taken.update(str(p) for p in PurePosixPath(name).parents)
    for name in strangers:
        parents = {str(p) for p in PurePosixPath(name).parents}
        if name in taken or parents & set(files):
            return name
    return ""


def _carry(old: Path, new: Path) -> None:
    new.parent.mkdir(parents=True, exist_ok=True)
    try:
        os.link(old, new, follow_symlinks=False)
    except OSError:
        shutil.copy2(old, new, follow_symlinks=False)


def _exchange(fresh: Path, target: Path) -> None:
    """Put the new folder in the place of the old; the old one stays under the other name."""
    if not target.exists():
        os.rename(fresh, target)
        return
    if sys.platform.startswith("linux"):
        libc = ctypes.CDLL(None, use_errno=True)
        if hasattr(libc, "renameat2"):
            names = os.fsencode(fresh), os.fsencode(target)
            if not libc.renameat2(_AT_FDCWD, names[0], _AT_FDCWD, names[1], _RENAME_EXCHANGE):
                return
    aside = fresh.with_name(_OLD + target.name)
    os.rename(target, aside)
    os.rename(fresh, target)
    os.rename(aside, fresh)


def _clear(fresh: Path, target: Path) -> None:
    """Remove what stands under the temporary name, but nothing that exists only there."""
    if not fresh.exists():
        return
    if target.exists():
        known = _ours(fresh)
        for name in _walk(fresh):
            if name not in known and not os.path.lexists(target / name):
                with suppress(OSError):
                    _carry(fresh / name, target / name)
    shutil.rmtree(fresh, ignore_errors=True)


def _recover(out: Path) -> None:
    """Mend what an interrupted run left: bring a set-aside folder back, drop unfinished ones."""
    for aside in sorted(out.glob(_OLD + "*")):
        target = out / aside.name[len(_OLD) :]
        if target.exists():
            _clear(aside, target)
        else:
            os.rename(aside, target)
    for stale in sorted(out.glob(_NEW + "*")):
        target_of_stale = _former_name(stale, out)
        if target_of_stale is not None:
            _clear(stale, target_of_stale)
        else:
            shutil.rmtree(stale, ignore_errors=True)


def _former_name(stale: Path, out: Path) -> Path | None:
    """The folder an interrupted exchange has already replaced, told by its manifest."""
    try:
        folder = json.loads((stale / MANIFEST).read_bytes())["folder"]
        return out / _plain_name(folder)
    except (OSError, ValueError, KeyError, TypeError, OutputError):
        return None
