"""The command line: arguments in, exit code out; results on stdout, talk on stderr.

Exit codes: 0 done; 1 the spec has errors; 2 the command line has; 3 a sound spec that cannot be
cut from this stock; 4 could not write; 70 our own fault; 130 interrupted.
"""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from collections.abc import Sequence
from importlib import import_module

from plybook import __version__, commands
from plybook.commands.common import DONE, INTERRUPTED, OUR_FAULT, USAGE, tell
from plybook.diagnostics import PlybookError
from plybook.outside import Outside
from plybook.terminal import Ticker, talk

_FIRST_STEPS = """\
the first part:
  plybook new panel my-panel.yaml       a commented spec to change
  plybook check my-panel.yaml           what it was read as, and what is wrong
  plybook build my-panel.yaml           the booklet, templates and cut plan, under out/

`plybook COMMAND --help` shows a command's arguments and an example."""


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    arguments = parser().parse_args(argv)
    arguments.outside = Outside(dict(arguments.limit))
    _plain_streams()
    ticker = Ticker(sys.stderr, arguments.quiet)
    try:
        code = arguments.run(arguments, ticker)
        sys.stdout.flush()
        return code
    except PlybookError as refusal:
        ticker.clear()
        tell(refusal.findings, arguments)
        return refusal.exit_code
    except KeyboardInterrupt:
        ticker.clear()
        talk("interrupted; no folder is half written")
        return INTERRUPTED
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except ModuleNotFoundError as missing:
        ticker.clear()
        talk(f"the library {missing.name} is not installed, and nothing was written; "
             "install plybook again with pip")  # fmt: skip
        return OUR_FAULT
    except Exception as fault:
        from plybook.faults import own_up

        ticker.clear()
        talk(own_up(fault, arguments), lines=True)
        return OUR_FAULT
    finally:
        ticker.clear()


def parser() -> argparse.ArgumentParser:
    """The whole command line, from the command modules."""
    common = _common()
    whole = _Parser(
        prog="plybook",
        description="Turn a YAML part spec into a ply book and a cut plan, with the drawings.",
        epilog=_FIRST_STEPS,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    whole.add_argument("--version", action="version", version=f"plybook {__version__}")
    subs = whole.add_subparsers(title="commands", required=True, metavar="COMMAND")
    for name in commands.NAMES:
        command = import_module(f"plybook.commands.{name}")
        sub = subs.add_parser(
            name,
            parents=[common],
            help=command.HELP,
            description=command.HELP[0].upper() + command.HELP[1:] + ".",
            epilog=f"example:\n  {command.EXAMPLE}",
            formatter_class=argparse.RawDescriptionHelpFormatter,
        )
        command.arguments(sub)
        sub.set_defaults(run=command.run)
    return whole


class _Parser(argparse.ArgumentParser):
    """Says what is wrong with an argument without showing it raw."""

    def error(self, message: str):
        self.print_usage(sys.stderr)
        talk(f"{self.prog}: error: {message}")
        sys.exit(USAGE)


def _common() -> _Parser:
    """What every command takes."""
    common = _Parser(add_help=False)
    group = common.add_argument_group("for every command")
    group.add_argument(
        "--format",
        choices=("text", "line", "json"),
        default="text",
        help="how findings are printed: text with the source line (when not said), one to a line,"
        " or as JSON on stdout and nothing else there",
    )
    group.add_argument(
        "--limit",
        action="append",
        default=[],
        type=_limit,
        metavar="NAME=N",
        help="raise a limit that a refusal has named",
    )
    group.add_argument(
        "--all",
        action="store_true",
        help="print every finding in full: accepted ones and notes too, which are only counted"
        " otherwise",
    )
    group.add_argument("--quiet", action="store_true", help="results and findings only")
    group.add_argument(
        "--no-color", action="store_true", help="no colours on a terminal, as NO_COLOR has it"
    )
    group.add_argument("--debug", action="store_true", help="show the details of our own faults")
    return common


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


def _plain_streams() -> None:
    """A console that cannot show a character gets a stand-in, never a crash; what is said to a
    stream that was closed before we began is lost. Libraries print no warnings by themselves."""
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="backslashreplace")


if __name__ == "__main__":
    sys.exit(main())
