"""`plybook record`: a record exported from the booklet, held against its plan and printed."""

from __future__ import annotations

import argparse
from pathlib import Path

from plybook.commands.common import DONE, SPEC_WRONG, Progress, tell
from plybook.diagnostics import Severity
from plybook.terminal import put

HELP = "check a record exported from the booklet against its plan and write the as-built book"
EXAMPLE = "plybook record TN-420-A.json --plan out/TN-420"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("record", type=Path, metavar="RECORD", help="file exported by the booklet")
    parser.add_argument(
        "--plan", type=Path, required=True, metavar="DIR", help="folder of the build it was kept by"
    )
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="where the folder <part>-as-built is written; beside that of the build if not said",
    )
    parser.add_argument("--paper", choices=("a4", "letter"), default="a4")
    parser.add_argument(
        "--seal", metavar="CODE", help="the seal written on paper at the bench; it must be the same"
    )
    parser.add_argument("--no-book", action="store_true", help="check only; write nothing")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.builtfolder import read_as_plan, read_plan
    from plybook.record import LIMIT_BYTES, compare, read_record
    from plybook.write.folder import commit, with_manifest

    outside = arguments.outside
    record = read_record(outside.read(arguments.record, LIMIT_BYTES), str(arguments.record))
    plan = read_plan(arguments.plan, outside)
    findings = compare(record, plan, arguments.seal)
    folder = None
    if not arguments.no_book:
        with read_as_plan(arguments.plan):
            name, files = _files(arguments, record, plan, findings)
        out = arguments.out or arguments.plan.resolve().parent
        commit(out, {name: with_manifest(files, {"folder": name})})
        folder = out / name
    tell(findings, arguments)
    stops = sum(f.severity is Severity.ERROR for f in findings)
    if arguments.format != "json":
        open_points = sum(f.severity is Severity.WARNING for f in findings)
        put(f"{plan['part']['number']}: {_counted(stops, 'stop')}, "
            f"{_counted(open_points, 'open point')}")  # fmt: skip
        if folder:
            put(folder)
    return SPEC_WRONG if stops else DONE


def _files(arguments: argparse.Namespace, record, plan, findings) -> tuple[str, dict[str, bytes]]:
    """The folder's name and what is written into it."""
    from plybook.names import file_name
    from plybook.record import as_built, builders_log, log_rows
    from plybook.write.book_html import book_html
    from plybook.write.book_pdf import book_pdf
    from plybook.write.tables import csv_bytes

    book = as_built(record, plan, findings, arguments.paper)
    log = builders_log(record, plan, arguments.paper)
    files = {
        "as-built.pdf": book_pdf(book),
        "as-built.html": book_html(book),
        "builders-log.pdf": book_pdf(log),
        "builders-log.csv": csv_bytes(*log_rows(record, plan)),
    }
    return f"{file_name(plan['part']['number'])}-as-built", files


def _counted(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"
