"""The spec language: from YAML text to `PartSpec`.

load(path, outside) reads a part spec with its includes, holds it against the language and
works it out. Everything that is wrong comes at once, in one `SpecError`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from plybook.diagnostics import SpecError, localized
from plybook.spec.limits import Limits

if TYPE_CHECKING:
    from plybook.diagnostics import Finding
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec


@dataclass(frozen=True)
class Loaded:
    """One spec, or both hands of it, with their witness coupons, and the warnings and notes."""

    specs: tuple[PartSpec, ...]
    findings: tuple[Finding, ...]


def load(path: Path, outside: Outside, limits: dict[str, float] | None = None) -> Loaded:
    """Read a part spec.

    Args:
        path: the YAML file; whatever it includes lies in its folder or below.
        outside: files and environment.
        limits: limits to raise, by name (see `plybook.spec.limits`), before those of `outside`.

    Returns:
        One spec, or two when the spec gives a number for the other hand; then their coupons.

    Raises:
        SpecError: with every finding, ordered by place.
    """
    from plybook.spec.gather import gather  # the models of what is written take long to load
    from plybook.spec.hand import other_hand
    from plybook.spec.resolve import resolve
    from plybook.spec.witness import with_witness, witness

    in_force = Limits({**outside.limits, **(limits or {})})
    gathered = gather(Path(path), outside, in_force)
    try:
        spec, findings = resolve(gathered, in_force)
    except SpecError as wrong:
        raise SpecError(localized(gathered.part.part.units, wrong.findings)) from None
    findings = localized(spec.part.units, findings)
    specs = (spec, other_hand(spec)) if spec.part.other_hand else (spec,)
    coupons = tuple(witness(one) for one in specs if one.samples.coupon)
    return Loaded((*map(with_witness, specs), *coupons), findings)


__all__ = ["Limits", "Loaded", "load"]
