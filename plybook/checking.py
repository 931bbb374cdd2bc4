"""Everything `build` would say of specs, without cutting or writing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from plybook.amount import refuse_plainly_too_much
from plybook.build import Progress, Read, read, unique, without_twins
from plybook.crew import beside, each
from plybook.diagnostics import Finding, PlybookError, said_in
from plybook.marking import refuse_misread_ids

if TYPE_CHECKING:
    from plybook.laminate.model import Zone
    from plybook.outside import Outside
    from plybook.spec.model import PartSpec


@dataclass(frozen=True)
class Checked:
    """One part as it was looked over."""

    spec: PartSpec
    zones: tuple[Zone, ...]
    findings: tuple[Finding, ...]


def read_beside(paths: Sequence[Path], outside: Outside) -> tuple[Read, ...]:
    """As `read`, by a helper, while the rooms of the geometry are opened here."""

    def reading() -> tuple[tuple[Read, ...], PlybookError | None, Outside]:
        try:
            return read(paths, outside), None, outside
        except PlybookError as refusal:
            return (), refusal, outside

    answer = beside(reading)
    _open_rooms()
    read_specs, refusal, its_outside = answer()
    outside.remember(its_outside)
    if refusal is not None:
        raise refusal
    return read_specs


def _open_rooms() -> None:
    """Load what a curved face needs; it takes as long as reading a spec."""
    import plybook.laminate.look
    import plybook.surface

    plybook.surface.open_room()


def check(
    read_specs: Sequence[Read], limits: Mapping[str, float], progress: Progress
) -> tuple[tuple[Checked, ...], tuple[Finding, ...]]:
    """Every finding of the specs, and their zones.

    An opposite hand is the mirror image of its twin and is not looked over for itself.

    Args:
        read_specs: as `read` gives them.
        limits: that the command line has raised.
        progress: told what goes on.

    Raises:
        SpecError: what is too much for a build, or has ids that would be misread, is not looked
            over.
    """
    refuse_misread_ids([one.spec for one in read_specs])
    refuse_plainly_too_much([one.spec for one in read_specs], limits)
    progress("mould faces and plies")
    parts = tuple(each(_looked_over, without_twins(read_specs)))
    told = [f for one in read_specs for f in one.findings]
    return parts, unique([*told, *(f for part in parts for f in part.findings)])


def _looked_over(one: Read) -> Checked:
    from plybook.laminate.look import look_over
    from plybook.surface import build_face

    spec = one.spec
    try:
        look = look_over(spec, build_face(spec), beside)
    except PlybookError as wrong:
        raise type(wrong)(said_in(spec.part.units, wrong.findings)) from wrong
    return Checked(spec, look.zones, said_in(spec.part.units, look.findings))
