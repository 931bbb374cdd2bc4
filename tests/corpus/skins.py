"""Skins of wings, tails, control surfaces and stubs, lofted through aerofoil sections."""

from __future__ import annotations

import itertools
import math

from tests.corpus import sections
from tests.corpus.dice import Dice, angle
from tests.corpus.parts import (
    MIRROR,
    Job,
    bevel,
    doublers,
    finished,
    group,
    hardpoint,
    head,
    patch,
    run_of_bevel_mm,
    skin_code,
)
from tests.corpus.planform import Cored, Planform
from tests.corpus.shop import Cloth

# kind -> spans and root chords in mm
SIZES = {
    "wing": ((1800, 8000), (500, 1700)),
    "tail": ((350, 1800), (180, 700)),
    "control surface": ((500, 2800), (350, 900)),
    "stub": ((300, 1200), (700, 1800)),
}
LAND_MM = (30, 80)  # flat round a core


def draw(job: Job) -> dict:
    """A spec."""
    dice = job.dice
    kind = dice.weighted({"wing": 5, "tail": 3, "control surface": 2, "stub": 1})
    mould, plan = _mould(job, kind)
    layers = _layers(job, kind, plan)
    name = {
        "wing": "Wing skin",
        "tail": "Tail skin",
        "stub": "Root stub skin",
        "control surface": "Control surface skin",
    }[kind]
    made = {
        "part": head(job, name),
        "mould": mould,
        "axis": _axis(dice, plan),
        "edges": _edges(dice, kind),
    }
    return finished(job, {**made, "layers": layers})


def _axis(dice: Dice, plan: Planform) -> dict:
    low, high = plan.cover
    share = round(low + dice.one((0.25, 0.3, 0.4, 0.5)) * (high - low), 2)
    if dice.chance(0.1):
        ends = ((0, share), (plan.span, share))
        return dict(
            zip(
                ("from", "to"),
                ({"span": dice.written(at), "share": here} for at, here in ends),
                strict=True,
            )
        )
    return {"share": share}


def _edges(dice: Dice, kind: str) -> dict:
    """Trims of 5 to 40 mm, the flange of the mould where it is given wider than the trim."""

    def edge(trim_mm: float) -> dict:
        made = {"trim": dice.written(trim_mm)}
        if dice.chance(0.5):
            made["flange"] = dice.written(dice.rounded(trim_mm + dice.uniform(20, 60)))
        return made

    most = 25 if kind in ("tail", "control surface") else 40
    if dice.chance(0.5):
        return {"all": edge(dice.fine(dice.uniform(5, most)))}
    return {
        "leading": edge(dice.fine(dice.uniform(5, 25))),
        "trailing": edge(dice.fine(dice.uniform(5, 25))),
        "all": edge(dice.fine(dice.uniform(10, most))),
    }


# ---------------------------------------------------------------- the face


