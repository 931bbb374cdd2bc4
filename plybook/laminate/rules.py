"""Trade rules: held against a laid-up part, each finding with its source and its place.

The rules are data (`trade/rules.yaml`: words, figure, source, severity, remedy); how each is
measured stands in the `rule_checks` modules, joined by name. Nothing here sizes a structure.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from plybook.diagnostics import Finding
from plybook.laminate.model import LaidLayer, Piece, Zone
from plybook.laminate.rule_case import Breach, Case
from plybook.laminate.rulebook import Rule, source_words, trade_rules
from plybook.spec.model import PartSpec
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
