"""`plybook verify`: read a built folder again with code that shares nothing with the writers."""

from __future__ import annotations

import argparse
from pathlib import Path

from plybook.commands.common import DONE, SPEC_WRONG, Progress

HELP = "read a built folder again and say what is proved"
EXAMPLE = "plybook verify out/TN-420"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder of one part")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.verify import verify_folder

    report = verify_folder(arguments.folder, progress)
    progress.clear()
    print(report.as_text())
    return DONE if report.sound else SPEC_WRONG
