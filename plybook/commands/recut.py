"""`plybook recut`: a piece was spoiled on the table and is cut again from what is left."""

from __future__ import annotations

import argparse
from pathlib import Path

from plybook.commands.common import DONE, Progress, out_argument
from plybook.terminal import put

HELP = "a piece was spoiled: find room to cut it again without moving the others"
EXAMPLE = "plybook recut specs/hatch.yaml A1"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("spec", type=Path, metavar="SPEC", help="the part's spec (YAML)")
    parser.add_argument("piece", metavar="PIECE", help="id of the piece, as on its template")
    parser.add_argument("--copy", type=int, default=1, metavar="N", help="which copy, the first")
    parser.add_argument(
        "--part", default="", metavar="NUMBER", help="part number, where the spec has both hands"
    )
    out_argument(parser, "folder the part was built into")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.build import read
    from plybook.recutting import recut_folder
    from plybook.write.folder import commit

    specs = {one.spec.part.number: one.spec for one in read([arguments.spec], arguments.outside)}
    spec = specs.get(arguments.part) if arguments.part else next(iter(specs.values()))
    if spec is None:
        raise _no_such_part(arguments.part, list(specs))
    again = recut_folder(spec, arguments.piece, arguments.copy, arguments.out, arguments.outside)
    commit(arguments.out, {again.folder: again.files})
    unit = again.layout.unit
    put(f"{again.piece} is cut again from {unit.id} ({unit.material})")
    put(arguments.out / again.folder)
    return DONE


def _no_such_part(number: str, known: list[str]):
    from plybook.diagnostics import UsageError, error

    return UsageError(
        error(
            "no-such-part", f"the spec makes no part `{number}`", f"it makes {' and '.join(known)}"
        )
    )
