"""Layers, worked out: each kind by its own reader, then held against one another."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

from plybook.diagnostics import Place
from plybook.spec.collect import Collector
from plybook.spec.core_layers import read_core, read_film, read_insert, read_rods
from plybook.spec.lay_list import LayList
from plybook.spec.model import Core, Materials
from plybook.spec.ply_layers import read_group, read_ply, read_run
from plybook.spec.regions import RegionReader
from plybook.spec.written.files import PartFile
from plybook.spec.written.layers import (
    CoreLayer,
    FilmLayer,
    GroupLayer,
    InsertLayer,
    PlyLayer,
    RodLayer,
    RunLayer,
)

# kind of layer -> its reader, and the key that names it
_READERS: dict[type, tuple[Callable[[LayList, Any], None], str]] = {
    PlyLayer: (read_ply, "ply"),
    GroupLayer: (read_group, "as_"),
    RunLayer: (read_run, "run"),
    CoreLayer: (read_core, "core"),
    InsertLayer: (read_insert, "insert"),
    RodLayer: (read_rods, "rod"),
    FilmLayer: (read_film, "film"),
}


def read_layers(
    written: PartFile,
    materials: Materials,
    regions: RegionReader,
    core_bevel_deg: float,
    out: Collector,
) -> LayList:
    """All layers of a part; what is wrong goes to the collector."""
    lay = LayList(materials, regions, core_bevel_deg, out)
    if written.splices:
        lay.keep_clear = tuple(regions.read(r) for r in written.splices.keep_clear)
        lay.named.extend(("", name, place) for name, place in regions.take_named())
    if not written.layers:
        out.error(
            "empty",
            "`layers` is empty",
            "list what is laid, mould face first",
            written.key_place("layers"),
        )
    for n, w in enumerate(written.layers):
        read, key = _READERS[type(w)]
        before, name = len(lay.layers), getattr(w, key)
        read(lay, w)
        if len(lay.layers) == before:
            lay.lost.append(name)
        lay.named.extend((name, other, place) for other, place in regions.take_named())
        if len(lay.layers) > out.limits["layers"]:
            out.error(
                "too-many",
                f"more than {out.limits['layers']:.0f} layers",
                out.limits.why("layers"),
                w.here,
            )
            lay.lost += [getattr(one, _READERS[type(one)][1]) for one in written.layers[n + 1 :]]
            break
    _check_named(lay)
    _let_in(lay)
    return lay


def _let_in(lay: LayList) -> None:
    """Every insert leaves its hole in the core it is let into."""
    for core_id, cut in lay.cut_outs:
        for n, layer in enumerate(lay.layers):
            if layer.id == core_id and isinstance(layer, Core):
                lay.layers[n] = replace(layer, cut_outs=(*layer.cut_outs, cut))


def _check_named(lay: LayList) -> None:
    """A region may follow any other single layer, as long as none follows itlay."""
    follows: dict[str, list[tuple[str, Place]]] = {}
    for owner, name, place in lay.named:
        if not lay.knows(name):
            lay.out.unknown("layer", name, lay.members, place)
        elif len(lay.members.get(name, ())) > 1:
            lay.out.error(
                "several-layers",
                f"`{name}` stands for {len(lay.members[name])} layers, expected one",
                f"name one of {', '.join(lay.members[name][:6])}",
                place,
            )
        for one in lay.members.get(owner, ()):
            follows.setdefault(one, []).append((name, place))
    for start in follows:
        if _deep(start, follows, int(lay.out.limits["region-chain"])):
            lay.out.error(
                "too-many",
                f"the region of `{start}` follows more than {lay.out.limits['region-chain']:.0f} "
                "layers, each by the next",
                f"measure it from one further down; {lay.out.limits.why('region-chain')}",
                follows[start][0][1],
            )
            break
        for name, place in follows[start]:
            if start in _reached(name, follows):
                lay.out.error(
                    "region-loop",
                    f"the region of `{start}` follows `{name}`, which follows `{start}`"
                    if name != start
                    else f"the region of `{start}` follows itself",
                    "give one of these layers a region of its own",
                    place,
                    layers=(start, name),
                )


def _deep(start: str, follows: dict[str, list[tuple[str, Place]]], most: int) -> bool:
    """Whether more than `most` layers follow one another from here; a loop is another's matter."""
    level, seen = {start}, {start}
    for _ in range(most + 1):
        level = {other for one in level for other, _ in follows.get(one, ())}
        if not level or start in level:
            return False
        seen |= level
    return len(seen) > most + 1


def _reached(name: str, follows: dict[str, list[tuple[str, Place]]]) -> set[str]:
    """Every layer the region of a layer depends on, itself included."""
    seen, open_ = set(), [name]
    while open_:
        one = open_.pop()
        if one not in seen:
            seen.add(one)
            open_.extend(other for other, _ in follows.get(one, ()))
    return seen
