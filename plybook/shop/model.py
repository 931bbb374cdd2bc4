"""The bench side: stages, steps, checks, resin, time and quantities, as data.

Terms:
    stage: one working session that ends with a cure or a wait.
    step: what one page or card of the book tells.
    check: something ticked, measured or initialled.
    batch: one cup of mixed resin.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from plybook.diagnostics import Finding


@dataclass(frozen=True)
class Check:
    """`kind` tick: done or not; measure: a figure in `unit` against expected and tolerance;
    initials: signed off; text: free entry (lot number, batch time)."""

    id: str
    text: str
    kind: Literal["tick", "measure", "initials", "text"] = "tick"
    expected: float | None = None
    tolerance: float | None = None
    unit: str = ""
    source: str = ""


@dataclass(frozen=True)
class Caution:
    text: str
    source: str = ""


@dataclass(frozen=True)
class Timer:
    """A wait or a limit; `kind` wait = not before, limit = not after."""

    id: str
    label: str
    seconds: int
    kind: Literal["wait", "limit"] = "wait"


@dataclass(frozen=True)
class Batch:
    """One cup: parts in grams sum exactly to `mass_g` (printed to `decimals`)."""

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
    work_s: int = 0  # what the area takes at the builder's rate
    in_time: bool = True


@dataclass(frozen=True)
class Step:
    """One page. `pieces` are the pieces laid or handled; `shows` says which picture it carries."""

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
    shows: Literal["none", "layer", "core", "bag", "mould", "jig", "section"] = "none"
    minutes: float = 0.0


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
    """One row of a table; `group` is cloth, core, rod, resin, consumable or mass."""

    group: str
    item: str
    amount: float
    unit: str
    detail: str = ""
    stage: str = ""
    price: float = 0.0


@dataclass(frozen=True)
class Measure:
    """A jig figure computed from the spec."""

    id: str
    title: str
    expected: float
    tolerance: float
    unit: str
    how: str = ""


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
class Shop:
    stages: tuple[Stage, ...]
    batches: tuple[Batch, ...]
    quantities: tuple[Quantity, ...]
    jig: tuple[Measure, ...]
    clock: tuple[DayPlan, ...]
    findings: tuple[Finding, ...]
