"""From pieces and layouts to the whole work at the bench.

job -> jig, needs of resin, bags -> facts -> steps -> cups -> clock, quantities, kits
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from plybook.diagnostics import Finding, note, warning
from plybook.laminate.model import Laminate
from plybook.nest.model import CutPlan
from plybook.shop.bagging import bag_plan, narrow_flanges
from plybook.shop.bagrolls import bag_rolls
from plybook.shop.budget import mass_budget, with_cups
from plybook.shop.clock import day_plan, on_the_clock
from plybook.shop.cups import plan_cups
from plybook.shop.facts import stage_scope
from plybook.shop.infusion import fill_findings
from plybook.shop.jig import jig_measures
from plybook.shop.job import Job, make_job
from plybook.shop.kit import kit_lists
from plybook.shop.model import VACUUM, Batch, Shop, Stage, Timer
from plybook.shop.onshelf import on_shelf, too_old
from plybook.shop.purchases import wants_of
from plybook.shop.quantities import quantities
from plybook.shop.resin import stage_needs
from plybook.shop.stages import draft_stage, finish_stage
from plybook.shop.standard import LAYING_KINDS, STAGE_KINDS, figure, standard
from plybook.shop.words import Fact, Scope, counted, listed
from plybook.spec.model import PartSpec, StageRule
from plybook.surface.model import Face


def plan_work(
    spec: PartSpec, face: Face, laminate: Laminate, plan: CutPlan, has_setout: bool = True
) -> Shop:
    """Everything the builder does, in order, with what it takes.

    Args:
        spec: the resolved spec; without stages of its own it gets the usual ones.
        face: the mould face, for the jig and the bag.
        laminate: the pieces and where they lie.
        plan: where each piece is cut from; layouts of other parts are passed over.
        has_setout: whether the book has a sheet to set the mould out by.

    Returns:
        Stages with their steps, cups, quantities, jig figures, clock, bags, kits and findings.
        Findings of severity error stop the build; the rest of the value is then incomplete.
    """
    job, findings = make_job(spec, face, laminate, plan)
    needs_of = {rule.id: stage_needs(job, rule) for rule in job.stages}
    job = replace(job, budget=mass_budget(job, needs_of), has_setout=has_setout)
    jig, jig_findings = jig_measures(job)
    findings += jig_findings
    bags = []
    stages: list[Stage] = []
    batches: list[Batch] = []
    said: set[str] = set()
    for rule in job.stages:
        if rule.kind not in STAGE_KINDS:
            continue
        if rule.kind in LAYING_KINDS and not job.layers_of(rule.id):
            findings.append(_empty(job, rule))
            continue
        bag = bag_plan(job, rule)
        if bag is not None:
            bags.append(bag)
            findings += fill_findings(job, rule, bag)
        needs = needs_of[rule.id]
        findings += _no_resin(job, rule)
        scope = stage_scope(job, rule, needs, bag, jig)
        # the words of a step may count the cups, and the cups need the steps: drafted twice
        drafts, edits = draft_stage(job, rule, scope)
        cups, _, _ = _cups(job, rule, finish_stage(rule, job, drafts, scope), drafts, needs, 1)
        scope = Scope({**scope.facts, **_cup_facts(job, cups)}, scope.lists)
        drafts, edits = draft_stage(job, rule, scope)
        findings += edits
        stage = finish_stage(rule, job, drafts, scope, said)
        said.update(c.text for step in stage.steps for c in step.cautions)
        cups, by_step, late = _cups(job, rule, stage, drafts, needs, len(batches) + 1)
        findings += late
        batches += cups
        stages.append(_with_vacuum(_with_cups(stage, cups, by_step), cups))
    budget = with_cups(job.budget, batches)
    job = replace(job, budget=budget)
    findings += narrow_flanges(job)
    findings += _over_quoted(job, batches)
    clock, long_days = day_plan(stages, spec.workshop)
    batches = on_the_clock(batches, clock)
    findings += long_days
    findings += _unused_steps(job, stages)
    rolls = bag_rolls(job, bags)
    wants = wants_of(job, batches, bags, rolls)
    shelf = on_shelf(job, wants, rolls)
    findings += too_old(job)
    return Shop(
        stages=tuple(stages),
        batches=tuple(batches),
        quantities=quantities(job, batches, bags, wants, shelf),
        jig=jig,
        clock=clock,
        findings=tuple(findings),
        bags=tuple(bags),
        bag_rolls=rolls,
        wants=wants,
        shelf=shelf,
        kits=kit_lists(job, stages, batches, bags),
        budget=budget,
        estimates=_estimates(job),
    )


def _cups(job: Job, rule: StageRule, stage: Stage, drafts, needs, first: int):
    wanted = [
        (step.id, needs[draft.need])
        for step, draft in zip(stage.steps, drafts, strict=True)
        if draft.need is not None and draft.need in needs
    ]
    return plan_cups(job, rule, wanted, first)


def _cup_facts(job: Job, cups: Sequence[Batch]) -> dict[str, Fact]:
    """What the words of a step say about its stage's cups."""
    if not cups:
        return {"cups": 0, "several_cups": False}
    quoted = job.spec.materials.resins[cups[0].resin].pot_life_mass_g
    largest = max(cup.mass_g for cup in cups)
    return {
        "cups": len(cups),
        "several_cups": len(cups) > 1 and cups[0].kind != "infusion",
        "over_quoted": 0 < quoted < largest,
        "quoted_mass": f"{quoted:.0f} g",
        "largest_cup": f"{largest:.0f} g",
    }


