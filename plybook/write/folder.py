"""Folders of files on the disk, all of them or none.

Each folder is made complete beside its target under a temporary name. Then a journal says which
are to be exchanged, and from that moment the commit is decided: each is exchanged with its target
in one system call, and whoever comes after a run that was cut short ends what its journal says.
So whoever looks sees the former build or the new one of each folder, and after the next run the
new ones of all.

`manifest.json` says which files are ours, by their hash. All others are a stranger's: they are
carried over untouched, and where one stands in the way of a file to be written the commit is
refused. One of ours that was changed since is kept beside the new one. Nothing that lies in the
output is trusted: names read from it go through `plybook.names`, and only ordinary files are read.
"""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import shutil
import signal
import stat
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from plybook.diagnostics import OutputError, error
from plybook.names import folder_name, trouble
from plybook.write.files import NEW, reason, replace_file, staged, told

MANIFEST = "manifest.json"
LOCK_WAIT_S = 10.0
_OLD, _JOURNAL = ".plybook-old-", ".plybook-commit.json"
_LARGEST = 500_000_000  # bytes of a file of ours
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


@dataclass(frozen=True)
class Committed:
    """What a commit did beside its folders.

    Attributes:
        unkept: files beside that could not be written, with the reason.
        aside: files of former builds that were changed since, under the names they have now.
    """

    unkept: tuple[tuple[Path, str], ...] = ()
    aside: tuple[Path, ...] = ()


def commit(
    out: Path,
    folders: Mapping[str, Mapping[str, bytes]],
    beside: Mapping[Path, bytes] | None = None,
) -> Committed:
    """Write several folders under `out`, all or none.

    Args:
        out: the output directory; made when missing.
        folders: folder name -> relative file name (with "/") -> content, manifest included.
        beside: files elsewhere that go with them, replaced in the same commit. One that cannot
            be written does not stop it.

    Raises:
        OutputError: not a directory, no room, no right, a stranger's file in the way, or another
            build holds the directory; everything is then as before.
    """
    with told(out):
        out.mkdir(parents=True, exist_ok=True)
        with _locked(out):
            _recover(out)
            made: list[tuple[Path, Path]] = []
            aside: list[Path] = []
            ready: list[tuple[Path, Path]] = []
            unkept: list[tuple[Path, str]] = []
            try:
                for name, files in folders.items():
                    target = out / folder_name(name)
                    fresh, changed = _make(out, target, files)
                    made.append((fresh, target))
                    aside += [target / one for one in changed]
                for path, data in (beside or {}).items():
                    try:
                        ready.append((staged(path, data), path))
                    except OSError as trouble:
                        unkept.append((path, reason(trouble)))
                with _uninterrupted():
                    _decide(out, made)
                    for temporary, path in ready:
                        os.replace(temporary, path)
                    ready.clear()
                    _exchange_all(made)
                    _journal(out).unlink()
            finally:
                for temporary, _ in ready:
                    with suppress(OSError):
                        os.unlink(temporary)
                for fresh, target in made:
                    _clear(fresh, target)
    return Committed(tuple(unkept), tuple(aside))


def _exchange_all(made: list[tuple[Path, Path]]) -> None:
    """Exchange every folder; where one cannot be, those before it go back."""
    done: list[tuple[Path, Path, bool]] = []
    try:
        for fresh, target in made:
            was_there = target.exists()
            _exchange(fresh, target)
            done.append((fresh, target, was_there))
    except OSError:
        for fresh, target, was_there in reversed(done):
            if was_there:
                _exchange(fresh, target)
            else:
                os.rename(target, fresh)
        raise


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


