"""Libraries as they were published, and programs of our own: no stranger's code on the way.

Two libraries look for settings when they are imported. reportlab executes `reportlab_settings`,
`reportlab_mods` and their twins in the home folder as Python; ezdxf reads `ezdxf.ini` from the
home and the current folder; both follow environment variables. What stands there came from
someone else, and would change the files we make.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from types import ModuleType

_SETTINGS_MODULES = (
    "reportlab_mods",
    "reportlab_settings",
    "reportlab.local_rl_mods",
    "reportlab.local_rl_settings",
)
_SETTINGS_VARIABLES = ("RL_", "EZDXF_")
_HOME = str(Path(__file__).parents[1])
_BEGIN = (
    "import sys; sys.path.append(sys.argv.pop(1)); "
    "from plybook.crew import end_with_parent; end_with_parent(); "
    "from plybook.cli import main; sys.exit(main())"
)


@contextmanager
def as_published() -> Iterator[None]:
    """Import reportlab or ezdxf inside: neither finds settings of the user or of a folder, nor
    writes to the terminal by itself, where what a file holds would arrive raw."""
    import logging
    from configparser import ConfigParser

    for library in ("ezdxf", "reportlab"):
        logging.getLogger(library).addHandler(logging.NullHandler())
    for name in _SETTINGS_MODULES:
        sys.modules.setdefault(name, ModuleType(name))  # empty, and never looked for again
    aside = {name: os.environ.pop(name) for name in list(os.environ)
             if name.startswith(_SETTINGS_VARIABLES)}  # fmt: skip
    reads = ConfigParser.read
    ConfigParser.read = lambda *_, **__: []  # type: ignore[method-assign,assignment]
    try:
        yield
    finally:
        ConfigParser.read = reads  # type: ignore[method-assign]
        os.environ.update(aside)


def own_program(words: Sequence[str]) -> list[str]:
    """The command that runs plybook again as a child, which ends when its parent does.

    `-P` keeps the current folder off the search path; the folder this package was loaded from
    comes last on it, so that the child finds the same package and nothing before a library.
    """
    return [sys.executable, "-P", "-c", _BEGIN, _HOME, *words]


def current_folder_last() -> None:
    """After `python -m plybook`: a file of the current folder is never taken for a library."""
    if not sys.flags.safe_path and sys.path and sys.path[0] in ("", os.getcwd()):
        sys.path.append(sys.path.pop(0))
