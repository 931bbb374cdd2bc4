"""`plybook keep`: what is left after the cut goes back on the shelf, into the stock files."""

from __future__ import annotations

import argparse

from plybook.commands.common import DONE, Progress, out_argument, specs_argument
from plybook.terminal import put

HELP = "after the cut: take what was used out of the stock file and put left-overs into it"
EXAMPLE = "plybook keep specs/hatch.yaml --received 2026-06-01"


def arguments(parser: argparse.ArgumentParser) -> None:
    specs_argument(parser)
    out_argument(parser, "folder the parts were built into")
    parser.add_argument(
        "--received", default="", metavar="DATE", help="date written on new left-overs (2026-06-01)"
    )
    parser.add_argument("--show", action="store_true", help="only say what would change")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.build import read
    from plybook.marking import refuse_twins
    from plybook.shelfkeeping import changed_files
    from plybook.write.files import replace_file

    specs = [one.spec for one in read(arguments.specs, arguments.outside)]
    refuse_twins(specs)
    kept = changed_files(specs, arguments.out, arguments.outside, _date(arguments.received))
    if not arguments.show:
        for path, text in kept.files.items():
            replace_file(path, text.encode())
    for line in kept.words or ("nothing of the shelf was used",):
        put(line)
    for path in kept.files:
        put(f"{'would change' if arguments.show else 'changed'}: {path}")
    return DONE


def _date(text: str) -> str:
    from datetime import date

    from plybook.diagnostics import SpecError, error

    if not text:
        return ""
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError:
        raise SpecError(
            error("not-a-date", f"`{text}` is no date", "write it as 2026-06-01")
        ) from None
