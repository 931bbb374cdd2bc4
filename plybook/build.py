"""The way through the house: from specs to folders of finished files.

    spec -> surface -> laminate -> nest -> shop -> drawing -> write

Nothing is written before everything is made and every layout is proved.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from plybook.crew import each
from plybook.diagnostics import Finding, OutputError, PlybookError, note, warning
from plybook.spec import load

if TYPE_CHECKING:  # each room is loaded when it is entered: a quick check enters the first only
    from plybook.laminate.model import Laminate
    from plybook.nest.model import CutPlan, Effort
    from plybook.outside import Outside
    from plybook.review import Review
    from plybook.shop.model import Shop
    from plybook.shop.setout import SetOut
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
    """One part on its way: its spec, mould face and laminate, and the set-out of its mould as far
    as it is proved."""

    spec: PartSpec
    face: Face
    laminate: Laminate
    setout: SetOut

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
    findings: tuple[Finding, ...] = ()  # of this part and of the set, as they are told


@dataclass(frozen=True)
class Built:
    """What a build made: findings, folders written and the cut plan."""

    folders: tuple[Path, ...]
    plan: CutPlan
    findings: tuple[Finding, ...]
    paper: tuple[str, ...] = ()  # what the templates take on a plotter, in words


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


def shape_hands(hands: Sequence[Read]) -> list[tuple[Part | None, Review]]:
    """As `shape`, of a part and its opposite hand; it is laid up once, and only of the first edits
    are tried, for the other says the same."""
    shaped: list[tuple[Part | None, Review]] = []
    for one in hands:
        if shaped:
            shaped.append(shape(one, twin=shaped[0][0]))
        else:
            part, review = shape(one)
            shaped.append((part, with_tried_edits(one.spec, review)))
    return shaped


def with_tried_edits(spec: PartSpec, review: Review) -> Review:
    """A review that refuses, with edits that were tried; any other as it is."""
    if review.refusal is None:
        return review
    from plybook.tryout import with_tried_edits

    return replace(review, findings=with_tried_edits(spec, review.findings))


def shape(
    read: Read, face: Face | None = None, twin: Part | None = None
) -> tuple[Part | None, Review]:
    """Mould face and laminate of one part, and everything found of it before its layouts.

    Args:
        read: the part.
        face: its mould face where it is known.
        twin: its opposite hand, where that is laid up already.

    Returns:
        The part, None where it cannot be laid up; what the reader found is part of the review.
    """
    from plybook.laminate import lay_up
    from plybook.review import Review, bench_review, proof_review
    from plybook.surface import build_face

    spec = read.spec
    found = Review(read.findings)
    try:
        face = face or build_face(spec)
        laminate = lay_up(spec, face, other_hand=twin.laminate if twin else None)
    except PlybookError as wrong:
        return None, found + Review(wrong.findings, type(wrong))
    bench, shop = bench_review(spec, face, laminate)
    proof, setout = proof_review(spec, face, laminate, shop)
    return Part(spec, face, laminate, setout), found + bench + proof


def without_twins(read_specs: Sequence[Read]) -> list[Read]:
    """The specs as they are written: without the opposite hands worked out from them."""
    return [hands[0] for hands in by_part(read_specs)]


def by_part(read_specs: Sequence[Read]) -> list[list[Read]]:
    """Each spec as it is written, with the opposite hand worked out from it where there is one."""
    parts: list[list[Read]] = []
    for one in read_specs:
        if parts and parts[-1][0].spec.part.other_hand == one.spec.part.number:
            parts[-1].append(one)
        else:
            parts.append([one])
    return parts


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
    from plybook.finishing import Found, finish
    from plybook.marking import refuse_set_name
    from plybook.nest import CutJob, LayoutMemory, plan_cuts
    from plybook.output import folders_of, paper_told
    from plybook.review import Review, admit, cutting_review
    from plybook.shop import plan_work
    from plybook.write.files import replace_file
    from plybook.write.folder import commit

    specs = read(paths, outside)
    admit([one.spec for one in specs], outside.limits)
    refuse_set_name([one.spec for one in specs], set_name)
    progress("mould faces and plies")
    shaped = [one for hands in each(shape_hands, by_part(specs)) for one in hands]
    parts = [part for part, _ in shaped if part is not None]
    jobs = [CutJob(part.spec, part.laminate.pieces) for part in parts]
    found = [Found(one.spec, own.findings) for one, (_, own) in zip(specs, shaped, strict=True)]
    whole = sum((own for _, own in shaped), Review(()))
    cutting = Review(()) if whole.refusal else cutting_review(jobs, outside.limits)
    whole += cutting
    finish(found, cutting.findings, whole.refusal).raise_refusal()

    memory_path = _memory_path(paths)
    known, unread = _remembered(memory_path, outside)
    memory = LayoutMemory.from_bytes(known)

    def save(known: LayoutMemory) -> None:
        with suppress(OutputError):  # it is tried again, and told of, at the end
            replace_file(memory_path, known.to_bytes())

    try:
        plan = plan_cuts(jobs, effort=effort, memory=memory, progress=progress, save=save)
    except PlybookError as wrong:
        finish(found, [*cutting.findings, *wrong.findings], type(wrong)).raise_refusal()
        raise
    of_set = [*cutting.findings, *plan.findings]
    if unread or memory.damaged:
        of_set.append(_forgotten(memory_path, unread or "it is damaged"))
    if memory.changed:
        of_set.append(_searched(memory_path))
    told = finish(found, of_set)

    progress("steps and quantities")
    shops = [
        plan_work(part.spec, part.face, part.laminate, plan, not part.setout.empty)
        for part in parts
    ]  # fmt: skip

    progress("booklets, templates and cut plans")
    folders = folders_of(
        [
            Planned(part, plan, shop, tuple(parts), own)
            for part, shop, own in zip(parts, shops, told.of_parts, strict=True)
        ],
        set_name,
    )

    progress("writing")
    done = commit(out, folders, {memory_path: memory.to_bytes()} if memory.changed else {})
    findings = [
        *(f for f in told.findings if not (done.unkept and f.code == "layouts-searched")),
        *(_not_kept(path, why) for path, why in done.unkept),
        *(_set_aside(path) for path in done.aside),
    ]
    return Built(tuple(out / name for name in folders), plan, tuple(findings),
                 tuple(paper_told(folders)))  # fmt: skip


def _memory_path(paths: Sequence[Path]) -> Path:
    """Accepted layouts are remembered beside the first spec, under the names of all of them."""
    stems = "+".join(path.stem for path in paths)
    return paths[0].with_name(f"{stems}.layouts.json")


def _remembered(path: Path, outside: Outside) -> tuple[bytes, str]:
    """The memory file, and why it could not be read; none is an empty memory."""
    try:
        return outside.read(path, LARGEST_MEMORY_BYTES), ""
    except PlybookError as refusal:
        (first, *_) = refusal.findings
        return b"", "" if first.code == "no-such-file" else f"{first.message}"


def _forgotten(path: Path, why: str) -> Finding:
    return warning(
        "layouts-forgotten",
        f"the layouts remembered in {path} are passed over: {why}",
        "pieces that are cut already may lie elsewhere in the new cut plan; bring back a sound "
        "copy of the file and build again, or cut by the new plan alone",
    )


def _searched(memory_path: Path) -> Finding:
    """Said when layouts were searched for: only what is remembered is the same everywhere."""
    return note(
        "layouts-searched",
        "the cut plan is new: its search had a time budget, so another machine may find another",
        f"keep {memory_path.name} beside the spec; with it every machine makes the same files",
    )


def _not_kept(path: Path, why: str) -> Finding:
    return note(
        "layouts-not-kept",
        f"the layouts could not be kept in {path}: {why}",
        "the parts are built; the next build searches again and may cut them otherwise",
    )


def _set_aside(path: Path) -> Finding:
    return note(
        "changed-file-kept",
        f"a file of the former build was changed since and is kept as {path}",
        "delete it when it is not needed; what is wanted in every build goes into the spec",
    )
