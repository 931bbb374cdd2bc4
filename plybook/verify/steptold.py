"""What a step of the booklet must tell, on screen and on paper alike: its words of plan.json in
their order, its cups, its waits and its checks with their limits."""

from __future__ import annotations

import re

from plybook.verify.names import Names
from plybook.verify.printed import (
    CUT_OFF,
    after,
    angle,
    fixed,
    folded_deg,
    lasts,
    limit_figures,
    pattern,
    squeeze,
)
from plybook.verify.report import Report

MOST_IDS = 60  # more pieces are told by the first and the last
MOST_LAYERS, MOST_MATERIALS = 4, 3
WITH_ANGLE = ("ply", "rod")
_UNTIL = {"wait": "notbefore", "limit": "notafter"}


class StepTold:
    """The words that one booklet tells of a step, held against the plan.

    Args:
        medium: "HTML" or "PDF".
        plan, names: what is held true.
        report: takes what is found.
    """

    def __init__(self, medium: str, plan: dict, names: Names, report: Report) -> None:
        self.medium, self.names, self.report = medium, names, report
        self.pieces = {piece["id"]: piece for piece in plan.get("pieces", [])}
        self.batches = plan["quantities"].get("batches", [])

    def check(self, step: dict, words: str, where: str) -> None:
        """All of a step but its title and its plate.

        Args:
            step: of plan.json.
            words: of the step, squeezed.
            where: names it in the report.
        """
        if step["lays"]:
            lost = [p for p in step["pieces"] if after(p, words) < 0]
            self.report.expect(not lost, f"{self.medium} steps that name their pieces", where,
                               f"does not name {', '.join(lost)}")  # fmt: skip
        self._cups(step, words, where)
        at = self._texts(step, words, where)
        at = self._waits(step, words, at, where)
        self._checks(step, words, at, where)

    # ------------------------------------------------------------ plate

    def plate(self, step: dict) -> str:
        """The ids in large letters, squeezed."""
        ids = [p for p in step["pieces"] if p in self.pieces]
        if len(ids) > MOST_IDS:
            ids = [ids[0], CUT_OFF, ids[-1]]
        return squeeze("".join(ids))

    def plate_angle(self, step: dict) -> list[str]:
        """The angle in large letters: that of every piece of the step; where they differ, none."""
        laid = {folded_deg(self.pieces[p]["angle_deg"]) for p in step["pieces"]
                if p in self.pieces and self.pieces[p]["kind"] in WITH_ANGLE}  # fmt: skip
        return [angle(laid.pop())] if len(laid) == 1 else []

    def plate_line(self, step: dict, said: str) -> bool:
        """Whether squeezed words begin with the step's layers, materials and number of pieces."""
        pieces = [self.pieces[p] for p in step["pieces"] if p in self.pieces]
        layers = list(dict.fromkeys(p["layer"] for p in pieces))
        materials = list(dict.fromkeys(p["material"] for p in pieces))
        told = ",".join(layers[:MOST_LAYERS]) + CUT_OFF * (len(layers) > MOST_LAYERS)
        called = ",".join(map(self.names.expression, materials[:MOST_MATERIALS]))
        count = sum(p["quantity"] for p in pieces)
        line = f"layer{pattern(squeeze(told)).pattern}·{called}·{count}piece{'s' * (count != 1)}"
        return re.match(line, said) is not None

    # ------------------------------------------------------------ words

    def _texts(self, step: dict, words: str, where: str) -> int:
        """Cautions and what to do, one after another; gives where they end."""
        at, lost = 0, []
        work = step.get("text", ())
        numbered = self.medium == "PDF" and len(work) > 1
        said = [*step.get("cautions", ())]
        said += [f"{k}{text}" if numbered else text for k, text in enumerate(work, start=1)]
        for text in said:
            end = after(text, words, at)
            if end < 0:
                lost.append(text)
            at = max(at, end)
        self.report.expect(not lost, f"{self.medium} steps with their cautions and their work",
                           where, f"does not say {lost[0][:90]!r}" if lost else "")  # fmt: skip
        return at

    def _waits(self, step: dict, words: str, at: int, where: str) -> int:
        """Timers with their length; gives where they end."""
        fresh = {f"{step['id']}.{b['id']}" for b in self.batches if b["step"] == step["id"]}
        for timer in step.get("timers", ()):
            if timer["id"] in fresh:
                continue  # stands in its cup
            end = after(timer["label"] + ",", words, at)
            good = end >= 0 and lasts(words, end, timer["seconds"])
            if self.medium == "PDF":
                begun = words.find("started", max(end, 0))
                good = good and words.startswith(_UNTIL[timer["kind"]], begun + len("started"))
            self.report.expect(good, f"{self.medium} waits and limits of the length planned", where,
                               f"tells {timer['label']!r} with other than "
                               f"{timer['seconds']:g} s")  # fmt: skip
            at = max(at, end)
        return at

    def _checks(self, step: dict, words: str, at: int, where: str) -> None:
        """Checks in their order, those that measure with what they are held against."""
        lost = []
        for check in step.get("checks", ()):
            end = after(check["text"], words, at)
            if end < 0:
                lost.append(check["text"])
                continue
            at = end
            if check["kind"] == "measure":
                told = limits_told(check)
                good = any(_begins(words, at, text) for text in told)
                self.report.expect(good, f"{self.medium} measures with their limits", where,
                                   f"holds {check['text']!r} against "
                                   f"{words[at : at + 24]!r}, not {sorted(told)[0]}")  # fmt: skip
        self.report.expect(not lost, f"{self.medium} steps with all their checks", where,
                           f"has lost the check {lost[:1]}")  # fmt: skip

    # ------------------------------------------------------------ cups

    def _cups(self, step: dict, words: str, where: str) -> None:
        """Each cup mixed at a step tells the mass of every part, as exactly as it is printed, and
        how long it lasts; a cup of an earlier step is named."""
        limits = {timer["id"]: timer for timer in step.get("timers", ())}
        for batch in self.batches:
            if batch["step"] == step["id"]:
                self._cup(batch, limits.get(f"{step['id']}.{batch['id']}"), words, where)
        fresh = {b["id"] for b in self.batches if b["step"] == step["id"]}
        rest = [b for b in step.get("batches", ()) if b not in fresh]
        if rest:
            told = f"left of {' and '.join(rest)},"
            self.report.expect(after(told, words) >= 0, "steps that name the cups they go on with",
                               where, f"does not go on with what is {told[:-1]}")  # fmt: skip

    def _cup(self, batch: dict, limit: dict | None, words: str, where: str) -> None:
        names = [f"{pattern(squeeze(part['name'])).pattern}([\\d.]+)g" for part in batch["parts"]]
        said = list(re.finditer(r"\+".join(names) + r"=([\d.]+)g", words))
        masses = [part["mass_g"] for part in batch["parts"]] + [batch["mass_g"]]
        good = [
            m for m in said
            if all(_as_printed(figure, mass) for figure, mass in zip(m.groups(), masses,
                                                                      strict=True))
        ]  # fmt: skip
        self.report.expect(bool(good), "cups with the mass of every part at their step", where,
                           f"{batch['id']} is told as {said[0][0] if said else 'nothing'}, not "
                           f"{' + '.join(f'{m:g}' for m in masses[:-1])} g")  # fmt: skip
        if good:
            whole = any(self._cup_whole(batch, limit, words, m) for m in good)
            self.report.expect(whole, "cups with their name, filler, use and time", where,
                               f"{batch['id']} is told with another name, filler, use or "
                               "time")  # fmt: skip

    def _cup_whole(self, batch: dict, limit: dict | None, words: str, mix: re.Match[str]) -> bool:
        """Whether name, filler, use and time stand around the masses of a cup."""
        end = mix.end()
        if not words.endswith(squeeze(batch["id"]), 0, mix.start()):
            return False
        if batch.get("filler"):
            filler = pattern(squeeze(batch["filler"])).pattern
            then = re.compile(f",then{filler}{fixed(batch['filler_g'], 0)}g").match(words, end)
            end = then.end() if then else -1
        use = squeeze(batch.get("purpose", ""))
        end = after(use, words, end) if end >= 0 else -1
        if end >= 0 and batch.get("tray_s"):
            said = after(".In the tray within", words, end)
            end = said if said >= 0 and lasts(words, said, batch["tray_s"]) else -1
        if end < 0 or limit is None:
            return end >= 0
        told = "all of it on by(" if self.medium == "PDF" else f"{limit['label']},"
        at = after(told, words, end)
        return at >= 0 and lasts(words, at, limit["seconds"])


