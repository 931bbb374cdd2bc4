"""Stages and steps: the standard process filled in for the part, then changed as the spec asks."""

from __future__ import annotations

import difflib
import hashlib
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

from plybook.diagnostics import Finding, error, warning
from plybook.shop.facts import cure_seconds
from plybook.shop.job import Job
from plybook.shop.model import Caution, Check, Stage, Step, Timer
from plybook.shop.standard import Ask, Line, StandardStage, StandardStep, Wait, standard
from plybook.shop.words import Scope, WordsError, listed
from plybook.spec.model import AddedStep, StageRule


@dataclass(frozen=True)
class Draft:
    """A step with the need of resin it is mixed for: (use, layer) or None."""

    step: Step
    need: tuple[str, str] | None = None


def draft_stage(job: Job, rule: StageRule, scope: Scope) -> tuple[list[Draft], list[Finding]]:
    """The steps of one stage in order, with the spec's changes made.

    Returns:
        Drafts (their ids not yet given) and findings about changes that could not be made.
    """
    kind = standard().stages[rule.kind]
    drafts = [
        _draft(step, inner)
        for run in _runs(kind.steps)
        for step, inner in _expand(run, scope)
    ]  # fmt: skip
    edited, findings = _edited(rule, drafts, [step.name for step in kind.steps])
    return edited, [*findings, *_left_hanging(rule, kind, edited)]


def finish_stage(
    rule: StageRule,
    job: Job,
    drafts: Sequence[Draft],
    scope: Scope,
    earlier: Collection[str] = (),
) -> Stage:
    """Give every step its id and every caution its first place, and close the stage.

    Args:
        earlier: texts of cautions said in full in earlier stages; here they are said shortly.
    """
    shorter = {c.text: c.again or c.text for c in standard().cautions.values()}
    kind = standard().stages[rule.kind]
    seen_ids: dict[str, int] = {}
    said: set[str] = set()
    steps = []
    for draft in drafts:
        step = draft.step
        key = step_id(rule.kind, rule.id, step)
        seen_ids[key] = seen_ids.get(key, 0) + 1
        if seen_ids[key] > 1:
            key = f"{key}-{seen_ids[key]}"
        new = [c for c in step.cautions if c.text not in said]
        said.update(c.text for c in new)
        cautions = tuple(
            replace(c, text=shorter.get(c.text, c.text), again=True) if c.text in earlier else c
            for c in new
        )
        steps.append(
            replace(
                step,
                id=key,
                cautions=cautions,
                checks=tuple(
                    replace(check, id=f"{key}.{n}") for n, check in enumerate(step.checks, 1)
                ),
                timers=tuple(
                    replace(timer, id=f"{key}.t{n}") for n, timer in enumerate(step.timers, 1)
                ),
            )
        )
    cures = any(timer.label == "Cure" for step in steps for timer in step.timers)
    return Stage(
        id=rule.id,
        kind=rule.kind,
        title=job.title(rule),
        steps=tuple(steps),
        cure_s=cure_seconds(job, rule) if cures else 0,
        at_hand=_things(kind.tools, scope),
    )


def step_id(kind: str, stage: str, step: Step) -> str:
    """Short id from a step's content: it stays while stage, words and pieces stay.

    Changed words give a new id, so that a tick made under the old words is not kept.
    """
    content = "\x1f".join((kind, stage, step.title, *step.text, "\x1e", *step.pieces))
    return "s" + hashlib.sha256(content.encode("utf-8", "surrogatepass")).hexdigest()[:8]


def _runs(steps: Sequence[StandardStep]) -> list[list[StandardStep]]:
    """Neighbouring steps that walk the same list go through it together, item by item."""
    runs: list[list[StandardStep]] = []
    for step in steps:
        if runs and step.for_each and runs[-1][0].for_each == step.for_each:
            runs[-1].append(step)
        else:
            runs.append([step])
    return runs


def _expand(run: list[StandardStep], scope: Scope):
    for inner in scope.walk(run[0].for_each):
        for step in run:
            if inner.holds(step.when):
                yield step, inner


def _draft(standard_step: StandardStep, scope: Scope) -> Draft:
    pieces = scope.facts[standard_step.pieces] if standard_step.pieces else ()
    if not isinstance(pieces, tuple):
        raise WordsError(f"{standard_step.pieces!r} is no list of pieces")
    need = None
    layer = str(scope.facts["layer"]) if standard_step.for_each == "layer" else ""
    if standard_step.resin:
        need = (standard_step.resin, layer)
    cautions = standard().cautions
    step = Step(
        id="",
        title=scope.say(standard_step.title),
        text=_lines(standard_step.text, scope),
        pieces=pieces,
        lays=standard_step.lays,
        layer=layer,
        checks=_checks(standard_step.checks, scope),
        cautions=tuple(
            Caution(cautions[line.say].text, cautions[line.say].source)
            for line in standard_step.cautions
            if scope.holds(line.when)
        ),
        timers=_timers(standard_step.waits, scope),
        at_hand=_things(standard_step.at_hand, scope),
        shows=standard_step.shows,
        minutes=round(scope.number(standard_step.minutes)),
        name=standard_step.name,
        overlaps=standard_step.overlaps,
        together=standard_step.together,
    )
    return Draft(step, need)


def _walk(entries: Sequence[Line | Ask | Wait], scope: Scope):
    for entry in entries:
        for inner in scope.walk(entry.for_each):
            if inner.holds(entry.when):
                yield entry, inner


def _lines(entries: Sequence[Line], scope: Scope) -> tuple[str, ...]:
    return tuple(_capital(inner.say(entry.say)) for entry, inner in _walk(entries, scope))


