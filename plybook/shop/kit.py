"""Kit lists: everything of one stage laid out before it starts."""

from __future__ import annotations

from collections.abc import Sequence

from plybook.shop.bagging import BagPlan
from plybook.shop.job import Job
from plybook.shop.model import Batch, Kit, Stage
from plybook.shop.words import degrees_text


def kit_lists(
    job: Job, stages: Sequence[Stage], batches: Sequence[Batch], bags: Sequence[BagPlan]
) -> tuple[Kit, ...]:
    """One kit per stage; tools and things at hand are named once, pieces in laying order."""
    bag_of = {bag.stage: bag for bag in bags}
    return tuple(_kit(job, stage, batches, bag_of.get(stage.id)) for stage in stages)


def _kit(job: Job, stage: Stage, batches: Sequence[Batch], bag: BagPlan | None) -> Kit:
    pieces = []
    for layer in job.layers_of(stage.id):
        for piece in job.pieces_of(layer):
            what = job.name(piece.material)
            if piece.kind == "ply":
                what += f", {degrees_text(piece.angle_deg)}, side marked UP towards the bag"
            elif piece.kind == "core":
                what += ", bag side marked"
            pieces.append((piece.id, what, piece.quantity))
    own_cups = [batch for batch in batches if batch.stage == stage.id]
    totals: dict[str, float] = {}
    for batch in own_cups:
        for name, grams in (*batch.parts, (batch.filler, batch.filler_g)):
            if name:
                totals[name] = totals.get(name, 0.0) + grams
    return Kit(
        stage=stage.id,
        pieces=tuple(pieces),
        tools=tuple(dict.fromkeys((*stage.at_hand, *_at_hand(stage, bag)))),
        consumables=tuple(
            f"{cut.name}: {_size(job, cut)}" for cut in (bag.cuts if bag is not None else ())
        ),
        resin=tuple(f"{name}: {grams:.0f} g" for name, grams in totals.items()),
    )


def _at_hand(stage: Stage, bag: BagPlan | None) -> list[str]:
    """What the steps ask for, without what the bag list already holds."""
    in_bag = {cut.name for cut in bag.cuts} if bag is not None else set()
    return [
        thing for step in stage.steps for thing in step.at_hand if thing.split(",")[0] not in in_bag
    ]


def _size(job: Job, cut) -> str:
    if cut.unit == "m":
        return job.run(cut.length_mm)
    count = f"{cut.count} of " if cut.count > 1 else ""
    return f"{count}{job.length(cut.length_mm)} x {job.length(cut.width_mm)}"
