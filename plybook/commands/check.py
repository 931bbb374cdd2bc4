"""`plybook check`: what a spec was read as, and everything that is wrong with it.

Only rooms that the work enters are loaded, and reading goes on beside the loading: a check is
run again and again while a spec is written.
"""

from __future__ import annotations

import argparse
import gc
import sys
from typing import TYPE_CHECKING

from plybook.commands.common import DONE, Progress, specs_argument, tell
from plybook.diagnostics import Severity
from plybook.terminal import put

if TYPE_CHECKING:
    from plybook.checking import Checked

HELP = "show the stack and all that a build says before it looks for layouts; write nothing"
EXAMPLE = "plybook check specs/hatch.yaml"


def arguments(parser: argparse.ArgumentParser) -> None:
    specs_argument(parser)
    parser.add_argument(
        "--quick",
        action="store_true",
        help="only what can be said from the text: nothing of zones, seams, trade rules,"
        " curvature, steps, resin or stock",
    )


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    gc.disable()  # a check lives for a second; looking for garbage would only cost time
    try:
        return _check(arguments, progress)
    finally:
        gc.enable()
        gc.freeze()  # nor at the end


def _check(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.build import read, without_twins
    from plybook.checking import check, read_beside
    from plybook.finishing import Found, finish
    from plybook.readout import picture, zone_lines

    shown = not arguments.quiet and arguments.format != "json"
    parts: tuple[Checked, ...] = ()
    reader = read if arguments.quick else read_beside
    read_specs = reader(arguments.specs, arguments.outside)
    if shown:
        for one in without_twins(read_specs):
            put(picture(one.spec) + "\n\n", lines=True)
        sys.stdout.flush()
    if arguments.quick:
        told = finish([Found(one.spec, one.findings) for one in read_specs], complete=False)
    else:
        parts, told = check(read_specs, arguments.outside.limits, progress)
    progress.clear()
    for part in parts:
        if shown and part.zones:
            own = part.spec.part
            put(f"{own.number}: {zone_lines(part.zones, own.units)}\n\n", lines=True)
    tell(told.findings, arguments)
    if told.refusal is not None:
        return told.refusal.exit_code
    if arguments.format != "json":
        warnings = [f for f in told.findings if f.severity is Severity.WARNING]
        accepted = sum(bool(f.acknowledged) for f in warnings)
        open_ones = len(warnings) - accepted
        words = f"{open_ones} warning{'' if open_ones == 1 else 's'}"
        words += f" and {accepted} accepted" if accepted else ""
        quick = ", as far as a quick look tells" if arguments.quick else ""
        put(f"sound: {', '.join(str(p) for p in arguments.specs)}: {words}{quick}")
    return DONE