def _mould(job: Job, kind: str) -> tuple[dict, Planform]:
    dice = job.dice
    spans, chords = SIZES[kind]
    chord = dice.between(*chords)
    span = dice.between(max(spans[0], 0.5 * chord), min(spans[1], 12 * chord))
    taper = dice.weighted({1.0: 2, 0.9: 1, 0.75: 2, 0.6: 3, 0.45: 2})
    symmetric = kind == "tail" or (kind == "control surface" and dice.chance(0.4))
    root, tip = sections.pair(job.dice, job.files, symmetric)
    cover = _cover(dice, kind)
    form = dice.weighted({"ruled": 3, "planform break": 1, "dihedral break": 1, "smooth": 1.5})
    count = {"ruled": 1, "planform break": 2, "dihedral break": 2}.get(form) or dice.one((2, 3))
    lean = dice.uniform(-0.02, 0.3) if kind == "tail" else dice.uniform(-0.02, 0.12)
    climb = 0.0 if symmetric else dice.uniform(0, 0.09)
    twist = 0.0 if symmetric else dice.weighted({0: 2, -1: 1, -1.5: 1, -2: 2, -3: 1})
    at = [0.0] + [dice.rounded(span * (n + 1) / count) for n in range(count)]
    if form == "planform break":
        at[1] = dice.rounded(span * dice.uniform(0.3, 0.6))
    if form == "dihedral break":
        at[1] = dice.rounded(span * dice.uniform(0.2, 0.5))
    shares = [z / at[-1] for z in at]
    widths = [chord * (1 - (1 - taper) * z) for z in shares]
    if form == "planform break":  # the inner bay of constant chord
        widths = [chord, chord, chord * taper]
    if form == "smooth":  # rounder towards the tip
        widths = [chord * (1 - (1 - taper) * (0.6 * z + 0.4 * z * z)) for z in shares]
    widths = [dice.fine(w) for w in widths]
    aft = [dice.fine(lean * z + 0.25 * (widths[0] - w)) for z, w in zip(at, widths, strict=True)]
    rise = [dice.fine(climb * z) for z in at]
    if form == "dihedral break":
        inner, outer = dice.one((0, 0.02)), dice.uniform(0.05, 0.14)
        rise = [0.0, dice.fine(inner * at[1]), dice.fine(inner * at[1] + outer * (at[2] - at[1]))]
    if form == "smooth":
        rise = [dice.fine(climb * z * (0.7 + 0.3 * z / at[-1])) for z in at]
    written = []
    for n, z in enumerate(at):
        one = {"at": dice.written(z), "chord": dice.written(widths[n])}
        if n and aft[n]:
            one["sweep"] = dice.written(aft[n])
        if n and rise[n]:
            one["rise"] = dice.written(rise[n])
        if n and twist:
            one["twist"] = f"{angle(twist * shares[n])} deg"
        one["section"] = tip if n == len(at) - 1 else root
        if isinstance(root, str) and isinstance(tip, str) and 0 < n < len(at) - 1:
            one["section"] = _between(root, tip, shares[n])
        written.append(one)
    mould = {
        "form": dice.weighted({"female": 5, "male": 1}),
        "side": dice.one(("upper", "lower")),
        "loft": "smooth" if form == "smooth" else "ruled",
        "stations": written,
    }
    if cover != (0, 1):
        mould["cover"] = list(cover)
    breaks = [at[1]] if "break" in form else []
    if form == "planform break" and dice.chance(0.4):
        mould["accept_kinks"] = [dice.written(at[1])]
        breaks = []
    return mould, Planform(at, widths, aft, cover, breaks)


def _between(root: str, tip: str, share: float) -> str:
    """A section of a thickness between two, as a designer would write it."""
    thick = round(int(root[7:9]) + share * (int(tip[7:9]) - int(root[7:9])))
    return f"{root[:7]}{thick:02d}{root[9:]}"


def _cover(dice: Dice, kind: str) -> tuple[float, float]:
    if kind == "control surface":
        return dice.one(((0.7, 1), (0.75, 1), (0.72, 1), (0.65, 1)))
    if kind == "stub" or dice.chance(0.65):
        return (0, 1)
    return dice.one(((0, 0.72), (0, 0.65), (0.03, 1), (0.05, 0.95), (0.05, 0.7), (0.25, 1)))


# ---------------------------------------------------------------- the layers


