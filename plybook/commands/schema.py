"""`plybook schema`: the JSON Schema of part specs, for editors."""

from __future__ import annotations

import argparse

from plybook.commands.common import DONE, Progress
from plybook.terminal import put

HELP = "print the JSON Schema of part specs for an editor"
EXAMPLE = "plybook schema > plybook.schema.json"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--path", action="store_true", help="print where the shipped file lies")


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    from plybook.spec.schema import FILE, schema_text

    if arguments.path:
        put(FILE)
    else:
        put(schema_text(), lines=True)
    return DONE
