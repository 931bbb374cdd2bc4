"""Shops for the booklet at work: many cups at once, and every kind of entry."""

from dataclasses import replace

from plybook.drawing.book import booklet
from plybook.drawing.markoutlist import Addresses
from plybook.shop.model import VACUUM, Batch, Check, Timer
from tests.drawing import doubles

CUPS = [f"Cup {k}" for k in range(1, 8)]


def wet_shop():
    """The hand-made shop with seven cups in one stage, each with its limit, and a vacuum by."""
    shop = doubles.shop()
    outer = shop.stages[1]
    batches = [
        Batch(cup, "epoxy", "outer", "lay-p1" if k < 4 else "lay-p2", f"P1, cup {k + 1}", 130.0,
              (("resin", 100.0), ("hardener", 30.0)), pot_life_s=2400, tray_s=600)
        for k, cup in enumerate(CUPS)
    ]  # fmt: skip
    steps = []
    for step in outer.steps:
        own = [b for b in batches if b.step == step.id]
        limits = [Timer(f"{step.id}.{b.id}", f"{b.id}: all of it on", 2400, "limit") for b in own]
        if step is outer.steps[-1]:
            name = "Vacuum on, from the first cup"
            limits.append(Timer(f"{step.id}.{VACUUM}", name, 7200, "limit"))
        steps.append(replace(step, batches=tuple(b.id for b in own), timers=tuple(limits)))
    stages = (shop.stages[0], replace(outer, steps=tuple(steps)), *shop.stages[2:])
    return replace(shop, stages=stages, batches=(*batches, *shop.batches[3:]))


def wet_book():
    """The booklet of that shop, with links to templates."""
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    names = Addresses({p.id: f"templates/{p.id}.svg" for p in laminate.pieces})
    plan = doubles.cut_plan(laminate)
    return booklet(doubles.spec(), face, laminate, plan, wet_shop(), files=names)


def work_shop():
    """The wet shop with a leak check, times, lots and answers in words at its last wet step, a cure
    between two times, and a measure whose limits lie between the steps of a tenth."""
    shop = wet_shop()
    outer = shop.stages[1]
    checks = (
        Check("v1", "Vacuum below ambient at the start", "measure", unit="mbar", at_least=700.0),
        Check("v2", "Second reading", "measure", unit="mbar"),
        Check("drop", "Drop", "measure", unit="mbar", at_most=10.0, difference=True),
        Check("off", "Time the vacuum was let off", "time"),
        Check("lots", "Lot numbers of the cloth", "lot"),
        Check("seen", "Defects and where (or none)", "text"),
        Check("thick", "Thickness, zone Z1", "measure", 2.55, 0.28, "mm"),
    )
    timers = (
        Timer(f"leak.{VACUUM}", "Vacuum on, from the first cup", 7200, "limit"),
        Timer("leak.t1", "Leak check", 600),
    )
    last = replace(outer.steps[-1], id="leak", checks=checks, timers=timers, batches=())
    core = shop.stages[2]
    times = (Check("on", "Time vacuum was reached", "time"), Check("let", "Time let off", "time"))
    cure = replace(core.steps[1], checks=(*core.steps[1].checks, *times))
    stages = (
        shop.stages[0],
        replace(outer, steps=(*outer.steps[:-1], last)),
        replace(core, steps=(core.steps[0], cure, *core.steps[2:])),
        *shop.stages[3:],
    )
    return replace(shop, stages=stages)


def work_parts():
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    return doubles.spec(), face, laminate, doubles.cut_plan(laminate), work_shop()
