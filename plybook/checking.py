"""Everything a build says of specs before it looks for layouts, told without laying them up where
a look is certain to tell the same."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from importlib import import_module
from pathlib import Path
from typing import TYPE_CHECKING

from plybook.build import Progress, Read, read, shape, with_tried_edits, without_twins
from plybook.crew import beside, each, meanwhile
from plybook.diagnostics import PlybookError

if TYPE_CHECKING:
    from plybook.finishing import Told
    from plybook.laminate.model import Piece, Zone
    from plybook.outside import Outside
    from plybook.review import Review
    from plybook.spec.model import PartSpec
    from plybook.surface.model import Face


@dataclass(frozen=True)
class Checked:
    """One part as it was looked over."""

    spec: PartSpec
    zones: tuple[Zone, ...]
    review: Review
    pieces: tuple[tuple[Piece, ...], ...]  # as small and as large as they may be; once where known


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
) -> tuple[tuple[Checked, ...], Told]:
    """What a build would say of the specs before it looks for layouts, and their zones.

    An opposite hand is the mirror image of its twin and is not looked over for itself.

    Args:
        read_specs: as `read` gives them.
        limits: that the command line has raised.
        progress: told what goes on.

    Raises:
        SpecError: what no work is begun on.
    """
    from plybook.finishing import Found, finish
    from plybook.review import Review, admit

    admit([one.spec for one in read_specs], limits)
    progress("mould faces and plies")
    own = without_twins(read_specs)
    parts = tuple(each(_looked_over, own))
    cutting = _cutting(parts, limits)
    if cutting is None:
        parts = tuple(each(_laid_up, own))
        cutting = _cutting(parts, limits)
    assert cutting is not None
    whole = sum((part.review for part in parts), Review(())) + cutting
    found = [Found(part.spec, part.review.findings) for part in parts]
    return parts, finish(found, cutting.findings, whole.refusal)


def _looked_over(one: Read) -> Checked:
    """A part as a look shows it; laid up where the look leaves a finding in doubt."""
    from plybook.laminate.look import look_over
    from plybook.review import Review, bench_review, proof_review
    from plybook.surface import build_face

    for name in ("plybook.shop", "plybook.setoutproof", "plybook.verify", "plybook.finishing"):
        meanwhile(partial(import_module, name))
    spec = one.spec
    try:
        face = build_face(spec)
        look = look_over(spec, face)
    except PlybookError as wrong:
        review = Review(one.findings) + Review(wrong.findings, type(wrong))
        return Checked(spec, (), with_tried_edits(spec, review), ())
    laminate = look.laminate

    def prove() -> Review:
        _, shop = bench_review(spec, face, laminate)
        return proof_review(spec, face, laminate, shop)[0]

    proof = beside(prove)
    least, *most = [bench_review(spec, face, bound)[0] for bound in look.bounds()]
    proved = proof()
    if not look.laid_up and (proved.findings or any(other != least for other in most)):
        return _laid_up(one, face)
    pieces = tuple(bound.pieces for bound in look.bounds())
    review = with_tried_edits(spec, Review(one.findings) + least + proved)
    return Checked(spec, look.zones, review, pieces)


def _laid_up(one: Read, face: Face | None = None) -> Checked:
    part, review = shape(one, face)
    review = with_tried_edits(one.spec, review)
    if part is None:
        return Checked(one.spec, (), review, ())
    return Checked(one.spec, part.laminate.zones, review, (part.laminate.pieces,))


def _cutting(parts: Sequence[Checked], limits: Mapping[str, float]) -> Review | None:
    """What all parts together want of the stock; None where their pieces must be known better."""
    from plybook.nest import CutJob
    from plybook.review import Review, cutting_review

    if any(part.review.refusal is not None for part in parts):
        return Review(())
    reviews = []
    for at in (0, -1):
        jobs = [CutJob(part.spec, part.pieces[at]) for part in parts]
        twins = [job for job in jobs if job.spec.part.other_hand]
        reviews.append(cutting_review(jobs, limits, twins))
    sure = reviews[0] == reviews[1] and not reviews[0].refusal
    return reviews[0] if sure or all(len(part.pieces) == 1 for part in parts) else None
