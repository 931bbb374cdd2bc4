"""`plybook compare`: what changed between two builds."""

from __future__ import annotations

import argparse
from pathlib import Path

from plybook.commands.common import DONE, Progress
from plybook.terminal import put

HELP = "say what changed between two builds: pieces, steps, and what is cut already and now wrong"
EXAMPLE = "plybook compare out-rev-a/TN-420 out/TN-420 --out changes"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("old", type=Path, metavar="DIR_A", help="folder of the part as it was")
    parser.add_argument("new", type=Path, metavar="DIR_B", help="folder of the part as it is")
    parser.add_argument(
        "--record",
        type=Path,
        metavar="FILE",
        help="record exported from the booklet of DIR_A: which pieces are cut or laid already",
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="also write the words and a drawing of each altered piece there",
    )


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    import json

    from plybook.builtfolder import read_as_plan, read_plan
    from plybook.compare import as_dict, as_text, changes_between
    from plybook.write.folder import commit, with_manifest

    outside = arguments.outside
    old, new = read_plan(arguments.old, outside), read_plan(arguments.new, outside)
    with read_as_plan(arguments.old, arguments.new):
        done = _done(arguments.record, old, outside) if arguments.record else None
        changes = changes_between(old, new, done)
        as_json = arguments.format == "json"
        told = json.dumps(as_dict(changes), indent=1) if as_json else as_text(changes)
        name, files = _files(changes, old, new) if arguments.out else ("", {})
    put(told, lines=True)
    if arguments.out:
        commit(arguments.out, {name: with_manifest(files, {"folder": name})})
        if not as_json:
            put(arguments.out / name)
    return DONE


def _done(path: Path, plan, outside) -> set[str]:
    from plybook.compare.changes import pieces_done
    from plybook.record import LIMIT_BYTES, read_record

    record = read_record(outside.read(path, LIMIT_BYTES), path.name)
    return pieces_done(plan, [id for id in record.fields if record.done(id)])


def _files(changes, old, new) -> tuple[str, dict[str, bytes]]:
    """The folder's name and what is written into it."""
    from plybook.compare import as_dict, as_text, overlay
    from plybook.names import file_name
    from plybook.plan import to_json
    from plybook.write.svg import svg_bytes

    before = {p["id"]: p for p in old["pieces"]}
    after = {p["id"]: p for p in new["pieces"]}
    files = {
        f"pieces/{file_name(one.id)}.svg": svg_bytes(
            overlay(before[one.was], after[one.id]), reference=False
        )
        for one in changes.altered
    }
    files["changes.txt"] = as_text(changes).encode() + b"\n"
    files["changes.json"] = to_json(as_dict(changes))
    revisions = f"{changes.old['revision']}-to-{changes.new['revision']}"
    return file_name(f"{changes.new['number']}-{revisions}-changes"), files
