"""`plybook explain`: what a finding means, at length."""

from __future__ import annotations

import argparse

from plybook.commands.common import DONE, USAGE, Progress
from plybook.terminal import put, talk

HELP = "explain a finding by its code: what it means, why it matters, the edit"
EXAMPLE = "plybook explain unknown-key"


def arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "codes",
        nargs="*",
        metavar="CODE",
        help="the word in brackets of a finding; without one, all codes are listed",
    )


def run(arguments: argparse.Namespace, progress: Progress) -> int:
    import json
    from dataclasses import asdict

    from plybook.explain import as_text, page

    if not arguments.codes:
        put(_list(), lines=True)
        return DONE
    found = [page(code.strip("[]")) for code in arguments.codes]
    for code, one in zip(arguments.codes, found, strict=True):
        if one is None:
            talk(_no_such(code))
    known = [one for one in found if one is not None]
    if arguments.format == "json":
        put(json.dumps([asdict(one) for one in known], indent=1), lines=True)
    elif known:
        put("\n\n\n".join(as_text(one) for one in known), lines=True)
    return DONE if len(known) == len(found) else USAGE


def _list() -> str:
    """All codes by topic, each with the first sentence of its page."""
    from plybook.explain import pages

    titles = {
        "file": "The file",
        "values": "Single values",
        "mould": "The mould face",
        "layers": "Layers and stages",
        "cutting": "Stock and cut plan",
        "shop": "At the bench",
        "record": "The record",
        "rules": "Rules of the trade",
    }
    every = pages()
    blocks = []
    for topic, title in titles.items():
        codes = sorted(code for code, one in every.items() if one.topic == topic)
        rows = [f"  {code:29} {_first_words(every[code].means, 46)}" for code in codes]
        blocks.append("\n".join([title, *rows]))
    return "\n\n".join(blocks)


def _first_words(text: str, room: int) -> str:
    text = text.removeprefix("Rule of the trade: ")
    return text if len(text) <= room else text[: room - 3].rsplit(" ", 1)[0] + " ..."


def _no_such(code: str) -> str:
    from plybook.explain import close_codes

    close = close_codes(code)
    guess = f"; did you mean {' or '.join(close)}?" if close else ""
    return f"there is no finding with the code {code}{guess}"
