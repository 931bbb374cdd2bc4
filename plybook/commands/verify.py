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
    from plybook.diagnostics import UsageError, error
    from plybook.verify import verify_folder

    folder = arguments.folder
    what = "is no folder" if folder.exists() else "does not exist"
    if folder.is_dir():
        what = "holds no build"
    if not any((*folder.glob("manifest.json"), *folder.glob("*/manifest.json"),
                *folder.glob("plan.json"), *folder.glob("*/plan.json"))):  # fmt: skip
        raise UsageError(
            error(
                "no-such-folder",
                f"{folder} {what}",
                "name the folder that `plybook build` has written, or `out` for all of them",
            )
        )
    report = verify_folder(folder, progress)
    progress.clear()
    if arguments.format == "json":
        put(json.dumps(report.as_dict(), indent=1), lines=True)
    else:
        put(report.as_text(), lines=True)
    return DONE if report.sound else SPEC_WRONG
