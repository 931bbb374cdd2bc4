"""What several commands share: exit codes, how findings are told, arguments that recur."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

from plybook.diagnostics import Finding
from plybook.terminal import put, talk

DONE, SPEC_WRONG, USAGE, NO_STOCK, NOT_WRITTEN, OUR_FAULT, INTERRUPTED = 0, 1, 2, 3, 4, 70, 130
OUT = Path("out")


class Progress(Protocol):
    """Told what is going on; `clear` takes the line away before something is printed."""

    def __call__(self, text: str) -> None: ...

    def clear(self) -> None: ...


def tell(findings: Sequence[Finding], arguments: argparse.Namespace) -> None:
    """Findings go to stderr; as JSON they are the result and go to stdout."""
    from plybook import report

    if arguments.format == "json":
        put(report.as_json(findings), lines=True)
        return
    if not findings:
        return
    outside = arguments.outside
    unicode = report.wants_unicode(sys.stderr)
    if arguments.format == "line":
        text = report.as_lines(findings, unicode)
    else:
        plain = "1" if arguments.no_color else outside.env("NO_COLOR")
        colour = report.wants_colour(sys.stderr, plain, outside.env("TERM"))
        text = report.as_text(findings, colour, outside.lines, unicode, everything=arguments.all)
        loud = [f for f in report.by_severity(findings) if not report.is_quiet(f)]
        if loud:
            text += f"\n`plybook explain {loud[0].code}` says more"
    talk(text, lines=True, coloured=True)


def specs_argument(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("specs", nargs="+", type=Path, metavar="SPEC", help="a part spec (YAML)")


def out_argument(parser: argparse.ArgumentParser, help: str = "folder the parts lie in") -> None:
    parser.add_argument(
        "--out", type=Path, default=OUT, metavar="DIR", help=f"{help}, out/ if not said"
    )


def effort_argument(parser: argparse.ArgumentParser, default: str) -> None:
    parser.add_argument(
        "--effort",
        choices=("quick", "normal", "long"),
        default=default,
        help="how long to look for a shorter cut plan: a second, under a minute, or all night"
        f" ({default} when not said)",
    )
