"""The witness coupon of a part: a flat panel of its own, laid beside it from the same cups.

It is worked out as a part of its own, so that it has pieces in the cut plan, labels, templates and
a ply book like any other; the part's own book says when it is laid.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from plybook.spec.collect import Collector
from plybook.spec.lay_list import LayList
from plybook.spec.model import (
    AddedStep,
    BetweenPoints,
    Coupon,
    EdgeRule,
    OnPattern,
    OutlineMould,
    PartSpec,
    Ply,
    Samples,
    StageRule,
    Whole,
)
from plybook.spec.written.files import PartFile

MARK = "-W"  # of its part number
STAGE, PLATE = "coupon", "plate"
SIDES = ("foot", "end", "head", "start")
TRIM_MM = 10.0


def resolve_samples(written: PartFile, lay: LayList, out: Collector) -> Samples:
    """What the spec says of coupons and samples; none of either where it says nothing."""
    w = written.samples
    if w is None:
        return Samples()
    if w.coupon is None:
        return Samples(None, bool(w.cups))
    plies = {layer.id: layer for layer in lay.layers if isinstance(layer, Ply)}
    ids: list[str] = []
    for name in w.coupon.layers:
        if not lay.knows(name):
            out.unknown("layer", name, lay.members, w.coupon.place_of("layers"))
        ids += [one for one in lay.members.get(name, ()) if one not in ids]
    if not w.coupon.layers:
        out.error(
            "coupon-not-plies",
            "the witness coupon has no layers",
            "name the plies it has, as in `layers: [A]`",
            w.coupon.here,
        )
    strange = [one for one in ids if one not in plies]
    if strange:
        out.error(
            "coupon-not-plies",
            f"the witness coupon names {', '.join(strange)}, and is laid of plies alone",
            "name plies or groups of plies, as in `layers: [A]`",
            w.coupon.place_of("layers"),
        )
    if len(w.coupon.size) != 2:
        out.error(
            "wrong-kind",
            f"the size of the witness coupon has {len(w.coupon.size)} figures, expected two",
            "write `size: [250, 150]`",
            w.coupon.place_of("size"),
        )
        return Samples()
    length, width = w.coupon.size
    return Samples(Coupon(tuple(ids), length, width), bool(w.cups))


def check_one_stage(spec: PartSpec, written: PartFile, out: Collector) -> None:
    """The plies of a coupon are laid in one stage: it has one resin, and one bag."""
    coupon = spec.samples.coupon
    stages = {layer.stage for layer in spec.layers if coupon and layer.id in coupon.layers}
    if coupon and len(stages) > 1 and written.samples and written.samples.coupon:
        out.error(
            "coupon-stages",
            f"the plies of the witness coupon are laid in {len(stages)} stages, "
            f"{' and '.join(sorted(stages))}",
            "name plies of one stage; a part has one coupon",
            written.samples.coupon.place_of("layers"),
        )


def with_witness(spec: PartSpec) -> PartSpec:
    """The part with a step that lays its coupon, after the last of the plies it has."""
    coupon = spec.samples.coupon
    if coupon is None:
        return spec
    number = spec.part.number + MARK
    count = len(coupon.layers)
    step = AddedStep(
        f"lay_ply.{coupon.layers[-1]}",
        f"Lay the witness coupon {number}",
        (
            f"Lay the {count} {'ply' if count == 1 else 'plies'} of {number} on a waxed plate "
            "beside the mould, in the order and at the angles of its own ply book, with resin of "
            "the cups that this stage is laid with.",
            "Bag it with the part, or under a bag of its own that is drawn down at the same time.",
        ),
        (f"{number} laid; its number, the cup and the time written on its label",),
    )
    stages = tuple(
        replace(rule, add_steps=(*rule.add_steps, step))
        if coupon.layers[-1] in rule.layers
        else rule
        for rule in spec.stages
    )
    return replace(spec, stages=stages)


def witness(spec: PartSpec) -> PartSpec:
    """The coupon of a part as a part of its own.

    Args:
        spec: a part with a coupon.
    """
    coupon = spec.samples.coupon
    assert coupon is not None
    part = spec.part
    layers = tuple(
        replace(layer, stage=STAGE, region=Whole(), drop=None, drape="lay", darts=False, note="")
        for layer in spec.layers
        if isinstance(layer, Ply) and layer.id in coupon.layers
    )
    rule = next(rule for rule in spec.stages if coupon.layers[-1] in rule.layers)
    kind = "wet_laminate" if rule.kind == "core_bond" else rule.kind
    laid = StageRule(
        STAGE, kind, "Witness coupon", tuple(layer.id for layer in layers),
        rule.resin, rule.thickened, rule.cure_s,
    )  # fmt: skip
    long, wide = coupon.length_mm, coupon.width_mm
    ring = np.array([(0.0, 0.0), (long, 0.0), (long, wide), (0.0, wide)])
    return replace(
        spec,
        part=replace(
            part, number=part.number + MARK, name=f"Witness coupon of {part.number}", hand="none",
            other_hand="", notes=(f"Laid beside {part.number}, from the same cups.",),
        ),
        mould=OutlineMould(
            ring, (), tuple((name, k, (k + 1) % 4) for k, name in enumerate(SIDES)),
            spec.mould.place,
        ),
        axis=BetweenPoints(OnPattern(0.0, 0.0), OnPattern(1000.0, 0.0)),
        layers=layers,
        edges=tuple(EdgeRule(name, TRIM_MM, 0.0) for name in SIDES),
        stages=(
            StageRule(PLATE, "mould_preparation", "Prepare the plate", ()),
            laid,
            StageRule("trim", "trim", "", ()),
        ),
        jig_checks=(),
        choices=replace(spec.choices, declared_thickness_mm=None),
        acknowledged=(),
        samples=Samples(None, spec.samples.cups),
    )  # fmt: skip
