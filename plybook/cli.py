"""The command line: arguments in, exit code out; results on stdout, talk on stderr.

Exit codes: 0 done; 1 the spec has errors; 2 the command line has; 3 a sound spec that cannot be
cut from this stock; 4 could not write; 70 our own fault; 130 interrupted.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from plybook import __version__
from plybook.diagnostics import Finding, PlybookError, Severity
from plybook.outside import Outside

DONE, SPEC_WRONG, USAGE, NO_STOCK, NOT_WRITTEN, OUR_FAULT, INTERRUPTED = 0, 1, 2, 3, 4, 70, 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    arguments = _parser().parse_args(argv)
    arguments.outside = Outside(dict(arguments.limit))
    _plain_streams()
    ticker = Ticker(sys.stderr, arguments.quiet)
    try:
        return arguments.run(arguments, ticker)
    except PlybookError as refusal:
        ticker.clear()
        _tell(refusal.findings, arguments)
        return refusal.exit_code
    except KeyboardInterrupt:
        ticker.clear()
        print("interrupted; nothing was written", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except Exception as fault:
        ticker.clear()
        if arguments.debug:
            raise
        print(
            f"plybook failed: {type(fault).__name__}: {fault}\n"
            "This is our fault, not the spec's; nothing was written. "
            "Run again with --debug for the details.",
            file=sys.stderr,
        )
        return OUR_FAULT
    finally:
        ticker.clear()


class Ticker:
    """One line of progress on a terminal; silent everywhere else, gone when done."""

    def __init__(self, stream, quiet: bool):
        self._stream = stream
        self._on = not quiet and hasattr(stream, "isatty") and stream.isatty()
        self._width = 0

    def __call__(self, text: str) -> None:
        if self._on:
            line = text.encode("ascii", "replace").decode()[:78]
            self._stream.write("\r" + line.ljust(self._width))
            self._stream.flush()
            self._width = len(line)

    def clear(self) -> None:
        if self._on and self._width:
            self._stream.write("\r" + " " * self._width + "\r")
            self._stream.flush()
            self._width = 0


def _plain_streams() -> None:
    """A console that cannot show a character gets a stand-in, never a crash."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


def _tell(findings: Sequence[Finding], arguments: argparse.Namespace) -> None:
    """Findings go to stderr; as JSON they are the result and go to stdout."""
    from plybook import report

    if arguments.format == "json":
        print(report.as_json(findings))
        return
    if not findings:
        return
    outside = arguments.outside
    unicode = report.wants_unicode(sys.stderr)
    if arguments.format == "line":
        text = report.as_lines(findings, unicode)
    else:
        colour = report.wants_colour(sys.stderr, outside.env("NO_COLOR"), outside.env("TERM"))
        text = report.as_text(findings, colour, outside.lines, unicode)
    print(text, file=sys.stderr)


def _build(arguments: argparse.Namespace, progress: Callable[[str], None]) -> int:
    from plybook.build import build

    built = build(
        arguments.specs,
        arguments.out,
        arguments.outside,
        progress,
        effort=arguments.effort,
        set_name=arguments.set_name,
    )
    progress.clear()
    _tell(built.findings, arguments)
    for folder in built.folders:
        print(folder)
    return DONE


def _check(arguments: argparse.Namespace, progress: Callable[[str], None]) -> int:
    from plybook.build import check

    findings = check(arguments.specs, arguments.outside, progress)
    progress.clear()
    _tell(findings, arguments)
    wrong = any(f.severity is Severity.ERROR for f in findings)
    if not wrong:
        open_ones = sum(f.severity is Severity.WARNING and not f.acknowledged for f in findings)
        warnings = f"{open_ones} warning{'' if open_ones == 1 else 's'}"
        print(f"sound: {', '.join(str(p) for p in arguments.specs)}: {warnings}")
    return SPEC_WRONG if wrong else DONE


def _verify(arguments: argparse.Namespace, progress: Callable[[str], None]) -> int:
    from plybook.verify import verify_folder

    report = verify_folder(arguments.folder, progress)
    progress.clear()
    print(report.as_text())
    return DONE if report.sound else SPEC_WRONG


def _schema(arguments: argparse.Namespace, progress: Callable[[str], None]) -> int:
    from plybook.spec.schema import schema_text

    print(schema_text(), end="")
    return DONE


def _limit(text: str) -> tuple[str, float]:
    """`layers=2000` as a name and a number."""
    from plybook.spec.limits import DEFAULTS

    name, _, value = text.partition("=")
    if name not in DEFAULTS:
        raise argparse.ArgumentTypeError(f"no limit `{name}`; limits: {', '.join(DEFAULTS)}")
    try:
        number = float(value)
    except ValueError:
        number = 0.0
    if not 0 < number < float("inf"):
        raise argparse.ArgumentTypeError(f"`{text}`: expected a number, as in {name}=2000")
    return name, number


def _parser() -> argparse.ArgumentParser:
    common = argparse.ArgumentParser(add_help=False)
    common.add_argument(
        "--format",
        choices=("text", "line", "json"),
        default="text",
        help="how findings are printed (default: text, with the source line)",
    )
    common.add_argument(
        "--limit",
        action="append",
        default=[],
        type=_limit,
        metavar="NAME=N",
        help="raise a limit that a refusal has named",
    )
    common.add_argument("--quiet", action="store_true", help="no progress on the terminal")
    common.add_argument("--debug", action="store_true", help="show the details of our own faults")

    parser = argparse.ArgumentParser(
        prog="plybook",
        description="Turn a YAML part spec into a ply book and a cut plan, with the drawings.",
    )
    parser.add_argument("--version", action="version", version=f"plybook {__version__}")
    commands = parser.add_subparsers(title="commands", required=True, metavar="COMMAND")

    def command(name: str, run, help: str) -> argparse.ArgumentParser:
        sub = commands.add_parser(name, parents=[common], help=help, description=help)
        sub.set_defaults(run=run)
        return sub

    build = command("build", _build, "make the booklet, templates, cut plan and tables")
    build.add_argument("specs", nargs="+", type=Path, metavar="SPEC")
    build.add_argument("--out", type=Path, default=Path("out"), metavar="DIR")
    build.add_argument(
        "--effort",
        choices=("quick", "normal", "long"),
        default="normal",
        help="how long to look for a shorter cut plan: a second, under a minute, or all night",
    )
    build.add_argument(
        "--set-name",
        default="",
        metavar="NAME",
        help="folder of the cut plan shared by several parts",
    )

    check = command("check", _check, "read the specs and print every finding; write nothing")
    check.add_argument("specs", nargs="+", type=Path, metavar="SPEC")

    verify = command("verify", _verify, "read a built folder again and say what is proved")
    verify.add_argument("folder", type=Path, metavar="DIR")

    command("schema", _schema, "print the JSON Schema of part specs for an editor")
    return parser


if __name__ == "__main__":
    sys.exit(main())
