"""The trade rules as data: read from `trade/rules.yaml`, words, figure, source and severity.

It stands apart from how the rules are measured, so that a rule can be explained without loading
any geometry.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from plybook.diagnostics import Severity

READ = ("read", "second hand", "from memory", "practice")
_KEYS = {"id", "says", "why", "value", "unit", "source", "read", "severity", "remedy"}


@dataclass(frozen=True)
class Rule:
    """One trade rule as data; `read` says how its source was seen."""

    id: str
    says: str
    why: str
    value: float
    unit: str
    source: str
    read: str
    severity: Severity
    remedy: str


@lru_cache(maxsize=1)
def trade_rules() -> dict[str, Rule]:
    """All rules by id, in the order of the file.

    Raises:
        ValueError: the data file of the tool itself is wrong.
    """
    from importlib.resources import files

    from plybook.spec.limits import Limits
    from plybook.spec.reader import read_tree

    content = (files("plybook") / "trade" / "rules.yaml").read_bytes()
    rules: dict[str, Rule] = {}
    for row in read_tree(content, "trade/rules.yaml", Limits())["rules"]:
        unknown = {str(k) for k in row} - _KEYS
        if unknown:
            raise ValueError(f"trade/rules.yaml: unknown key {sorted(unknown)[0]!r}")
        text = {str(key): str(value) for key, value in row.items()}
        rule = Rule(
            id=text["id"],
            says=text["says"],
            why=text["why"],
            value=float(text.get("value", "0")),
            unit=text.get("unit", ""),
            source=text["source"],
            read=text["read"],
            severity=Severity(text["severity"]),
            remedy=text["remedy"],
        )
        if rule.id in rules or rule.read not in READ or rule.severity is Severity.ERROR:
            raise ValueError(f"trade/rules.yaml: rule {rule.id!r} is not sound")
        rules[rule.id] = rule
    return rules


def source_words(rule: Rule) -> str:
    """The source as it is printed; a source that was not read says so."""
    if rule.read in ("second hand", "from memory"):
        return f"{rule.source}, {rule.read}"
    return rule.source
