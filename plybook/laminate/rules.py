"""Trade rules: held against a laid-up part, each finding with its source and its place.

The rules are data (`trade/rules.yaml`: words, figure, source, severity, remedy); how each is
measured stands in the `rule_checks` modules, joined by name. Nothing here sizes a structure.

Terms:
    accepted: the spec names a finding by its code, and its layers, and gives a reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

from plybook.diagnostics import Finding, Severity, warning
from plybook.laminate.model import LaidLayer, Piece, Zone
from plybook.laminate.rule_case import Breach, Case
from plybook.laminate.rulebook import Rule, source_words, trade_rules
from plybook.spec.model import Acknowledgement, PartSpec
from plybook.surface.model import Face


def checks() -> dict[str, Callable[[Case, Rule], Iterable[Breach]]]:
    """How each rule is measured, by rule id."""
    from plybook.laminate import rule_checks_core, rule_checks_plies, rule_checks_stack

    return {
        **rule_checks_plies.CHECKS,
        **rule_checks_stack.CHECKS,
        **rule_checks_core.CHECKS,
    }


def trade_findings(
    spec: PartSpec,
    face: Face,
    layers: Sequence[LaidLayer],
    pieces: Sequence[Piece],
    zones: Sequence[Zone],
) -> tuple[Finding, ...]:
    """Hold a laid-up part against every trade rule.

    Args:
        spec: the resolved spec.
        face: its mould face.
        layers: as laid, first laid first.
        pieces: what was cut.
        zones: the face by equal stacks.

    Returns:
        Findings in the order of the rules, none of them an error, none accepted yet.
    """
    case = Case(spec, face, tuple(layers), tuple(pieces), tuple(zones))
    places = {layer.id: layer.place for layer in spec.layers}
    found = []
    for name, check in checks().items():
        rule = trade_rules()[name]
        for breach in check(case, rule):
            found.append(
                Finding(
                    code=rule.id,
                    severity=breach.severity or rule.severity,
                    message=breach.message,
                    help=rule.remedy,
                    places=tuple(dict.fromkeys(places[i] for i in breach.layers if i in places))[
                        :3
                    ],
                    layers=breach.layers,
                    source=source_words(rule),
                )
            )
    order = list(trade_rules())
    return tuple(sorted(found, key=lambda f: order.index(f.code)))


def accept(findings: Sequence[Finding], accepted: Sequence[Acknowledgement]) -> tuple[Finding, ...]:
    """Put the builder's reasons on the findings the spec accepts.

    An acknowledgement fits a finding of its code whose layers it names all (or that names no
    layers at all). Errors cannot be accepted. One that speaks of a trade rule and fits nothing
    is told, so that a reason does not outlive its cause.

    Returns:
        The findings with reasons, and a warning for each acknowledgement that is not used.
    """
    used: set[int] = set()

    def reason(finding: Finding) -> str:
        if finding.severity is Severity.ERROR or finding.acknowledged:
            return finding.acknowledged
        for number, one in enumerate(accepted):
            if one.code == finding.code and (
                not one.layers or (finding.layers and set(finding.layers) <= set(one.layers))
            ):
                used.add(number)
                return one.reason
        return ""

    told = [replace(f, acknowledged=reason(f)) for f in findings]
    rules = trade_rules()
    for number, one in enumerate(accepted):
        if number not in used and one.code in rules:
            where = f" for {', '.join(one.layers)}" if one.layers else ""
            told.append(
                warning(
                    "acknowledgement-unused",
                    f"{one.code} is accepted{where}, but there is no such finding",
                    "take the acknowledgement out, or name the layers of the finding",
                    one.place,
                    layers=one.layers,
                )
            )
    return tuple(told)