def _over_quoted(job: Job, batches: Sequence[Batch]) -> list[Finding]:
    """Once per resin: cups larger than the mass its pot life is quoted for."""
    found = []
    for name in dict.fromkeys(batch.resin for batch in batches):
        resin = job.spec.materials.resins[name]
        largest = max(batch.mass_g for batch in batches if batch.resin == name)
        if 0 < resin.pot_life_mass_g < largest:
            found.append(
                note(
                    "cup-over-quoted-mass",
                    f"the pot life of {resin.name} is quoted for {resin.pot_life_mass_g:.0f} g,"
                    " and larger cups are mixed: a larger cup goes off sooner",
                    "pour each cup into a shallow tray at once, or lower `largest_batch`",
                    resin.place,
                    source="resin makers' notes: pot life is quoted for a stated mass",
                )
            )
    return found


def _with_cups(stage: Stage, cups: Sequence[Batch], by_step: dict[str, tuple[str, ...]]) -> Stage:
    """Each step told its cups; a cup's clock starts at the first step it is mixed for."""
    steps = []
    for step in stage.steps:
        limits = tuple(
            Timer(f"{step.id}.{cup.id}", _used_up(cup), cup.pot_life_s, "limit")
            for cup in cups
            if cup.step == step.id and cup.pot_life_s > 0
        )
        steps.append(
            replace(step, batches=by_step.get(step.id, ()), timers=(*limits, *step.timers))
        )
    return replace(stage, steps=tuple(steps))


def _with_vacuum(stage: Stage, cups: Sequence[Batch]) -> Stage:
    """By when a bag over wet cloth is drawn down, counted from the stage's first cup."""
    steps = list(stage.steps)
    mixed = next((k for k, step in enumerate(steps) if step.batches), len(steps))
    drawn = next((k for k, step in enumerate(steps) if step.name == "leak" and k > mixed), None)
    if drawn is None or cups[0].kind == "infusion":
        return stage
    seconds = round(cups[0].pot_life_s * figure("open_time_factor"))
    step = steps[drawn]
    limit = Timer(f"{step.id}.{VACUUM}", "Vacuum on, from the first cup", seconds, "limit")
    steps[drawn] = replace(step, timers=(limit, *step.timers))
    return replace(stage, steps=tuple(steps))


def _empty(job: Job, rule: StageRule) -> Finding:
    return warning(
        "stage-without-layers",
        f"{job.title(rule)} lays no layer and is left out of the book",
        "name its layers, or take the stage out",
        rule.place,
    )


def _used_up(cup: Batch) -> str:
    return f"{cup.id}: {'drawn in' if cup.kind == 'infusion' else 'all of it on'}"


def _no_resin(job: Job, rule: StageRule) -> list[Finding]:
    if job.layers_of(rule.id) and job.resin(rule) is None:
        return [
            warning(
                "no-resin",
                f"{job.title(rule)} has no resin, so no cups are planned for it",
                "name a resin with `resin` in the stage, and give its card under `resins`",
                rule.place,
            )
        ]
    return []


def _unused_steps(job: Job, stages: list[Stage]) -> list[Finding]:
    """Layers that no step lays: the standard stage has no words for their kind."""
    laid = {step.layer for stage in stages for step in stage.steps if step.lays}
    lost = [
        la.id for la in job.laminate.layers if la.id not in laid and la.id in job.stage_of_layer
    ]
    if not lost:
        return []
    return [
        warning(
            "layer-without-step",
            f"no step lays {listed(lost)} ({counted(len(lost), 'layer')})",
            "check the kind of the stage that lays it",
            layers=tuple(lost),
        )
    ]


def _estimates(job: Job) -> tuple[str, ...]:
    """The default figures this part rests on, each with its source."""
    kinds = {layer.kind for layer in job.laminate.layers}
    stages = {rule.kind for rule in job.stages}
    has = {
        "": True,
        "mould": "mould_preparation" in stages,
        "bag": bool(stages & {"wet_laminate", "core_bond"}),
        "infusion": "dry_layup" in stages,
        "plies": "ply" in kinds,
        "rods": "rod" in kinds,
        "core": "core" in kinds,
        "core_bond": "core_bond" in stages,
        "splices": any(piece.splice is not None for piece in job.laminate.pieces),
        "unstated_filler": not job.spec.materials.thickened and "core" in kinds,
        "jig": bool(job.spec.jig_checks),
    }
    return tuple(
        f"{f.name.replace('_', ' ')}: {f.value:g} {f.unit}".rstrip()
        + (f" ({f.note})" if f.note else "")
        + f" - {f.source}"
        for f in standard().figures.values()
        if has[f.used_for]
    )
