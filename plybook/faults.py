"""The last resort: a fault of our own is owned up to, with a report that can be handed on.

The report says what happened and where in the code. It holds no words of the user: no file, no
folder, no argument but the command's name and options.
"""

from __future__ import annotations

import argparse
import platform
import tempfile
import traceback
from importlib import metadata
from pathlib import Path

from plybook import __version__
from plybook.diagnostics import OutputError

_LIBRARIES = ("numpy", "scipy", "shapely", "ezdxf", "reportlab", "pypdf", "pydantic", "spyrrow")


def own_up(fault: Exception, arguments: argparse.Namespace) -> str:
    """What to say of a fault of our own; keeps the crash report.

    Args:
        fault: as it was caught.
        arguments: of the command line.

    Returns:
        Lines for the terminal.
    """
    said = f"{type(fault).__name__}: {fault}"
    words = [
        f"plybook failed: {said[:300]}",
        "This is our fault, not the spec's; the folders of former builds are as they were.",
    ]
    if arguments.debug:
        words.append("".join(traceback.format_exception(fault)))
    path = _kept(crash_report(fault, arguments))
    files = _named(arguments)
    if path is not None:
        words.append(f"A report without your files and their places is kept in {path}")
    if files:
        words.append(f"Please send it with {', '.join(files)}, if you may hand that on.")
    if not arguments.debug:
        words.append("Run again with --debug to see the details.")
    return "\n".join(words)


def crash_report(fault: BaseException, arguments: argparse.Namespace) -> str:
    """What went wrong and where, without paths, names or words of the user."""
    command = getattr(arguments.run, "__module__", "").rpartition(".")[2]
    rows = [
        f"plybook {__version__}, Python {platform.python_version()}, {platform.system()}",
        f"command: {command}",
        "libraries: " + ", ".join(f"{name} {_version(name)}" for name in _LIBRARIES),
        "",
    ]
    link: BaseException | None = fault
    for _ in range(10):  # a chain of causes may bite its tail
        if link is None:
            break
        rows.append(f"{type(link).__name__}, raised at")
        for frame in traceback.extract_tb(link.__traceback__)[-40:]:
            rows.append(f"  {_from_package(frame.filename)}:{frame.lineno} in {frame.name}")
        link = link.__cause__ or link.__context__
    return "\n".join(rows) + "\n"


def _from_package(file: str) -> str:
    """The file's place inside its package, without where that is installed."""
    parts = Path(file).parts
    for top in ("site-packages", "dist-packages"):
        if top in parts:
            return "/".join(parts[len(parts) - parts[::-1].index(top) :])
    if "plybook" in parts:
        return "/".join(parts[len(parts) - 1 - parts[::-1].index("plybook") :])
    return parts[-1] if parts else ""


def _version(name: str) -> str:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return "not installed"


def _named(arguments: argparse.Namespace) -> list[str]:
    """Files and folders the command was given."""
    given = [getattr(arguments, key, None) for key in ("specs", "spec", "record", "plan", "folder")]
    flat = [one for some in given for one in (some if isinstance(some, list) else [some])]
    return [str(one) for one in flat if one is not None]


def _kept(report: str) -> Path | None:
    """Where the report lies; None where no place would take it."""
    from plybook.write.files import new_file

    folder = Path(tempfile.gettempdir())
    for number in range(1, 100):
        path = folder / f"plybook-fault-{number}.txt"
        try:
            new_file(path, report.encode())
            return path
        except OutputError as refused:
            if refused.findings[0].code != "file-exists":
                return None
    return None
