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
    parser.add_argument(
        "--again", action="store_true", help="the parts were kept before and are cut once more"
    )
    parser.add_argument("--show", action="store_true", help="only say what would change")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.build import read
    from plybook.marking import refuse_twins
    from plybook.shelfkeeping import begun, changed_files, receipt, refuse_kept_before
    from plybook.write.files import replace_files

    outside, out = arguments.outside, arguments.out
    specs = [one.spec for one in read(arguments.specs, outside)]
    refuse_twins(specs)
    if unfinished := begun(specs, out, outside):
        replace_files(unfinished)
        for path in unfinished:
            put(f"changed: {path}, as a run that was cut short had begun")
        return DONE
    if not arguments.again:
        refuse_kept_before(specs, out, outside)
    kept = changed_files(specs, out, outside, _date(arguments.received))
    if not arguments.show:
        path, content = receipt(specs, out, outside, kept.files)
        # the list first: cut short in between, a second run refuses and counts nothing twice
        replace_files({path: content, **kept.files})
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
