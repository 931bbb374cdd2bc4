"""The files of a folder against its manifest."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path

from plybook.verify.report import Report

MANIFEST = "manifest.json"
LARGEST_FILE_BYTES = 512 * 2**20
LARGEST_MANIFEST_BYTES = 16 * 2**20


def read_files(folder: Path, report: Report) -> dict[str, bytes]:
    """Every file the manifest lists, read once, with size and hash compared.

    Files that are not listed are named, not judged.
    """
    try:
        path = folder / MANIFEST
        if path.is_symlink() or not path.is_file():  # a pipe would be waited for
            raise OSError("not a regular file")
        if path.stat().st_size > LARGEST_MANIFEST_BYTES:
            raise OSError("too large")
        listing = json.loads(path.read_bytes())
        entries = {str(e["name"]): (int(e["bytes"]), str(e["sha256"])) for e in listing["files"]}
    except (OSError, ValueError, KeyError, TypeError, RecursionError, OverflowError) as wrong:
        report.fault(MANIFEST, f"cannot be read: {wrong}")
        return {}
    files: dict[str, bytes] = {}
    for name, (size, digest) in entries.items():
        path = folder / name
        if ".." in Path(name).parts or Path(name).is_absolute():
            report.fault(name, "the manifest names a file outside the folder")
            continue
        try:
            if path.is_symlink() or not path.is_file():
                raise OSError("not a regular file")
            if path.stat().st_size > LARGEST_FILE_BYTES:
                raise OSError("too large")
            data = path.read_bytes()
        except OSError as wrong:
            report.fault(name, f"cannot be read: {wrong}")
            continue
        if len(data) != size:
            report.fault(name, f"has {len(data)} bytes, the manifest says {size}")
        elif hashlib.sha256(data).hexdigest() != digest:
            report.fault(name, "is not what was written: its hash differs from the manifest")
        else:
            report.proved("files as written, by size and SHA-256")
        files[name] = data
    strangers = sorted(_names(folder) - set(entries) - {MANIFEST})
    if strangers:
        report.unproved.append(
            f"{len(strangers)} files that plybook did not write, for example {strangers[0]}"
        )
    return files


def _names(folder: Path) -> set[str]:
    return {
        Path(root, name).relative_to(folder).as_posix()
        for root, _, names in os.walk(folder)
        for name in names
    }
