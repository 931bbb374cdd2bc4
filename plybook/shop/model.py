"""The bench side: stages, steps, checks, resin, time and quantities, as data.

Terms:
    stage: one working session that ends with a cure or a wait.
    step: what one page or card of the book tells.
    check: something ticked, measured or initialled.
    batch: one cup of mixed resin.
    bag plan: what lies over the laminate of one stage, and where hoses and ports go.
    kit: everything of one stage laid out before it starts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from plybook.diagnostics import Finding

VACUUM = "vacuum"  # end of the id of the timer that a stage's first cup starts
CheckKind = Literal["tick", "measure", "initials", "text", "time", "lot"]
Shows = Literal["none", "layer", "core", "bag", "mould", "jig", "section"]  # picture of a step


@dataclass(frozen=True)
class Check:
    """`kind` tick: done or not; measure: a figure in `unit` against expected and tolerance;
    initials: signed off; time: when something was; lot: lots of the step's materials; text: free
    words, of which "(or none)" at the end of what is asked is offered as an answer.

    `at_least` and `at_most` bound a measure that has no middle (a vacuum, a pressure drop);
    `how` says how it is taken."""

    id: str
    text: str
    kind: CheckKind = "tick"
    expected: float | None = None
    tolerance: float | None = None
    unit: str = ""
    source: str = ""
    at_least: float | None = None
    at_most: float | None = None
    how: str = ""
    difference: bool = False  # the first less the second of the two figures asked before it


@dataclass(frozen=True)
class Caution:
    """`again`: a reminder of one that an earlier stage says in full, with its source."""

    text: str
    source: str = ""
    again: bool = False


@dataclass(frozen=True)
class Timer:
    """A wait or a limit; `kind` wait = not before, limit = not after."""

    id: str
    label: str
    seconds: int
    kind: Literal["wait", "limit"] = "wait"


@dataclass(frozen=True)
class Batch:
    """One cup: parts in grams sum exactly to `mass_g` (printed to `decimals`).

    `step` is the first step it is mixed for; `layers` are all it serves. `mix_at_s` and `on_by_s`
    count from the moment the first cup of the stage is mixed.
    """

    id: str
    resin: str
    stage: str
    step: str  # id of the step it is mixed for
    purpose: str
    mass_g: float
    parts: tuple[tuple[str, float], ...]
    filler: str = ""
    filler_g: float = 0.0
    filler_ml: float = 0.0
    pot_life_s: int = 0
    tray_s: int = 0  # how long it may stand in the cup; 0: not known
    work_s: int = 0  # what the area takes at the builder's rate
    in_time: bool = True
    decimals: int = 0
    kind: Literal["neat", "thickened", "infusion"] = "neat"
    layers: tuple[str, ...] = ()
    area_m2: float = 0.0
    loss_g: float = 0.0  # what stays in the cup
    mix_at_s: int = 0
    on_by_s: int = 0
    clock_min: float = 0.0  # when it is mixed on the day plan, minutes from the start of the job


@dataclass(frozen=True)
class Step:
    """One page. `pieces` are the pieces laid or handled; `shows` says which picture it carries.

    `name` is the word a spec changes or drops the step by ("lay_ply", or "lay_ply.P3" for one
    layer). `overlaps`: may be done during an earlier wait. `together`: follows the step before
    without a break (resin is open).
    """

    id: str  # from its content, stable while the words and pieces stay
    title: str
    text: tuple[str, ...]
    pieces: tuple[str, ...] = ()
    lays: bool = False  # True where the pieces are laid down in this step
    layer: str = ""
    checks: tuple[Check, ...] = ()
    cautions: tuple[Caution, ...] = ()
    timers: tuple[Timer, ...] = ()
    batches: tuple[str, ...] = ()
    at_hand: tuple[str, ...] = ()
    shows: Shows = "none"
    minutes: float = 0.0
    name: str = ""
    overlaps: bool = False
    together: bool = False


@dataclass(frozen=True)
class Stage:
    id: str
    kind: str
    title: str
    steps: tuple[Step, ...]
    cure_s: int = 0
    at_hand: tuple[str, ...] = ()


@dataclass(frozen=True)
class Quantity:
    """One row of a table; `group` is cloth, core, rod, resin, consumable, mass or buy.

    `price` is for the amount, in the money the spec's prices are in; 0 = not stated.
    """

    group: str
    item: str
    amount: float
    unit: str
    detail: str = ""
    stage: str = ""
    price: float = 0.0


@dataclass(frozen=True)
class Want:
    """So much of a thing to buy: `exact` units, sold in whole `step`s at `price` a unit.

    A `key` names what several parts want together; it counts once.
    """

    item: str
    unit: str
    exact: float
    step: float
    detail: str = ""
    price: float = 0.0
    key: str = ""


@dataclass(frozen=True)
class OnShelf:
    """`amount` of a thing that is wanted, in the unit of its `Want`, that need not be bought."""

    id: str
    item: str
    unit: str
    amount: float
    lot: str = ""
    use_by: str = ""


@dataclass(frozen=True)
class Budget:
    """Masses of a part: `kit_g` as cut and dry, what stays in it and what does not.

    Films that are peeled off, and the resin in them, are not of the part nor of the kit.
    """

    kit_g: float
    stays: tuple[Quantity, ...]
    goes: tuple[Quantity, ...]
    put_on_g: float = 0.0  # resin and filler that the steps use
    decimals: int = 0  # of its grams

    @property
    def part_g(self) -> float:
        """What the part weighs, cured and trimmed."""
        return round(math.fsum(row.amount for row in self.stays), self.decimals)


@dataclass(frozen=True)
class Measure:
    """A jig figure computed from the spec; `at_mm` is the span of the station it is taken at."""

    id: str
    title: str
    expected: float
    tolerance: float
    unit: str
    how: str = ""
    kind: str = ""  # as the spec's jig check
    at_mm: float | None = None


@dataclass(frozen=True)
class DayPlan:
    """One line of the clock: minutes from the start of the job."""

    stage: str
    step: str
    start_min: float
    end_min: float
    attended: bool
    what: str = ""


@dataclass(frozen=True)
class BagCut:
    """One thing cut for a bag: `count` pieces of `length_mm` by `width_mm` (a length: width 0)."""

    role: str  # peel_ply, release_film, breather, bag_film, flow_mesh, sealant_tape, hose
    name: str
    count: int
    length_mm: float
    width_mm: float
    amount: float
    unit: str  # m2 or m
    where: str
    widths: int = 1  # that are joined to cover what one roll does not


@dataclass(frozen=True)
class BagPlan:
    """The bag of one stage, in the pattern frame, seen from the bag side.

    `outlines` are (role, ring (n, 2)) from the mould face up: laminate, core (each where there is
    one), peel_ply (one for each strip), release_film, flow_mesh, breather, bag_film. `lines` are
    (name, polyline) of hoses, resin line and vacuum line; `ports` are (name, x mm, y mm). All
    places are proposals. `stack` names what lies on what over the middle of the part, from the
    mould up, for the sketch in section; laminate_with_core: the core is covered by now.
    """

    stage: str
    method: Literal["bag", "infusion"]
    outlines: tuple[tuple[str, np.ndarray], ...]
    tape_mm: np.ndarray
    tape_length_mm: float
    pleats_mm: np.ndarray  # (n, 2) on the tape line
    lines: tuple[tuple[str, np.ndarray], ...]
    ports: tuple[tuple[str, float, float], ...]
    cuts: tuple[BagCut, ...]
    stack: tuple[str, ...]
    notes: tuple[str, ...] = ()


@dataclass(frozen=True)
class RolledCut:
    """One rectangle for a bag where it lies on its roll; `copy` of `of` that are alike.

    `x_mm` is along the roll from its end, `y_mm` across it from its edge."""

    id: str
    stage: str
    copy: int
    of: int
    x_mm: float
    y_mm: float
    along_mm: float
    across_mm: float
    where: str


@dataclass(frozen=True)
class BagRoll:
    """All that the bags take off one roll of film, felt, mesh or peel ply, from its end on."""

    role: str
    name: str
    width_mm: float
    used_mm: float
    cuts: tuple[RolledCut, ...]


@dataclass(frozen=True)
class Kit:
    """What is laid out before a stage: `pieces` are (id, what it is, count)."""

    stage: str
    pieces: tuple[tuple[str, str, int], ...]
    tools: tuple[str, ...]
    consumables: tuple[str, ...]
    resin: tuple[str, ...] = ()


@dataclass(frozen=True)
class Shop:
    stages: tuple[Stage, ...]
    batches: tuple[Batch, ...]
    quantities: tuple[Quantity, ...]
    jig: tuple[Measure, ...]
    clock: tuple[DayPlan, ...]
    findings: tuple[Finding, ...]
    bags: tuple[BagPlan, ...] = ()
    bag_rolls: tuple[BagRoll, ...] = ()
    wants: tuple[Want, ...] = ()
    shelf: tuple[OnShelf, ...] = ()
    kits: tuple[Kit, ...] = ()
    budget: Budget = Budget(0.0, (), ())
    estimates: tuple[str, ...] = ()  # figures that are the tool's estimate, each with its source
