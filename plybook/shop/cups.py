"""Needs gathered into cups, with when each is mixed and by when it must be on.

Cups are no larger than the resin's largest safe batch and small enough to be on before their pot
life is over, at the builder's rate and the room's temperature.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from plybook.diagnostics import Finding, SpecError, error, warning
from plybook.shop.job import Job
from plybook.shop.mixing import Cup, Need, fill_cups, largest_cup_g, least_cup_g, mix, pot_life_s
from plybook.shop.model import Batch
from plybook.shop.resin import Thickening
from plybook.shop.standard import figure
from plybook.shop.words import counted, listed, minutes_text
from plybook.spec.limits import Limits
from plybook.spec.model import Resin, StageRule

MOST_NAMED = 8  # as many as a glance takes in; of more a cup names the first and the last


def plan_cups(
    job: Job, rule: StageRule, needs: Sequence[tuple[str, Need]], first: int
) -> tuple[tuple[Batch, ...], dict[str, tuple[str, ...]], list[Finding]]:
    """Cups of one stage, in the order of its steps.

    Args:
        needs: (step id, need) in step order.
        first: number of the first cup; cups are numbered through the whole book.

    Returns:
        The batches, the batch ids each step uses, and findings.

    Raises:
        SpecError: more cups than the limit allows.
    """
    resin = job.resin(rule)
    if resin is None or not needs:
        return (), {}, []
    step_of = {(need.use, need.layer): step for step, need in needs}
    shop = job.spec.workshop
    thick = Thickening.of(job.thickened(rule))
    life = pot_life_s(resin, shop.room_c)
    mixing = figure("mix_time") * 60
    usable = life - mixing
    infused = needs[0][1].use == "infuse"
    most = largest_cup_g(resin) - (0 if infused else shop.cup_loss_g)
    findings: list[Finding] = []
    if most <= 0:
        findings.append(
            warning(
                "cup-loss-too-large",
                f"{shop.cup_loss_g:.0f} g stay in a cup, but the largest safe batch of"
                f" {resin.name} is {resin.largest_batch_g:.0f} g",
                "lower `cup_loss` in the workshop, or check the resin's card",
                resin.place,
            )
        )
        most = resin.largest_batch_g
    late = usable <= 0
    seconds = life if late else usable
    refuse_too_many(job, rule, [need for _, need in needs], most, seconds)
    cups = fill_cups([need for _, need in needs], most, seconds)
    batches: list[Batch] = []
    used: dict[str, list[str]] = {}
    now = 0.0
    loss = 0.0 if infused else shop.cup_loss_g
    for n, cup in enumerate(cups, start=first):
        least = min(least_cup_g(resin), largest_cup_g(resin))
        wanted = max(cup.mass_g + loss, least)
        mass, parts, decimals = mix(resin, wanted)
        filler_ml, filler_g = (
            thick.filler_for(mass, resin.density_g_cm3) if cup.thick else (0.0, 0.0)
        )
        ids = [step_of[need.use, need.layer] for need, *_ in cup.shares]
        name = f"Cup {n}"  # never as a piece is called
        for step in ids:
            used.setdefault(step, []).append(name)
        batches.append(
            Batch(
                id=name,
                resin=resin.id,
                stage=rule.id,
                step=ids[0],
                purpose=purpose(cup),
                mass_g=mass,
                parts=parts,
                filler=thick.filler if cup.thick else "",
                filler_g=round(filler_g, 1),
                filler_ml=round(filler_ml),
                pot_life_s=round(life),
                tray_s=0 if infused else tray_s(resin, mass, life),
                work_s=round(cup.seconds),
                in_time=not late and cup.seconds <= usable + 1e-6,
                decimals=decimals,
                kind="infusion" if infused else "thickened" if cup.thick else "neat",
                layers=tuple(need.layer for need, *_ in cup.shares if need.layer),
                area_m2=math.fsum(need.area_m2 * share for need, share, *_ in cup.shares),
                loss_g=loss,
                mix_at_s=round(now),
                on_by_s=round(now) + round(life),
            )
        )
        now += 0.0 if infused else mixing + cup.seconds  # an infusion is filled within one life
    findings.extend(_time_findings(job, rule, resin, [need for _, need in needs], batches, now))
    return tuple(batches), {step: tuple(ids) for step, ids in used.items()}, findings


def tray_s(resin: Resin, mass_g: float, life_s: float) -> int:
    """How long a cup may stand before it is poured into a tray, whole minutes; 0: not known.

    A cup heats itself with its mass: one larger than the card's is given the card's life shared
    out over its mass. An estimate on the safe side; common practice, no source.
    """
    quoted = resin.pot_life_mass_g
    return math.floor(life_s * quoted / mass_g / 60) * 60 if 0 < quoted < mass_g else 0


def purpose(cup: Cup) -> str:
    """What a cup is for: "P1, cup 2 of 3", "P4, P5 and peel ply", "P6 to P31, 26 in order"."""
    need, _, number, count = cup.shares[0]
    if count > 1:
        return f"{need.what}, cup {number} of {count}"
    if len(cup.shares) > MOST_NAMED:
        return f"{need.what} to {cup.shares[-1][0].what}, {len(cup.shares)} in order"
    return listed(need.what for need, *_ in cup.shares)


def _time_findings(job, rule, resin, needs, batches, wet_s) -> list[Finding]:
    """Cups that cannot be on in time, steps that had to be split, stages that stay wet too long."""
    found: list[Finding] = []
    shop = job.spec.workshop
    title = job.title(rule)
    life = batches[0].pot_life_s
    said = f"at {shop.room_c:g} °C a cup of {resin.name} lasts about {minutes_text(life)}"
    estimate = "estimate: pot life halves for every 10 °C (resin makers' notes)"
    if any(not batch.in_time for batch in batches):
        found.append(
            warning(
                "pot-life-too-short",
                f"{title}: {said}, less than it takes to mix and lay a cup",
                "use a slower hardener, a cooler room or more hands",
                rule.place,
                resin.place,
                source=estimate,
            )
        )
        return found
    slow = [need for need in needs if need.seconds > life - figure("mix_time") * 60]
    if slow:
        cups = {
            need.what: sum(1 for b in batches if b.purpose.startswith(f"{need.what}, cup "))
            for need in slow
        }
        split = ", ".join(f"{what} in {counted(n, 'cup')}" for what, n in cups.items())
        rate = shop.wetting_m2_h * max(1, shop.people)
        found.append(
            warning(
                "pot-life-split",
                f"{title}: {said}, and at {rate:g} m² an hour"
                f" {'this step takes' if len(slow) == 1 else 'these steps take'} longer",
                f"mix {split}, each cup only when the one before is on",
                rule.place,
                layers=tuple(need.layer for need in slow if need.layer),
                source=estimate,
            )
        )
    workable = life * figure("open_time_factor")
    if batches[0].kind != "infusion" and wet_s > workable:
        found.append(_too_long_wet(rule, title, needs, wet_s, workable))
    return found


def _too_long_wet(rule, title, needs, wet_s, workable) -> Finding:
    """Propose after which layers the stage is cut so that each part is bagged while workable."""
    mixing = figure("mix_time") * 60
    ends, spent = [], 0.0
    for need, after in zip(needs, needs[1:], strict=False):
        spent += need.seconds + mixing
        between_layers = bool(need.layer and after.layer)
        if between_layers and spent + after.seconds + mixing > workable:
            ends.append(need.layer)
            spent = 0.0
    parts = f"end a stage after {', '.join(ends)}, with peel ply, and go on when it has cured; or "
    return warning(
        "wet-too-long",
        f"{title}: laying takes about {minutes_text(wet_s)}, but the first resin stays workable"
        f" for about {minutes_text(workable)}",
        f"{parts if ends else ''}use a slower hardener, more hands, or dry lay-up and infusion",
        rule.place,
        layers=tuple(ends),
        source="estimate: three times the pot life in a thin film; common practice, no source",
    )


def refuse_too_many(
    job: Job, rule: StageRule, needs: Sequence[Need], most_g: float, usable_s: float
) -> None:
    """Refuse a stage for which no one could mix all the cups.

    Raises:
        SpecError: naming the limit that is passed.
    """
    limits = Limits(dict(job.spec.raised))
    count = max(sum(n.mass_g for n in needs) / most_g, sum(n.seconds for n in needs) / usable_s)
    if count > limits["cups"]:
        raise SpecError(
            error(
                "too-many",
                f"stage {rule.id} takes {min(count, 1e9):.0f} cups of resin; at most "
                f"{limits['cups']:.0f} are mixed for one",
                limits.why("cups"),
                job.spec.part.place,
            )
        )
