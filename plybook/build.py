"""The way through the house: from specs to folders of finished files.

    spec -> surface -> laminate -> nest -> shop -> drawing -> write

Nothing is written before everything is made and every layout is proved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from plybook.crew import each
from plybook.diagnostics import Finding, PlybookError, Severity, note, said_in, warning
from plybook.spec import load

if TYPE_CHECKING:  # each room is loaded when it is entered: a quick check enters the first only
    from plybook.laminate.model import Laminate
    from plybook.nest.model import CutPlan, Effort
    from plybook.outside import Outside
    from plybook.shop.model import Shop
    from plybook.spec.model import PartSpec
    from plybook.surface.model import Face

Progress = Callable[[str], None]
LARGEST_MEMORY_BYTES = 64 * 2**20


@dataclass(frozen=True)
class Read:
    """A spec and what its reader had to say."""

    spec: PartSpec
    findings: tuple[Finding, ...]


@dataclass(frozen=True)
class Part:
    """One part on its way: its spec, mould face and laminate."""

    spec: PartSpec
    face: Face
    laminate: Laminate

    @property
    def number(self) -> str:
        return self.spec.part.number


@dataclass(frozen=True)
class Planned:
    """A part with everything known that the files are made from."""

    part: Part
    plan: CutPlan
    shop: Shop
    parts: tuple[Part, ...]  # all that are cut from the same stock


@dataclass(frozen=True)
class Built:
    """What a build made: findings, folders written and the cut plan."""

    folders: tuple[Path, ...]
    plan: CutPlan
    findings: tuple[Finding, ...]


def read(paths: Sequence[Path], outside: Outside) -> tuple[Read, ...]:
    """Read all specs (an opposite hand that is wanted counts as one more).

    Raises:
        SpecError: with the findings of every file, not only the first.
    """
    read_specs: list[Read] = []
    findings: list[Finding] = []
    refusal: PlybookError | None = None
    for path in paths:
        try:
            loaded = load(path, outside)
        except PlybookError as wrong:
            findings.extend(wrong.findings)
            refusal = refusal or wrong
            continue
        found = (*loaded.findings, *_accepted_strangers(loaded.specs[0]))
        read_specs.extend(Read(spec, found) for spec in loaded.specs)
    if refusal is not None:
        raise type(refusal)(findings)
    return tuple(read_specs)


def _accepted_strangers(spec: PartSpec) -> Iterator[Finding]:
    """Codes under `accept` that no finding has: a slip of the pen would accept nothing."""
    from plybook.explain import close_codes, page

    for one in spec.acknowledged:
        if page(one.code) is None:
            close = close_codes(one.code)
            guess = f"did you mean `{close[0]}`? " if close else ""
            yield warning(
                "unknown-finding",
                f"there is no finding `{one.code}` to accept",
                f"{guess}`plybook explain` lists them all",
                one.place,
            )


def shape(read: Read) -> Part:
    """Mould face and laminate of one part; what the reader found goes with the laminate."""
    from plybook.laminate import lay_up
    from plybook.surface import build_face

    spec = read.spec
    try:
        face = build_face(spec)
        laminate = lay_up(spec, face)
    except PlybookError as wrong:
        raise type(wrong)(said_in(spec.part.units, wrong.findings)) from wrong
    found = said_in(spec.part.units, laminate.findings)
    return Part(spec, face, replace(laminate, findings=(*read.findings, *found)))


def without_twins(read_specs: Sequence[Read]) -> list[Read]:
    """The specs as they are written: without the opposite hands worked out from them."""
    twins: set[str] = set()
    own = []
    for one in read_specs:
        if one.spec.part.number not in twins:
            own.append(one)
            twins.add(one.spec.part.other_hand)
    return own


def build(
    paths: Sequence[Path],
    out: Path,
    outside: Outside,
    progress: Progress,
    effort: Effort = "normal",
    set_name: str = "",
) -> Built:
    """Make every file of every part and commit them together.

    Raises:
        PlybookError: the specs are wrong, the stock does not suffice, or the result could not be
            written; nothing is changed then.
    """
    from plybook.amount import refuse_plainly_too_much, refuse_too_much
    from plybook.marking import refuse_misread_ids
    from plybook.nest import CutJob, LayoutMemory, plan_cuts
    from plybook.output import folders_of
    from plybook.write.folder import commit, replace_file

    specs = read(paths, outside)
    refuse_twins([one.spec for one in specs])
    refuse_misread_ids([one.spec for one in specs])
    refuse_plainly_too_much([one.spec for one in specs], outside.limits)
    progress("mould faces and plies")
    parts = each(shape, specs)
    refuse_errors([f for part in parts for f in part.laminate.findings])
    refuse_too_much([p for part in parts for p in part.laminate.pieces], outside.limits)

    memory_path = _memory_path(paths)
    memory = LayoutMemory.from_bytes(_remembered(memory_path, outside))
    jobs = [CutJob(part.spec, part.laminate.pieces) for part in parts]
    plan = plan_cuts(
        jobs,
        effort=effort,
        memory=memory,
        progress=progress,
        save=lambda known: replace_file(memory_path, known.to_bytes()),
    )
    refuse_errors(plan.findings)

    progress("steps and quantities")
    shops = [_work(part, plan) for part in parts]
    refuse_errors([f for shop in shops for f in shop.findings])

    progress("booklets, templates and cut plans")
    planned = [
        Planned(part, plan, shop, tuple(parts)) for part, shop in zip(parts, shops, strict=True)
    ]
    folders, lost = folders_of(planned, set_name)
    findings = [
        *_told_once(parts, [part.laminate.findings for part in parts]),
        *_told_once(parts, [shop.findings for shop in shops]),
        *lost,
        *said_in(parts[0].spec.part.units, plan.findings),
    ]

    progress("writing")
    commit(out, folders)
    if memory.changed:
        replace_file(memory_path, memory.to_bytes())
        findings.append(_searched(memory_path))
    return Built(tuple(out / name for name in folders), plan, unique(findings))


def _work(part: Part, plan: CutPlan) -> Shop:
    """Steps and quantities of one part."""
    from plybook.shop import plan_work

    shop = plan_work(part.spec, part.face, part.laminate, plan)
    return replace(shop, findings=said_in(part.spec.part.units, shop.findings))


def refuse_errors(findings: Sequence[Finding]) -> None:
    """Raise what a stage found wrong, unless it is only a warning."""
    from plybook.diagnostics import SpecError

    if any(f.severity is Severity.ERROR for f in findings):
        raise SpecError(findings)


def refuse_twins(specs: Sequence[PartSpec]) -> None:
    """Two parts of one number would write into one folder."""
    from plybook.diagnostics import SpecError, error

    first: dict[str, PartSpec] = {}
    for spec in specs:
        number = spec.part.number
        if number in first:
            raise SpecError(
                error(
                    "same-part-number",
                    f"two specs have the part number {number!r}",
                    "give each part its own number",
                    spec.part.place,
                    first[number].part.place,
                )
            )
        first[number] = spec


def _memory_path(paths: Sequence[Path]) -> Path:
    """Accepted layouts are remembered beside the first spec, under the names of all of them."""
    stems = "+".join(path.stem for path in paths)
    return paths[0].with_name(f"{stems}.layouts.json")


def _remembered(path: Path, outside: Outside) -> bytes:
    """The memory file; none, or one that cannot be read, is an empty memory."""
    try:
        return outside.read(path, LARGEST_MEMORY_BYTES)
    except PlybookError:
        return b""


def _searched(memory_path: Path) -> Finding:
    """Said when layouts were searched for: only what is remembered is the same everywhere."""
    return note(
        "layouts-searched",
        "the cut plan is new: its search had a time budget, so another machine may find another",
        f"keep {memory_path.name} beside the spec; with it every machine makes the same files",
    )


def unique(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Each finding once."""
    seen: dict[tuple, Finding] = {}
    for f in findings:
        seen.setdefault((f.code, f.message, f.places, f.layers), f)
    return tuple(seen.values())


def _told_once(parts: Sequence[Part], found: Sequence[Sequence[Finding]]) -> list[Finding]:
    """What is found of each part, less what an opposite hand only says again of its twin."""
    said: dict[str, set[tuple]] = {}  # number of the twin -> what is said of it already
    told: list[Finding] = []
    for part, own in zip(parts, found, strict=True):
        already = said.get(part.number, set())
        told += [f for f in own if (f.code, f.places, f.layers) not in already]
        said[part.spec.part.other_hand] = {(f.code, f.places, f.layers) for f in own}
    return told