def _layers(job: Job, kind: str, plan: Planform) -> list[dict]:
    dice = job.dice
    cloth = job.shop.woven()
    code = skin_code(dice)
    outer = [group(job, code, "A", cloth)]
    if dice.chance(0.15):
        outer.insert(0, {"ply": "V", "cloth": job.shop.veil().id, "angle": 0, "note": "Veil."})
    outer += _runs(job, kind, plan, cloth.id)
    spar = (
        round(dice.uniform(0.25, 0.38), 2) if plan.cover[0] < 0.2 and plan.cover[1] > 0.6 else 0.0
    )
    cored, rods = _cores(job, plan, spar)
    inner = [group(job, MIRROR[code], "B", cloth)] if cored or dice.chance(0.5) else []
    over: list[dict] = []
    for layer in [one for one in cored if "insert" in one]:
        over += doublers(job, layer["insert"], f"D{layer['insert']}", cloth)
    if dice.chance(0.25):
        over.append(
            {
                "ply": "E",
                "cloth": cloth.id,
                "angle": 45,
                "region": {
                    "near": {dice.one(("root", "tip")): dice.written(dice.between(60, 150))}
                },
            }
        )
    return [*outer, *cored, *rods, *inner, *over, *_films(job, plan, spar)]


def _runs(job: Job, kind: str, plan: Planform, woven: str) -> list[dict]:
    dice, made = job.dice, []
    low, high = plan.cover
    if kind == "wing" and dice.chance(0.45):
        count = dice.one((2, 3, 4, 5, 6))
        last = dice.rounded(plan.span * dice.uniform(0.6, 0.92))
        step = dice.rounded(min(400, 0.7 * last / count))
        middle = low + (0.3 if low < 0.2 else 0.3 * (high - low))
        wide = dice.one((0.06, 0.08, 0.1))
        tape = job.shop.unidirectional()
        wide = _as_wide_as(tape, wide, max(plan.chords))
        made.append(
            {
                "run": "U",
                "cloth": tape.id,
                "angle": 0,
                "plies": count,
                "region": {"share": [round(middle - wide, 2), round(middle + wide, 2)]},
                "ends": {
                    "towards": "tip",
                    "at": dice.written(last),
                    "step": dice.written(step),
                    "longest": dice.one(("first", "last")),
                },
            }
        )
    if dice.chance(0.35):
        count = dice.one((2, 3, 4))
        step = dice.rounded(max(10.0, min(60.0, plan.span / 40)))
        last = dice.rounded(max(plan.span * dice.uniform(0.08, 0.15), (count + 1.5) * step))
        made.append(
            {
                "run": "R",
                "cloth": woven,
                "angle": dice.one((0, 45)),
                "plies": count,
                "ends": {
                    "towards": "tip",
                    "at": dice.written(last),
                    "step": dice.written(step),
                    "longest": "first",
                },
            }
        )
    return made


def _as_wide_as(tape: Cloth, wide: float, chord: float) -> float:
    """Half the width of strips, as a share of the chord, made that of their tape where they would
    be a little wider: no builder splices a strip for that."""
    widest, narrowest, stagger = 2 * 1.06 * wide * chord, tape.usable_mm / 3, tape.usable_mm / 4
    if tape.usable_mm < widest < 2 * narrowest + 3 * stagger:
        return max(math.floor(50 * tape.usable_mm / 1.06 / chord) / 100, 0.01)
    return wide


