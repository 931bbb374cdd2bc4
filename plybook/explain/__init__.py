"""Every finding explained at length: what it means, why it matters, the edit, an example.

The pages are data: the tables in this folder, one file for each part of the house, and for trade
rules the rule itself (`trade/rules.yaml`), so that its words stand in one place.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

HERE = Path(__file__).parent
RULES = "rules"
_ANY_NAME = "unknown-name"  # stands for every code `unknown-...` without a page of its own


@dataclass(frozen=True)
class Explanation:
    """One page. `before` and `after` are pieces of a spec, `draw` a drawing in ASCII."""

    code: str
    means: str
    why: str
    edit: str
    before: str = ""
    after: str = ""
    draw: str = ""
    source: str = ""  # published source of a trade rule
    topic: str = ""  # file it stands in
    same: str = ""  # the code whose page this is too


@lru_cache(maxsize=1)
def pages() -> dict[str, Explanation]:
    """All pages by code, topic by topic.

    Raises:
        ValueError: the data of the tool itself is wrong.
    """
    found: dict[str, Explanation] = {}
    twins: dict[str, tuple[str, str]] = {}
    extras: dict[str, dict[str, str]] = {}
    for path in sorted(HERE.glob("*.toml")):
        tables = tomllib.loads(path.read_text(encoding="utf-8"))
        if path.stem == RULES:
            extras = tables
            continue
        for code, table in tables.items():
            if code in found or code in twins:
                raise ValueError(f"{path.name}: {code} is explained twice")
            if "same" in table:
                twins[code] = (table["same"], path.stem)
            else:
                found[code] = Explanation(code, topic=path.stem, **_trimmed(table))
    for code, (other, topic) in twins.items():
        found[code] = replace(found[other], code=code, topic=topic, same=other)
    return found | _rule_pages(extras)


def page(code: str) -> Explanation | None:
    """The page of a code, None where there is no such code."""
    found = pages().get(code)
    if found is None and code.startswith("unknown-"):
        found = replace(pages()[_ANY_NAME], code=code)
    return found


def close_codes(code: str) -> list[str]:
    """Codes that a misspelt one may stand for, nearest first."""
    import difflib

    return difflib.get_close_matches(code, list(pages()), 3, 0.4)


def as_text(one: Explanation) -> str:
    """A page as it is printed, 78 columns wide, without a last line end."""
    blocks = [one.code, _filled(one.means), "Why it matters. " + one.why, "The edit. " + one.edit]
    blocks[2:] = [_filled(text) for text in blocks[2:]]
    if one.draw:
        blocks.append(one.draw)
    if one.before:
        blocks.append("before:\n\n" + _indented(one.before))
    if one.after:
        blocks.append("after:\n\n" + _indented(one.after))
    if one.source:
        blocks.append(_filled("Source: " + one.source + "."))
    return "\n\n".join(blocks)


def _filled(text: str) -> str:
    import textwrap

    return textwrap.fill(text, 78, break_long_words=False, break_on_hyphens=False)


def _indented(text: str) -> str:
    return "\n".join("    " + line if line else "" for line in text.split("\n"))


def _trimmed(table: dict[str, str]) -> dict[str, str]:
    return {key: value.strip("\n").rstrip() for key, value in table.items()}


def _rule_pages(extras: dict[str, dict[str, str]]) -> dict[str, Explanation]:
    from plybook.laminate.rulebook import source_words, trade_rules

    rules = trade_rules()
    strangers = set(extras) - set(rules)
    if strangers:
        raise ValueError(f"{RULES}.toml: {min(strangers)} is no trade rule")
    return {
        rule.id: Explanation(
            rule.id,
            means=f"Rule of the trade: {rule.says}",
            why=rule.why,
            edit=f"{rule.remedy[0].upper()}{rule.remedy[1:]}. A rule never stops a build: the "
            "designer and the data sheets decide. Under `accept` it is accepted with your reason, "
            "which the booklet prints.",
            source=source_words(rule),
            topic=RULES,
            **_trimmed(extras.get(rule.id, {})),
        )
        for rule in rules.values()
    }
