"""`plybook verify`: read a built folder again with code that shares nothing with the writers."""

from __future__ import annotations

import argparse
import json
from pathlib import Path

from plybook.commands.common import DONE, SPEC_WRONG, Progress
from plybook.terminal import put

HELP = "read a built folder again and say what is proved"
EXAMPLE = "plybook verify out/TN-420"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("folder", type=Path, metavar="DIR", help="folder of one part")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.diagnostics import SpecError, error
    from plybook.verify import verify_folder

    if not arguments.folder.is_dir():
        what = "is no folder" if arguments.folder.exists() else "does not exist"
        raise SpecError(
            error(
                "no-such-folder",
                f"{arguments.folder} {what}",
                "name the folder that `plybook build` has written, or `out` for all of them",
            )
        )
    report = verify_folder(arguments.folder, progress)
    progress.clear()
    if arguments.format == "json":
        put(json.dumps(report.as_dict(), indent=1), lines=True)
    else:
        put(report.as_text(), lines=True)
    return DONE if report.sound else SPEC_WRONG
