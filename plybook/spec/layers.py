"""Layers, worked out: groups and runs become plies, inserts become cut-outs of their core."""

from __future__ import annotations

from dataclasses import replace

from plybook.diagnostics import Place
from plybook.spec.collect import Collector
from plybook.spec.laminate_code import CodeError, expand
from plybook.spec.model import (
    Cloth,
    Common,
    Core,
    CutOut,
    DropRun,
    EdgeBand,
    Film,
    Insert,
    Layer,
    Materials,
    OnFace,
    Ply,
    PointLine,
    Region,
    Rod,
    RodStock,
    Seam,
    ShareLine,
    SpanBand,
    SpanLine,
    SpliceRule,
    Treatment,
    Whole,
)
from plybook.spec.mould import point_ref
from plybook.spec.regions import FAR_MM, RegionReader
from plybook.spec.written.files import PartFile
from plybook.spec.written.layers import (
    CoreLayer,
    FilmLayer,
    GroupLayer,
    InsertLayer,
    PlyLayer,
    RodLayer,
    RunLayer,
    SeamsToSuit,
)

_ID_FIELD = {
    PlyLayer: "ply",
    GroupLayer: "as_",
    RunLayer: "run",
    CoreLayer: "core",
    InsertLayer: "insert",
    RodLayer: "rod",
    FilmLayer: "film",
}