def _cores(job: Job, plan: Planform, spar: float) -> tuple[list[dict], list[dict]]:
    """Cores with their hardpoints, and the rods of a cap laid between two of them."""
    dice = job.dice
    covered = (plan.cover[1] - plan.cover[0]) * min(plan.chords)
    thick = max(3.0, min(15.0, max(plan.chords) * dice.uniform(0.006, 0.011)))
    sheet, degrees = job.shop.core(thick), bevel(dice)
    slope = run_of_bevel_mm(sheet, degrees)
    least = max(60.0, 3 * slope)  # of a core that is worth its work
    chord = max(plan.chords)
    leading = 0.07 * chord if plan.cover[0] < 0.02 else 25.0
    inset = {
        "leading": dice.rounded(max(dice.uniform(35, 70), leading)),
        "trailing": dice.rounded(max(dice.uniform(30, 60), 4 * sheet.thickness_mm)),
        "root": dice.between(*LAND_MM),
        "tip": dice.between(*LAND_MM),
    }
    if covered - inset["leading"] - inset["trailing"] < least or dice.chance(0.08):
        return [], []
    begins, ends = inset["root"], plan.span - inset["tip"]
    way = dice.weighted({"one": 5, "at spar": 2, "cap": 1, "three": 1, "outboard": 1})
    cores = [Cored(sheet, inset, plan.cover[0], plan.cover[1], begins, ends)]
    rods: list[dict] = []
    gap_mm = dice.rounded(dice.uniform(50, 80))
    half = math.ceil(100 * gap_mm / 2 / min(plan.chords)) / 100
    if way in ("at spar", "cap", "three") and spar and half < 0.15:
        front = Cored(sheet, inset, plan.cover[0], round(spar - half, 2), begins, ends)
        rear = Cored(sheet, inset, round(spar + half, 2), plan.cover[1], begins, ends)
        cores = [
            one
            for one in (front, rear)
            if min(one.width(plan, begins), one.width(plan, ends)) > least
        ]
        if way == "cap" and cores and plan.breaks == []:
            rods = _cap(job, plan, spar, gap_mm)
    if way in ("outboard", "three") and len(cores) in (1, 2) and ends - begins > 900:
        cores = _stepped(job, cores, plan)
    made: list[dict] = []
    square = dice.chance(0.08)
    for n, core in enumerate(cores):
        name = "C" if len(cores) == 1 else f"C{n + 1}"
        made.append(_core(job, name, core, plan, degrees, square))
        if dice.chance(0.3):
            made += _hardpoints(job, name, core, plan, slope, made[-1])
    return made, rods


