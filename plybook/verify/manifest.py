"""The files of a folder against its manifest."""

from __future__ import annotations

import hashlib
import json
import os
import re
from collections.abc import Collection, Iterable, Sequence
from pathlib import Path

from plybook import __version__
from plybook.verify.drawings import file_name
from plybook.verify.layouts import SHARED
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


# key -> kinds of value; anything else has no place in a manifest
_KEYS = {"files", "folder", "parts", "plybook"}
_PART_KEYS, _SPEC_KEYS = {"number", "revision", "spec"}, {"file", "sha256"}
_ENTRY_KEYS = {"name", "bytes", "sha256"}
_SHA256 = re.compile("[0-9a-f]{64}")
ALONE = ("booklet.html", "booklet.pdf", "cutplan.pdf", "labels.pdf", "plan.json", "poster.pdf",
         "table.html", "templates-fullsize.pdf", "templates-roll.pdf", "templates.pdf")  # fmt: skip
_POSTER = re.compile(r"poster-[1-9]\d?\.svg")  # of each of its sheets
TEMPLATES = ("dxf", "svg")  # of each piece
TABLES = ("bag_cuts", "checks", "kits", "pieces", "placements", "quantities", "resin",
          "setout", "stiffness", "stock")  # fmt: skip
OF_SET = ("cutplan.pdf", "tables/kits.csv", "tables/placements.csv", "tables/purchases.csv",
          "tables/stock.csv")  # fmt: skip


def check_manifest(
    manifest: dict, plans: Sequence[dict], stocks: Iterable[str], alone: bool, report: Report,
    beside: Collection[str] = (),
) -> None:
    """What a manifest says beside sizes and hashes.

    Args:
        manifest: as data.
        plans: of its parts, in any order.
        stocks: ids of the layouts drawn in the folder.
        alone: whether it is the folder of one part, not of a set.
        report: takes what is found.
        beside: names of files that such a folder has too.
    """
    parts = manifest.get("parts", [])
    spec = [row for part in parts for row in part.get("spec", [])]
    good = (
        set(manifest) == _KEYS
        and all(set(part) == _PART_KEYS and part["spec"] for part in parts)
        and all(set(row) == _SPEC_KEYS and _SHA256.fullmatch(row["sha256"]) for row in spec)
        and all(set(entry) == _ENTRY_KEYS for entry in manifest["files"])
    )
    report.expect(good, "manifests with nothing unaccounted for", MANIFEST,
                  "has other keys or other values than a manifest")  # fmt: skip
    own = {(plan["part"]["number"], plan["part"]["revision"]) for plan in plans}
    said = {(part.get("number"), part.get("revision")) for part in parts}
    report.expect(said == own, "manifests with the number and revision of their parts", MANIFEST,
                  f"names {sorted(map(str, said))}, not {sorted(map(str, own))}")  # fmt: skip
    if alone:
        number = plans[0]["part"]["number"]
        report.expect(manifest.get("folder") == number, "manifests with the name of their folder",
                      MANIFEST, f"names the folder {manifest.get('folder')!r}")  # fmt: skip
    made = manifest.get("plybook")
    report.expect(made == __version__, "manifests with the version that wrote the folder", MANIFEST,
                  f"was written by plybook {made}, this is {__version__}: verify it with that "
                  "one, or build it again")  # fmt: skip
    wanted = {f"cutplan/{file_name(stock)}.{kind}" for stock in stocks for kind in ("dxf", "svg")}
    if alone:
        tables = set(TABLES)
        if SHARED in plans[0]:  # which stands with the drawings in the folder of the set
            wanted, tables = set(), tables - {"stock", "kits"}
        wanted |= set(ALONE) | {f"tables/{name}.csv" for name in tables}
        wanted |= {f"templates/{file_name(piece['id'])}.{kind}" for piece in plans[0]["pieces"]
                   for kind in TEMPLATES}  # fmt: skip
    else:
        wanted |= set(OF_SET) | set(beside)
    listed = {entry["name"] for entry in manifest["files"]}
    more = sorted(name for name in listed - wanted if not (alone and _POSTER.fullmatch(name)))
    report.expect(not more, "manifests that list no other file", MANIFEST,
                  f"lists {more[:2]}, which no build has")  # fmt: skip


def _names(folder: Path) -> set[str]:
    return {
        Path(root, name).relative_to(folder).as_posix()
        for root, _, names in os.walk(folder)
        for name in names
    }
