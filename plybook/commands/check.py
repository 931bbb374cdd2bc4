"""`plybook check`: everything that is wrong with a spec, and what it was read as."""

from __future__ import annotations

import argparse

from plybook.commands.common import DONE, SPEC_WRONG, Progress, specs_argument, tell
from plybook.diagnostics import Severity

HELP = "read the specs and print every finding; write nothing"
EXAMPLE = "plybook check specs/hatch.yaml"


def arguments(parser: argparse.ArgumentParser) -> None:
    specs_argument(parser)


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.build import check

    findings = check(arguments.specs, arguments.outside, progress)
    progress.clear()
    tell(findings, arguments)
    wrong = any(f.severity is Severity.ERROR for f in findings)
    if not wrong and arguments.format != "json":
        open_ones = sum(f.severity is Severity.WARNING and not f.acknowledged for f in findings)
        warnings = f"{open_ones} warning{'' if open_ones == 1 else 's'}"
        print(f"sound: {', '.join(str(p) for p in arguments.specs)}: {warnings}")
    return SPEC_WRONG if wrong else DONE
