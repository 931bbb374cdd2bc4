"""Stages, worked out: which stage lays which layer; a usual order where the spec gives none."""

from __future__ import annotations

from plybook.spec.collect import Collector
from plybook.spec.lay_list import LayList
from plybook.spec.model import (
    AddedStep,
    Core,
    Film,
    Insert,
    Layer,
    Materials,
    StageRule,
)
from plybook.spec.written.files import PartFile
from plybook.spec.written.process import LAYING_KINDS


def resolve_stages(
    written: PartFile,
    lay: LayList,
    materials: Materials,
    out: Collector,
) -> tuple[StageRule, ...]:
    """The stages in order, each with the ids of the layers it lays."""
    layers = lay.layers
    if written.stages is None:
        return usual_stages(layers, bool(written.jig), materials)
    if not written.stages:
        out.error(
            "empty",
            "`stages` is empty",
            "list stages, or delete the key for the usual ones",
            written.key_place("stages"),
        )
    rules, laid_by, seen = [], {}, {}
    order = {layer.id: n for n, layer in enumerate(layers)}
    for w in written.stages:
        if w.stage in seen:
            out.error(
                "duplicate-id",
                f"two stages are called `{w.stage}`",
                "give one of them another id",
                w.place_of("stage"),
                seen[w.stage],
            )
        seen[w.stage] = w.place_of("stage")
        ids: list[str] = []
        for n, name in enumerate(w.lays):
            place = w.place_of("lays", n)
            if not lay.knows(name):
                out.unknown("layer", name, lay.members, place)
            for one in lay.members.get(name, ()):
                if one in laid_by:
                    out.error(
                        "laid-twice",
                        f"`{one}` is laid by two stages",
                        "name it in one of them",
                        place,
                        laid_by[one],
                        layers=(one,),
                    )
                    continue
                if laid_by and order[one] < max(order[o] for o in laid_by):
                    before = max(laid_by, key=lambda o: order[o])
                    out.error(
                        "laid-out-of-order",
                        f"`{one}` is laid after `{before}`, but is listed below it in `layers`",
                        "layers are laid in the order they are listed, from the mould face up",
                        place,
                        laid_by[before],
                        layers=(one, before),
                    )
                laid_by[one] = place
                ids.append(one)
        if w.lays and w.kind not in LAYING_KINDS:
            out.error(
                "wrong-stage",
                f"a {w.kind} stage lays nothing",
                f"stages that lay layers: {', '.join(LAYING_KINDS)}",
                w.key_place("lays"),
            )
        for key in ("inlet", "permeability"):
            if getattr(w, key) is not None and w.kind != "dry_layup":
                out.error(
                    "wrong-stage",
                    f"a {w.kind} stage is not infused, but has `{key}`",
                    f"take `{key}` out, or make it a `dry_layup` stage",
                    w.key_place(key),
                )
        for key, shelf, what in (
            ("resin", materials.resins, "resin"),
            ("thickened", materials.thickened, "thickened resin"),
        ):
            name = getattr(w, key)
            if name and name not in shelf:
                out.unknown(what, name, shelf, w.place_of(key))
        rules.append(
            StageRule(
                w.stage,
                w.kind,
                w.title or "",  # the standard one: that of its kind in `trade/`
                tuple(ids),
                w.resin or "",
                w.thickened or _usual_thickened(w.kind, materials),
                w.cure,
                _steps(w.add),
                _steps(w.change),
                tuple(w.drop),
                w.here,
                w.inlet or "edge",
                (w.permeability or 0.0) * 1e-12,
            )
        )
    left = [layer.id for layer in layers if layer.id not in laid_by]
    if left and written.stages:
        out.error(
            "never-laid",
            f"no stage lays {', '.join(f'`{one}`' for one in left[:8])}",
            "name them under `lays:` of a stage",
            written.key_place("stages"),
            layers=tuple(left),
        )
    return tuple(rules)


def _steps(written) -> tuple[AddedStep, ...]:
    return tuple(
        AddedStep(s.step, s.title, tuple(s.text), tuple(s.checks), tuple(s.cautions), s.here,
                  s.hold or "")
        for s in written
    )


def _usual_thickened(kind: str, materials: Materials) -> str:
    return next(iter(materials.thickened), "") if kind == "core_bond" else ""


def usual_stages(
    layers: list[Layer], with_jig: bool, materials: Materials
) -> tuple[StageRule, ...]:
    """Hand work as usual: skin, core bonded when it has cured, inner skin, out, trim."""
    rules = [StageRule("mould", "mould_preparation", "", ())]
    runs: list[tuple[str, list[str]]] = []
    for layer in layers:
        core = isinstance(layer, (Core, Insert))
        if isinstance(layer, Film) and runs:
            runs[-1][1].append(layer.id)
            continue
        kind = "core_bond" if core else "wet_laminate"
        if not runs or runs[-1][0] != kind:
            runs.append((kind, []))
        runs[-1][1].append(layer.id)
    skins = sum(kind == "wet_laminate" for kind, _ in runs)
    cores = len(runs) - skins
    counts = {"wet_laminate": 0, "core_bond": 0}
    for kind, ids in runs:
        counts[kind] += 1
        n = counts[kind]
        if kind == "core_bond":
            name, title = "core" if cores == 1 else f"core-{n}", ""
        elif skins == 1:
            name, title = "laminate", "Laminate"
        elif skins == 2:
            name, title = ("outer-skin", "Outer skin") if n == 1 else ("inner-skin", "Inner skin")
        else:
            name, title = f"skin-{n}", f"Skin {n}"
        rules.append(
            StageRule(name, kind, title, tuple(ids), thickened=_usual_thickened(kind, materials))
        )
    rules.append(StageRule("demould", "demould", "", ()))
    rules.append(StageRule("trim", "trim", "", ()))
    if with_jig:
        rules.append(StageRule("jig", "assembly_jig", "", ()))
    return tuple(rules)