def _plain(path: Path, most: int = _LARGEST) -> bytes | None:
    """Content of an ordinary file that is no link and no larger than `most`; None for others."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOFOLLOW", 0)
    try:
        handle = os.open(path, flags | getattr(os, "O_BINARY", 0))
    except OSError:
        return None
    with os.fdopen(handle, "rb") as stream:
        facts = os.fstat(handle)
        if not stat.S_ISREG(facts.st_mode) or facts.st_size > most:
            return None
        return stream.read(most)


def _manifest(folder: Path) -> dict:
    """The manifest of a folder as it says, believed in nothing; {} where there is none."""
    try:
        found = json.loads(_plain(folder / MANIFEST) or b"{}")
    except (ValueError, RecursionError):
        return {}
    return found if isinstance(found, dict) else {}


def _ours(folder: Path) -> tuple[set[str], set[str]]:
    """Files of a folder that a build has written, its manifest among them, and those of them that
    were changed since: a name counts only with the hash that stands beside it."""
    ours, changed = {MANIFEST} if _plain(folder / MANIFEST) is not None else set(), set()
    listing = _manifest(folder).get("files")
    for entry in listing if isinstance(listing, list) else []:
        if not isinstance(entry, dict) or not isinstance(entry.get("name"), str):
            continue
        parts = PurePosixPath(entry["name"]).parts
        if not parts or any(part in ("/", "..") for part in parts):
            continue
        data = _plain(folder.joinpath(*parts))
        if data is not None:
            same = sha256(data) == entry.get("sha256")
            (ours if same else changed).add("/".join(parts))
    return ours, changed - ours


def _walk(folder: Path) -> Iterator[str]:
    for root, dirs, names in os.walk(folder):
        dirs.sort()
        for name in sorted(names) + [d for d in dirs if os.path.islink(os.path.join(root, d))]:
            yield Path(root, name).relative_to(folder).as_posix()


def _make(out: Path, target: Path, files: Mapping[str, bytes]) -> tuple[Path, list[str]]:
    """The new folder, complete with the strangers' files of the old one, under another name; and
    what ours that were changed since are called in it."""
    if target.is_symlink() or (target.exists() and not target.is_dir()):
        raise OutputError(
            error(
                "in-the-way",
                f"{target} is not a folder",
                "move it away, or choose another place with --out",
            )
        )
    fresh = Path(tempfile.mkdtemp(prefix=NEW, dir=out))
    try:
        os.chmod(fresh, 0o755)
        ours, changed = _ours(target)
        here = list(_walk(target)) if target.exists() else []
        strangers = [name for name in here if name not in ours and name not in changed]
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
        aside = []
        for name in sorted(changed):
            aside.append(_free(f"{name}.changed", {*files, *here, *aside}))
            _carry(target / name, fresh / aside[-1])
    except BaseException:
        shutil.rmtree(fresh, ignore_errors=True)
        raise
    return fresh, aside


def _free(name: str, taken: set[str]) -> str:
    if name not in taken:
        return name
    return next(f"{name}-{k}" for k in range(2, len(taken) + 3) if f"{name}-{k}" not in taken)


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
        if not (old.is_symlink() or old.is_file()):  # a pipe or a device has nothing to copy
            raise
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
        known, _ = _ours(fresh)
        for name in _walk(fresh):
            if name not in known and not os.path.lexists(target / name):
                with suppress(OSError):
                    _carry(fresh / name, target / name)
    shutil.rmtree(fresh, ignore_errors=True)


# ---------------------------------------------------------------- the journal


def _journal(out: Path) -> Path:
    return out / _JOURNAL


def _decide(out: Path, made: list[tuple[Path, Path]]) -> None:
    """Write down what is going to be exchanged, in one piece."""
    rows = [
        {"fresh": fresh.name, "folder": target.name, "manifest": _mark(fresh)}
        for fresh, target in made
    ]
    replace_file(_journal(out), json.dumps(rows).encode())  # a link in its place is replaced


def _mark(folder: Path) -> str:
    """What tells a folder that is to be exchanged from the one it is exchanged with."""
    return sha256(_plain(folder / MANIFEST) or b"")


def _decided(out: Path) -> Iterator[tuple[Path, Path]]:
    """Folders of a journal that were not exchanged any more."""
    try:
        rows = json.loads(_plain(_journal(out)) or b"[]")
    except (ValueError, RecursionError):
        return
    for row in rows if isinstance(rows, list) else []:
        if not isinstance(row, dict) or not all(isinstance(v, str) for v in row.values()):
            continue
        name, folder = row.get("fresh", ""), row.get("folder", "")
        if not name.startswith(NEW) or trouble(name[1:]) or trouble(folder):
            continue
        fresh, target = out / name, out / folder
        if _is_folder(fresh) and not target.is_symlink() and _mark(fresh) == row.get("manifest"):
            yield fresh, target


def _is_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _recover(out: Path) -> None:
    """Mend what an interrupted run left: end what it had decided, drop what it had not."""
    for fresh, target in list(_decided(out)):
        _exchange(fresh, target)
    with suppress(OSError):
        _journal(out).unlink()
    for aside in sorted(out.glob(_OLD + "*")):
        name = aside.name[len(_OLD) :]
        if trouble(name) or not _is_folder(aside):
            continue
        if (out / name).exists():
            _clear(aside, out / name)
        else:
            os.rename(aside, out / name)
    for stale in sorted(out.glob(NEW + "*")):
        if not _is_folder(stale):
            with suppress(OSError):
                stale.unlink()
            continue
        former = _manifest(stale).get("folder")
        if isinstance(former, str) and not trouble(former):
            _clear(stale, out / former)
        else:
            shutil.rmtree(stale, ignore_errors=True)
