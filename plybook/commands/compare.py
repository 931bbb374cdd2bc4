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

    from plybook.builtfolder import read_plan
    from plybook.compare import as_dict, as_text, changes_between

    outside = arguments.outside
    old, new = read_plan(arguments.old, outside), read_plan(arguments.new, outside)
    done = _done(arguments.record, old, outside) if arguments.record else None
    changes = changes_between(old, new, done)
    if arguments.format == "json":
        put(json.dumps(as_dict(changes), indent=1), lines=True)
    else:
        put(as_text(changes), lines=True)
    if arguments.out:
        folder = _write(arguments.out, changes, old, new)
        if arguments.format != "json":
            put(folder)
    return DONE


def _done(path: Path, plan, outside) -> set[str]:
    from plybook.compare.changes import pieces_done
    from plybook.record import LIMIT_BYTES, read_record

    record = read_record(outside.read(path, LIMIT_BYTES), path.name)
    return pieces_done(plan, [id for id in record.fields if record.done(id)])


def _write(out: Path, changes, old, new) -> Path:
    from plybook.compare import as_dict, as_text, overlay
    from plybook.names import file_name
    from plybook.plan import to_json
    from plybook.write.folder import commit, with_manifest
    from plybook.write.svg import svg_bytes

    before = {p["id"]: p for p in old["pieces"]}
    after = {p["id"]: p for p in new["pieces"]}
    files = {
        f"pieces/{file_name(one.id)}.svg": svg_bytes(
            overlay(before[one.id], after[one.id]), reference=False
        )
        for one in changes.altered
    }
    files["changes.txt"] = as_text(changes).encode() + b"\n"
    files["changes.json"] = to_json(as_dict(changes))
    revisions = f"{changes.old['revision']}-to-{changes.new['revision']}"
    name = file_name(f"{changes.new['number']}-{revisions}-changes")
    commit(out, {name: with_manifest(files, {"folder": name})})
    return out / name