def _things(entries: Sequence[Line], scope: Scope) -> tuple[str, ...]:
    """Names of things, as they stand in a list."""
    return tuple(inner.say(entry.say) for entry, inner in _walk(entries, scope))


def _checks(entries: Sequence[Ask], scope: Scope) -> tuple[Check, ...]:
    def maybe(value, inner: Scope) -> float | None:
        return None if value is None else round(inner.number(value), 3)  # as it is printed

    return tuple(
        Check(
            id="",
            text=_capital(inner.say(ask.say)),
            kind=ask.kind,
            expected=maybe(ask.expected, inner),
            tolerance=maybe(ask.tolerance, inner),
            unit=inner.say(ask.unit),
            source=inner.say(ask.source),
            how=inner.say(ask.how),
            at_least=maybe(ask.at_least, inner),
            at_most=maybe(ask.at_most, inner),
            difference=ask.difference,
        )
        for ask, inner in _walk(entries, scope)
    )


def _timers(entries: Sequence[Wait], scope: Scope) -> tuple[Timer, ...]:
    return tuple(
        Timer("", inner.say(wait.say), round(inner.number(wait.seconds)), wait.kind)
        for wait, inner in _walk(entries, scope)
    )


def _capital(sentence: str) -> str:
    """First letter large, except where it begins an id such as "P1" or a unit."""
    return sentence[:1].upper() + sentence[1:] if sentence[:2].islower() else sentence


# ---------------------------------------------------------------- what the spec changes


def _edited(
    rule: StageRule, drafts: list[Draft], known: list[str]
) -> tuple[list[Draft], list[Finding]]:
    findings: list[Finding] = []
    for name in rule.drop_steps:
        hit = _hits(drafts, name)
        if not hit:
            findings.extend(_missing(rule, name, drafts, known, rule.place))
        elif any(drafts[n].step.lays for n in hit):
            findings.append(
                error(
                    "drop-laying-step",
                    f"step {name!r} of stage {rule.id!r} lays {drafts[hit[0]].step.layer};"
                    " it cannot be dropped",
                    "change its words with `change`, or take the layer out of the spec",
                    rule.place,
                    layers=(drafts[hit[0]].step.layer,),
                )
            )
        else:
            drafts = [draft for n, draft in enumerate(drafts) if n not in hit]
    for change in rule.change_steps:
        hit = _hits(drafts, change.step)
        if not hit:
            findings.extend(_missing(rule, change.step, drafts, known, change.place))
        for n in hit:
            drafts[n] = replace(drafts[n], step=_changed(drafts[n].step, change))
    for added in rule.add_steps:
        after = len(drafts) - 1
        if added.step == "start":
            after = -1
        elif added.step not in ("", "end"):
            hit = _hits(drafts, added.step)
            if not hit:
                findings.extend(_missing(rule, added.step, drafts, known, added.place))
                continue
            after = hit[-1]
        # several steps added at one place keep the order in which the spec has them
        while after + 1 < len(drafts) and drafts[after + 1].step.name.startswith("added "):
            after += 1
        name = f"added {added.step or 'end'}"
        new = replace(_changed(Step(id="", title="", text=()), added), name=name, minutes=10)
        drafts = [*drafts[: after + 1], Draft(new), *drafts[after + 1 :]]
    return drafts, findings


def _left_hanging(
    rule: StageRule, kind: StandardStage, drafts: Sequence[Draft]
) -> Iterator[Finding]:
    """Steps that stay, in their standard words, though what they take as done was dropped."""
    reworded = {change.step.partition(".")[0] for change in rule.change_steps if change.text}
    here = {draft.step.name for draft in drafts}
    for step in kind.steps:
        gone = [name for name in step.relies_on if name in rule.drop_steps]
        if gone and step.name in here and step.name not in reworded:
            yield warning(
                "dropped-step-relied-on",
                f"step {step.name!r} of stage {rule.id!r} speaks of what {listed(gone)} does,"
                f" which was dropped",
                f"keep it, or say with `change` how {step.name!r} is done without it",
                rule.place,
            )


def _hits(drafts: Sequence[Draft], name: str) -> list[int]:
    """Places of a step: by its name, or by its name and a layer or piece ("lay_ply.P3")."""
    word, _, what = name.partition(".")
    return [
        n
        for n, draft in enumerate(drafts)
        if draft.step.name == word
        and (not what or what == draft.step.layer or what in draft.step.pieces)
    ]


def _changed(step: Step, change: AddedStep) -> Step:
    """The words the spec gives replace the standard ones; what it leaves out stays."""
    title, text = change.title or step.title, change.text or step.text
    checks = tuple(Check("", one) for one in change.checks) or step.checks
    if change.hold:
        title = f"Hold point: {title}"
        text = (f"Stop here. Work goes on only when {change.hold} has looked and signed.", *text)
        checks = (*checks, Check("", f"Released by {change.hold}", "initials"))
    return replace(
        step,
        title=title,
        text=text,
        checks=checks,
        cautions=tuple(Caution(text) for text in change.cautions) or step.cautions,
    )


def _missing(rule, name: str, drafts: Sequence[Draft], known: list[str], place) -> list[Finding]:
    """A step that does not exist is an error; a standard one that this part does not need, not."""
    word = name.partition(".")[0]
    if word in known and word == name:
        return []
    here = list(dict.fromkeys(draft.step.name for draft in drafts))
    close = difflib.get_close_matches(word, known, 1)
    meant = f"did you mean {close[0]!r}? " if close and close[0] != word else ""
    return [
        error(
            "unknown-step",
            f"stage {rule.id!r} has no step {name!r}",
            f"{meant}its steps are: {', '.join(n for n in here if not n.startswith('added '))}",
            place,
        )
    ]