def _begins(words: str, at: int, text: str) -> bool:
    """Whether words begin with a text at a place; its end may be left out for an ellipsis."""
    text = squeeze(text)
    if words.startswith(text, at) or pattern(text).match(words, at):
        return True
    cut = words.find(CUT_OFF, at, at + len(text))
    return cut > at + text.find("(") and text.startswith(words[at:cut])


def limits_told(check: dict) -> set[str]:
    """Unit and limits of a measure as they may be printed."""
    unit, low, high = check["unit"], check.get("at_least"), check.get("at_most")
    if check["expected"] is not None:
        expected = limit_figures(check["expected"])
        if check["tolerance"]:
            said = {f"{e}±{t}" for e in expected for t in limit_figures(check["tolerance"])}
        elif low is None and high is None:
            said = expected
        else:
            said = set()
    else:
        said = set()
    if not said and low is not None and high is not None:
        said = {f"{a}to{b}" for a in limit_figures(low) for b in limit_figures(high)}
    elif not said and low is not None:
        said = {f"at least {a}" for a in limit_figures(low)}
    elif not said and high is not None:
        said = {f"at most {b}" for b in limit_figures(high)}
    return {f"{unit}({s}{unit})" for s in said} or {unit}


def _as_printed(figure: str, value: float) -> bool:
    decimals = len(figure.partition(".")[2])
    return abs(float(figure) - value) <= 0.5 * 10.0**-decimals + 1e-6