def _cap(job: Job, plan: Planform, spar: float, gap_mm: float) -> list[dict]:
    dice, rod = job.dice, job.shop.rod()
    rows = max(1, min(3, int((gap_mm - 20) // rod.width_mm)))
    ends = dice.rounded(plan.span * dice.uniform(0.75, 0.95))
    made = {
        "rod": "K",
        "bar": rod.id,
        "rows": rows,
        "line": [{"span": 0, "share": spar}, {"span": dice.written(ends), "share": spar}],
    }
    if rows > 1 and dice.chance(0.6):
        lengths = [dice.rounded(ends * share) for share in (0.95, 0.75, 0.55)][:rows]
        made["lengths"] = [dice.written(length) for length in lengths]
    return [made]


def _stepped(job: Job, cores: list[Cored], plan: Planform) -> list[Cored]:
    """The rearmost core thinner outboard, a land between the two."""
    dice, whole = job.dice, cores[-1]
    place = dice.rounded(plan.span * dice.uniform(0.45, 0.65))
    gap = dice.rounded(dice.uniform(30, 50))
    thinner = job.shop.core(max(3.0, 0.65 * whole.sheet.thickness_mm))
    inner = Cored(whole.sheet, whole.inset, whole.low, whole.high, whole.begins, place)
    outer = Cored(thinner, whole.inset, whole.low, whole.high, place + gap, whole.ends)
    return [*cores[:-1], inner, outer]


def _core(job: Job, name: str, core: Cored, plan: Planform, degrees: float, square: bool) -> dict:
    dice = job.dice
    edges = ["leading"] if core.low <= plan.cover[0] else []
    edges += ["trailing"] if core.high >= plan.cover[1] else []
    edges += ["root"] if core.begins == core.inset["root"] else []
    edges += ["tip"] if core.ends == plan.span - core.inset["tip"] else []
    region: dict = {}
    if (core.low, core.high) != plan.cover:
        region["share"] = [core.low, core.high]
    if "root" not in edges or "tip" not in edges:
        region["span"] = [
            "root" if "root" in edges else dice.written(core.begins),
            "tip" if "tip" in edges else dice.written(core.ends),
        ]
    region["inset"] = {edge: dice.written(core.inset[edge]) for edge in edges}
    made: dict = {"core": name, "sheet": core.sheet.id, "region": region}
    if degrees != 45 or dice.chance(0.7):
        made["edges"] = {"all": f"bevel {degrees}"}
        if square and "root" in edges:
            made["edges"]["root"] = "square"
    seams = _seams(dice, core, plan)
    if seams:
        made["seams"] = seams
    return made


def _seams(dice: Dice, core: Cored, plan: Planform) -> object:
    """Seams that a builder would place, or those left to the tool."""
    long, wide = (
        max(core.sheet.length_mm, core.sheet.width_mm),
        min(core.sheet.length_mm, core.sheet.width_mm),
    )
    length = core.ends - core.begins
    width = max(core.width(plan, z) for z in (core.begins, core.ends, *plan.at[1:-1])) * 1.06
    lean = abs(plan.aft[-1] - plan.aft[0]) / plan.span
    places = [z for z in plan.breaks if core.begins < z < core.ends]
    fits = length * 1.03 < long - 30 and width + lean * length < wide - 20
    if fits and not places:
        return "to suit the sheets" if dice.chance(0.25) else None
    across = math.ceil(length * 1.03 / (long - 40))
    piece = length / across
    if dice.chance(0.65) or width + lean * piece > wide - 20:
        cut = {"cut": dice.one(("scarf 20", "scarf 1:10", "scarf 30", "square"))}
        return cut if dice.chance(0.2) else "to suit the sheets"
    seams = list(places)
    for low, high in itertools.pairwise((core.begins, *places, core.ends)):
        count = math.ceil((high - low) * 1.03 / (long - 40))
        seams += [dice.rounded(low + (high - low) * n / count) for n in range(1, count)]
    slope = {"cut": "scarf 20"} if dice.chance(0.2) else {}
    return [{"at": dice.number(z), **({} if z in places else slope)} for z in sorted(seams)]


def _hardpoints(
    job: Job, name: str, core: Cored, plan: Planform, slope: float, written: dict
) -> list[dict]:
    """One to three blocks in a core, clear of its edges and of seams that are given."""
    dice, made = job.dice, []
    seams = written.get("seams")
    placed = [one["at"] for one in seams] if isinstance(seams, list) else []
    unit = 25.4 if dice.inches else 1.0
    count = dice.weighted({1: 5, 2: 2, 3: 1})
    for n in range(count):
        part = (n + dice.uniform(0.35, 0.65)) / count
        at = dice.rounded(core.begins + part * (core.ends - core.begins))
        front, rear = core.edges(plan, at)
        long = dice.between(50, 160)
        wide = dice.between(40, 110)
        room = rear - front - 2 * slope - 40
        cell = (core.ends - core.begins) / count
        if wide > 0.6 * room or long > 0.5 * (cell - 2 * slope):
            continue
        if any(abs(z * unit - at) < long / 2 + 60 for z in placed):
            continue
        near = dice.uniform(front + slope + 20 + 0.5 * wide, rear - slope - 20 - 0.5 * wide)
        share = round(near / plan.chord(at), 2)
        if not core.holds(plan, at, share, (long, wide), slope + 10):
            continue
        region = patch(job, {"span": dice.written(at), "share": share}, (long, wide))
        made.append(hardpoint(job, f"H{name[1:]}{n + 1}", name, core.sheet, region))
    return made


def _films(job: Job, plan: Planform, spar: float) -> list[dict]:
    dice, made = job.dice, []
    if spar and dice.chance(0.3):
        made.append(
            {
                "film": "PS",
                "of": "peel",
                "removed_after": "trim",
                "region": {"share": [round(spar - 0.05, 2), round(spar + 0.05, 2)]},
            }
        )
    if dice.chance(0.3):
        made.append(
            {
                "film": "PL",
                "of": "peel",
                "removed_after": "trim",
                "region": {
                    "near": {
                        dice.one(("leading", "trailing", "root")): dice.written(
                            dice.between(25, 60)
                        )
                    }
                },
            }
        )
    if not made and dice.chance(0.2):
        made.append({"film": "P", "of": "peel", "removed_after": "trim"})
    return made