class LayerReader:
    """Turns the written layers of one part into layers.

    Attributes:
        layers: what was made, from the mould face up; stages are filled in later.
        members: id of a ply, group or run -> ids of the layers it stands for.
        lost: ids of layers something is wrong with; naming them elsewhere is no second mistake.
    """

    def __init__(
        self,
        written: PartFile,
        materials: Materials,
        regions: RegionReader,
        core_bevel_deg: float,
        out: Collector,
    ):
        self.written, self.materials, self.regions, self.out = written, materials, regions, out
        self.core_bevel_deg = core_bevel_deg
        self.layers: list[Layer] = []
        self.members: dict[str, tuple[str, ...]] = {}
        self.lost: list[str] = []
        self.named: list[tuple[str, str, Place]] = []  # owner, layer it names, where
        self.cut_outs: list[tuple[str, CutOut]] = []
        self.places: dict[str, Place] = {}
        self.keep_clear: tuple[Region, ...] = ()
        self.removed_after: list[tuple[str, Place]] = []

    def read(self) -> list[Layer]:
        """All layers; errors go to the collector."""
        if self.written.splices:
            self.keep_clear = tuple(self.regions.read(r) for r in self.written.splices.keep_clear)
            self._note_regions("")
        if not self.written.layers:
            self.out.error(
                "empty",
                "`layers` is empty",
                "list what is laid, mould face first",
                self.written.key_place("layers"),
            )
        makers = {
            PlyLayer: self._ply,
            GroupLayer: self._group,
            RunLayer: self._run,
            CoreLayer: self._core,
            InsertLayer: self._insert,
            RodLayer: self._rod,
            FilmLayer: self._film,
        }
        for w in self.written.layers:
            before, name = len(self.layers), getattr(w, _ID_FIELD[type(w)])
            makers[type(w)](w)
            if len(self.layers) == before:
                self.lost.append(name)
            self._note_regions(name)
            if len(self.layers) > self.out.limits["layers"]:
                self.out.error(
                    "too-many",
                    f"more than {self.out.limits['layers']:.0f} layers",
                    self.out.limits.why("layers"),
                    w.here,
                )
                break
        self._check_named()
        self._let_in()
        return self.layers

    # ------------------------------------------------------------ plies

    def _ply(self, w: PlyLayer) -> None:
        if ply := self._one_ply(w, w.ply, w.angle, self.regions.read(w.region), w.here):
            self._add(w.ply, [ply], w.place_of("ply"))

    def _group(self, w: GroupLayer) -> None:
        place = w.place_of("plies")
        try:
            angles = expand(
                w.plies,
                int(self.out.limits["layers"]),
                int(self.out.limits["code-nesting"]),
                int(self.out.limits["code-length"]),
            )
        except CodeError as problem:
            start = place.column + problem.position + (1 if w._raw["plies"].quoted else 0)
            at = Place(place.file, place.line, start, start + 1)
            self.out.error("bad-laminate-code", problem.message, problem.help, at)
            return
        region = self.regions.read(w.region)
        plies = [
            self._one_ply(w, name, angle, region, place, group=w.as_)
            for name, angle in zip(_names(w.as_, len(angles)), angles, strict=True)
        ]
        self._add(w.as_, [p for p in plies if p], w.place_of("as"))

    def _run(self, w: RunLayer) -> None:
        base = self.regions.read(w.region)
        names = _names(w.run, w.plies)
        if not w.ends:
            self.out.error(
                "empty",
                "`ends` is empty",
                "write {towards: tip, before: 100, step: 50}",
                w.key_place("ends"),
            )
            return
        usable = [self._check_ends(w, n, end) for n, end in enumerate(w.ends)]
        if not all(usable):
            return
        plies = []
        for k, name in enumerate(names):
            cuts = [
                self._end_band(end, k if end.longest == "first" else w.plies - 1 - k)
                for end in w.ends
            ]
            parts = ([] if isinstance(base, Whole) else [base]) + cuts
            region = parts[0] if len(parts) == 1 else Common(tuple(parts))
            first = w.ends[0]
            drop = DropRun(w.run, k + 1, w.plies, first.towards, first.step)
            plies.append(self._one_ply(w, name, w.angle, region, w.here, drop=drop))
        self._add(w.run, [p for p in plies if p], w.place_of("run"))

    def _check_ends(self, w: RunLayer, n: int, end) -> bool:
        place = end.place_of("towards")
        if not self.regions.knows(end.towards, place):
            return False
        if (end.before is None) == (end.at is None):
            self.out.error(
                "missing",
                "a run needs either `before` (distance from the edge) or "
                "`at` (distance along the span) for its longest ply",
                "for example before: 100",
                end.here,
            )
            return False
        if end.at is not None:
            root, tip = self.regions.edges[2:4] if self.regions.lofted else ("", "")
            if end.towards not in (root, tip) or not self.regions.lofted:
                self.out.error(
                    "wrong-end",
                    f"a run ends `at` a span only towards root or tip, not towards {end.towards}",
                    "write `before:` and the distance from that edge",
                    end.key_place("at"),
                )
                return False
            last = (
                end.at - end.step * (w.plies - 1)
                if end.towards == tip
                else (end.at + end.step * (w.plies - 1))
            )
            low, high = self.regions.first_mm, self.regions.last_mm
            if not (low < last < high and low <= end.at <= high):
                self.out.error(
                    "run-too-long",
                    f"the shortest ply of `{w.run}` would end at "
                    f"{last:g} mm and the longest at {end.at:g} mm; the part runs from "
                    f"{low:g} to {high:g} mm",
                    "make the steps smaller or fewer",
                    end.here,
                )
                return False
        elif self.regions.lofted and end.towards in self.regions.edges[2:4]:
            most = end.before + end.step * (w.plies - 1)
            length = self.regions.last_mm - self.regions.first_mm
            if most >= length:
                self.out.error(
                    "run-too-long",
                    f"the shortest ply of `{w.run}` would end {most:g} "
                    f"mm before the {end.towards}, but the part is {length:g} mm long",
                    "make the steps smaller or fewer",
                    end.here,
                )
                return False
        return True

    def _end_band(self, end, steps: int) -> Region:
        if end.at is None:
            return EdgeBand(end.towards, end.before + steps * end.step, FAR_MM)
        if end.towards == self.regions.edges[3]:
            return SpanBand(self.regions.first_mm, end.at - steps * end.step)
        return SpanBand(end.at + steps * end.step, self.regions.last_mm)

    def _one_ply(
        self,
        w,
        name: str,
        angle: float,
        region: Region,
        place: Place,
        group: str = "",
        drop: DropRun | None = None,
    ) -> Ply | None:
        cloth = self.materials.cloths.get(w.cloth)
        if cloth is None:
            self._unknown_material("cloth", w.cloth, self.materials.cloths, w.place_of("cloth"))
            return None
        if w.turn_over and not cloth.faces_alike:
            self.out.error(
                "cannot-turn-over",
                f"`{name}` may be turned over, but the faces of `{cloth.id}` are not alike",
                "delete `turn_over`, or say `faces_alike: yes` for the cloth",
                w.place_of("turn_over"),
                cloth.place,
            )
        return Ply(
            id=name,
            material=w.cloth,
            stage="",
            region=region,
            note=w.note,
            place=place,
            angle_deg=angle,
            splice=self._splice(w, cloth),
            group=group,
            drop=drop,
            may_turn_over=w.turn_over,
            drape=w.drape,
            darts=w.darts,
        )

    def _splice(self, w, cloth: Cloth) -> SpliceRule | None:
        """The ply's own rule, or None for the cloth's, or the cloth's with the part's clear
        zones."""
        if w.splice is None:
            if not self.keep_clear:
                return None
            return replace(cloth.splice, keep_clear=self.keep_clear)
        s = w.splice
        clear = (*self.keep_clear, *(self.regions.read(r) for r in s.keep_clear))
        return SpliceRule(
            s.join.kind,
            s.join.overlap_mm,
            cloth.splice.stagger_mm if s.stagger is None else s.stagger,
            cloth.splice.narrowest_mm if s.narrowest is None else s.narrowest,
            clear,
        )

    # ------------------------------------------------------------ core, inserts, rods, films

    def _core(self, w: CoreLayer) -> None:
        sheet = self.materials.cores.get(w.sheet)
        if sheet is None:
            self._unknown_material(
                "core material", w.sheet, self.materials.cores, w.place_of("sheet")
            )
            return
        edges = []
        for edge, cut in w.edges.items():
            if edge == "all" or self.regions.knows(edge, w._raw["edges"].key_places[edge]):
                edges.append(("" if edge == "all" else edge, self._treatment(cut)))
        edges.sort(key=lambda pair: pair[0])
        if "all" not in w.edges:
            edges.insert(0, ("", Treatment("bevel", self.core_bevel_deg)))
        default = self._treatment(w.seam_cut) if w.seam_cut else Treatment("square")
        suit = isinstance(w.seams, SeamsToSuit)
        if suit and w.seams.cut:
            default = self._treatment(w.seams.cut)
        core = Core(
            id=w.core,
            material=w.sheet,
            stage="",
            region=self.regions.read(w.region),
            note=w.note,
            place=w.here,
            thickness_mm=sheet.thickness_mm,
            edges=tuple(edges),
            seams=() if suit or w.seams is None else self._seams(w, default),
            seams_to_suit_sheets=suit,
            seam_default=default,
            perforate=w.perforate,
        )
        self._add(w.core, [core], w.place_of("core"))

    def _treatment(self, cut) -> Treatment:
        if cut.kind in ("square", "trim"):
            return Treatment(cut.kind, 90.0)
        usual = self.core_bevel_deg if cut.kind == "bevel" else 20.0
        return Treatment(cut.kind, cut.angle_deg or usual, cut.wide_side)

    def _seams(self, w: CoreLayer, default: Treatment) -> tuple[Seam, ...]:
        seams, names = [], {}
        for n, one in enumerate(w.seams):
            place = w.place_of("seams", n)
            given = sum((one.at is not None, one.share is not None, one.from_ is not None))
            if given != 1 or (one.from_ is None) != (one.to is None):
                self.out.error(
                    "unknown-seam",
                    "a seam is placed by one of `at`, `share`, or `from` and `to`",
                    "for example {at: 1300}",
                    place,
                )
                continue
            line = None
            if one.at is not None or one.share is not None:
                if not self.regions.lofted:
                    self.out.error(
                        "wrong-point",
                        "a flat face has no span and share",
                        "write {from: [x, y], to: [x, y]}",
                        place,
                    )
                    continue
                line = SpanLine(one.at) if one.at is not None else ShareLine(one.share)
                inside = self.regions.first_mm < (one.at or 0) < self.regions.last_mm
                if one.at is not None and not inside:
                    self.out.error(
                        "region-outside",
                        f"the seam at {one.at:g} mm lies off the "
                        f"part, which runs from {self.regions.first_mm:g} to "
                        f"{self.regions.last_mm:g} mm",
                        "check the figure",
                        place,
                    )
            else:
                start = self._point(one.from_, w, "seams", n, "from")
                end = self._point(one.to, w, "seams", n, "to")
                if start is None or end is None:
                    continue
                line = PointLine(start, end)
            name = one.id or f"S{n + 1}"
            if name in names:
                self.out.error(
                    "duplicate-id",
                    f"two seams of `{w.core}` are called `{name}`",
                    "give one another id",
                    place,
                    names[name],
                )
            names[name] = place
            cut = self._treatment(one.cut) if one.cut else default
            seams.append(Seam(name, line, cut))
        return tuple(seams)

    def _insert(self, w: InsertLayer) -> None:
        block = self.materials.cores.get(w.block)
        if block is None:
            self._unknown_material(
                "core material", w.block, self.materials.cores, w.place_of("block")
            )
            return
        cores = {layer.id: layer for layer in self.layers if isinstance(layer, Core)}
        core = cores.get(w.in_)
        if core is None:
            if w.in_ not in self.lost:
                self.out.unknown("core", w.in_, cores, w.place_of("in"))
            return
        thickness = w.thickness or block.thickness_mm
        if abs(thickness - core.thickness_mm) > 0.5:
            self.out.warning(
                "insert-thickness",
                f"insert `{w.insert}` is {thickness:g} mm thick, "
                f"the core `{core.id}` {core.thickness_mm:g} mm",
                "plane the block, or say it is meant under `accept:`",
                w.here,
                layers=(w.insert, core.id),
            )
        insert = Insert(
            id=w.insert,
            material=w.block,
            stage="",
            region=self.regions.read(w.region),
            note=w.note,
            place=w.here,
            thickness_mm=thickness,
            core=w.in_,
        )
        self.cut_outs.append((w.in_, CutOut(w.insert, w.clearance)))
        self._add(w.insert, [insert], w.place_of("insert"))

    def _let_in(self) -> None:
        """Every insert leaves its hole in the core it is let into."""
        for core_id, cut in self.cut_outs:
            for n, layer in enumerate(self.layers):
                if layer.id == core_id and isinstance(layer, Core):
                    self.layers[n] = replace(layer, cut_outs=(*layer.cut_outs, cut))

    def _rod(self, w: RodLayer) -> None:
        bar = self.materials.rods.get(w.bar)
        if bar is None:
            self._unknown_material("rod", w.bar, self.materials.rods, w.place_of("bar"))
            return
        if len(w.line) != 2:
            self.out.error(
                "outline-too-short",
                f"the line of `{w.rod}` has {len(w.line)} points, expected two",
                "write its start and its end",
                w.place_of("line"),
            )
            return
        start, end = (self._point(p, w, "line", n) for n, p in enumerate(w.line))
        if start is None or end is None:
            return
        if w.lengths and len(w.lengths) != w.rows:
            self.out.error(
                "out-of-range",
                f"{len(w.lengths)} lengths for {w.rows} row(s)",
                "give one length for each row",
                w.place_of("lengths"),
            )
        if w.rows > self.out.limits["rod-rows"]:
            self.out.error(
                "too-many", f"{w.rows} rows", self.out.limits.why("rod-rows"), w.place_of("rows")
            )
            return
        if w.pitch and w.pitch < bar.width_mm - 1e-9:
            self.out.error(
                "out-of-range",
                f"the pitch {w.pitch:g} mm is less than the rod's width {bar.width_mm:g} mm",
                "rods would overlap; leave `pitch` out for touching rods",
                w.place_of("pitch"),
            )
        if w.stack and w.lengths:
            self.out.error(
                "out-of-range",
                f"`{w.rod}` has both `lengths` and a `stack`",
                "keep one of them",
                w.key_place("stack"),
            )
            return
        self._sold_in(w, bar)
        names = _names(w.rod, len(w.stack)) if w.stack else [w.rod]
        rods = []
        for n, name in enumerate(names):
            rods.append(
                Rod(
                    id=name,
                    material=w.bar,
                    stage="",
                    region=Whole(),
                    note=w.note,
                    place=w.here,
                    line=(start, end),
                    rows=w.rows,
                    pitch_mm=w.pitch or bar.width_mm,
                    lengths_mm=(w.stack[n],) * w.rows if w.stack else tuple(w.lengths),
                    drop=self._rod_step(w, n, start, end),
                )
            )
        self._add(w.rod, rods, w.place_of("rod"))

    def _sold_in(self, w: RodLayer, bar: RodStock) -> None:
        longest = max(bar.supply_mm, default=0.0)
        for key in ("lengths", "stack"):
            for n, length in enumerate(getattr(w, key)):
                if length > longest:
                    self.out.error(
                        "longer-than-supply",
                        f"a rod of {length:g} mm, but `{bar.id}` is sold in at most {longest:g} mm",
                        "shorten it, or add a longer supply",
                        w.place_of(key, n),
                        bar.place,
                    )

    def _rod_step(self, w: RodLayer, n: int, start, end) -> DropRun | None:
        """A stack of rods is a run that steps back from the far end of the line."""
        if len(w.stack) < 2:
            return None
        edge = ""
        if isinstance(start, OnFace) and isinstance(end, OnFace):
            edge = self.regions.edges[3 if end.span_mm > start.span_mm else 2]
        steps = [abs(a - b) for a, b in zip(w.stack, w.stack[1:], strict=False)]
        return DropRun(w.rod, n + 1, len(w.stack), edge, min(steps))

    def _film(self, w: FilmLayer) -> None:
        if w.of not in self.materials.consumables:
            self._unknown_material("consumable", w.of, self.materials.consumables, w.place_of("of"))
            return
        if w.removed_after:
            self.removed_after.append((w.removed_after, w.place_of("removed_after")))
        film = Film(
            id=w.film,
            material=w.of,
            stage="",
            region=self.regions.read(w.region),
            note=w.note,
            place=w.here,
            removed_after=w.removed_after or "",
        )
        self._add(w.film, [film], w.place_of("film"))

    # ------------------------------------------------------------ helpers

    def _add(self, name: str, layers: list, place: Place) -> None:
        for one in {name, *(layer.id for layer in layers)}:
            if one in self.places:
                self.out.error(
                    "duplicate-id",
                    f"`{one}` is the id of two layers",
                    "give one of them another id",
                    place,
                    self.places[one],
                    layers=(one,),
                )
                return
        for one in sorted({name, *(layer.id for layer in layers)}):
            self.places[one] = place
        self.members[name] = tuple(layer.id for layer in layers)
        for layer in layers:
            self.members.setdefault(layer.id, (layer.id,))
        self.layers.extend(layers)

    def _point(self, written, owner, *path):
        return point_ref(written, self.regions.lofted, owner.place_of(*path), self.out)

    def _unknown_material(self, what: str, name: str, right: dict, place: Place) -> None:
        kinds = {
            "cloth": self.materials.cloths,
            "core material": self.materials.cores,
            "rod": self.materials.rods,
            "consumable": self.materials.consumables,
        }
        for other, shelf in kinds.items():
            if name in shelf and shelf is not right:
                self.out.error(
                    "wrong-material",
                    f"`{name}` is a {other}, expected a {what}",
                    f"defined: {', '.join(right) or 'none'}",
                    place,
                    shelf[name].place,
                )
                return
        self.out.unknown(what, name, right, place)

    def knows(self, name: str) -> bool:
        """Whether a name stands for layers, also for layers that could not be made."""
        return name in self.members or any(name.startswith(stem) for stem in self.lost)

    def _note_regions(self, owner: str) -> None:
        """Keep what the regions of the layer just read name."""
        self.named.extend((owner, name, place) for name, place in self.regions.take_named())

    def _check_named(self) -> None:
        """A region may follow any other single layer, as long as none follows itself."""
        follows: dict[str, list[tuple[str, Place]]] = {}
        for owner, name, place in self.named:
            if not self.knows(name):
                self.out.unknown("layer", name, self.members, place)
            elif len(self.members.get(name, ())) > 1:
                self.out.error(
                    "several-layers",
                    f"`{name}` stands for {len(self.members[name])} layers, expected one",
                    f"name one of {', '.join(self.members[name][:6])}",
                    place,
                )
            for one in self.members.get(owner, ()):
                follows.setdefault(one, []).append((name, place))
        for start in follows:
            for name, place in follows[start]:
                if start in _reached(name, follows):
                    self.out.error(
                        "region-loop",
                        f"the region of `{start}` follows `{name}`, which follows `{start}`"
                        if name != start
                        else f"the region of `{start}` follows itself",
                        "give one of these layers a region of its own",
                        place,
                        layers=(start, name),
                    )


def _reached(name: str, follows: dict[str, list[tuple[str, Place]]]) -> set[str]:
    """Every layer the region of a layer depends on, itself included."""
    seen, open_ = set(), [name]
    while open_:
        one = open_.pop()
        if one not in seen:
            seen.add(one)
            open_.extend(other for other, _ in follows.get(one, ()))
    return seen


def _names(stem: str, count: int) -> list[str]:
    """B1, B2 ... or D1-1, D1-2 ... where the stem ends in a digit."""
    dash = "-" if stem[-1].isdigit() else ""
    return [f"{stem}{dash}{n + 1}" for n in range(count)]
