"""`plybook check`: what a spec was read as, and everything that is wrong with it."""

from __future__ import annotations

import argparse
import sys

from plybook.commands.common import DONE, SPEC_WRONG, Progress, say, specs_argument, tell
from plybook.diagnostics import Severity

HELP = "read the specs, show the stack and print every finding; write nothing"
EXAMPLE = "plybook check specs/hatch.yaml"


def arguments(parser: argparse.ArgumentParser) -> None:
    specs_argument(parser)
    parser.add_argument(
        "--quick",
        action="store_true",
        help="only what can be said without laying the part up: under a second, but nothing of"
        " zones, seams, trade rules or curvature",
    )


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.build import check, read, without_twins
    from plybook.readout import picture, zone_lines

    shown = not arguments.quiet and arguments.format != "json"
    read_specs = read(arguments.specs, arguments.outside)
    if shown:
        for one in without_twins(read_specs):
            say(picture(one.spec) + "\n")
        sys.stdout.flush()
    parts, findings = check(read_specs, progress, arguments.quick)
    progress.clear()
    for part in parts:
        if shown and part.laminate.zones:
            unit = part.spec.part.units
            say(f"{part.number}: {zone_lines(part.laminate.zones, unit)}\n")
    tell(findings, arguments)
    wrong = any(f.severity is Severity.ERROR for f in findings)
    if not wrong and arguments.format != "json":
        open_ones = sum(f.severity is Severity.WARNING and not f.acknowledged for f in findings)
        warnings = f"{open_ones} warning{'' if open_ones == 1 else 's'}"
        quick = ", as far as a quick look tells" if arguments.quick else ""
        print(f"sound: {', '.join(str(p) for p in arguments.specs)}: {warnings}{quick}")
    return SPEC_WRONG if wrong else DONE
