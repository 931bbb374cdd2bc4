"""`plybook build`: the main job."""

from __future__ import annotations

import argparse

from plybook.commands.common import (
    DONE,
    Progress,
    effort_argument,
    out_argument,
    specs_argument,
    tell,
)
from plybook.terminal import put, talk

HELP = "make the booklet, templates, cut plan and tables"
EXAMPLE = "plybook build specs/wing-skin.yaml specs/spar.yaml"


def arguments(parser: argparse.ArgumentParser) -> None:
    specs_argument(parser)
    out_argument(parser, "folder to write the parts into")
    effort_argument(parser, "normal")
    parser.add_argument(
        "--set-name",
        default="",
        metavar="NAME",
        help="folder of the cut plan shared by several parts",
    )


def run(arguments: argparse.Namespace, progress: Progress) -> int:
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
    tell(built.findings, arguments)
    if arguments.format == "text":
        for words in built.paper:
            talk(words)
    if arguments.format != "json":
        for folder in built.folders:
            put(folder)
    return DONE
