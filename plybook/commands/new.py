"""`plybook new`: a commented starter spec for a kind of part."""

from __future__ import annotations

import argparse
from pathlib import Path

from plybook.commands.common import DONE, Progress
from plybook.starters import KINDS
from plybook.terminal import put

HELP = "write a commented starter spec, ready to build"
EXAMPLE = "plybook new skin my-skin.yaml"


def arguments(parser: argparse.ArgumentParser) -> None:
    kinds = "; ".join(f"{name}: {words}" for name, words in KINDS.items())
    parser.add_argument("kind", choices=tuple(KINDS), metavar="KIND", help=kinds)
    parser.add_argument("file", type=Path, metavar="FILE", help="a file that does not exist yet")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.starters import starter_text
    from plybook.write.files import new_file

    new_file(arguments.file, starter_text(arguments.kind).encode())
    put(arguments.file)
    return DONE
