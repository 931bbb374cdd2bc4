"""What lies in the mould while the steps go by, and as what it is drawn below a step's pieces."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from shapely import union_all
from shapely.geometry.base import BaseGeometry

from plybook.drawing.stepview import EDGED
from plybook.laminate.model import LaidLayer

ONE_BY_ONE = 40  # layers below that are drawn one by one


class InMould:
    """The layers laid so far.

    Args:
        layers: of the laminate, from the mould face up.
    """

    def __init__(self, layers: Sequence[LaidLayer]) -> None:
        self._layers = layers
        self._laid: set[str] = set()
        self._united: dict[str, tuple[tuple[str, ...], BaseGeometry]] = {}

    def lay(self, ids: Iterable[str]) -> None:
        """Layers that a step lays."""
        self._laid.update(ids)

    def take_off(self, ids: Iterable[str]) -> None:
        """Films that come off again."""
        self._laid.difference_update(ids)

    def but(self, ids: Sequence[str] = ()) -> list[LaidLayer]:
        """All that lies there except some layers, from the mould face up."""
        return [x for x in self._layers if x.id in self._laid and x.id not in ids]

    def together_with(self, ids: Sequence[str]) -> list[LaidLayer]:
        """All that lies there and some layers more, from the mould face up."""
        return [x for x in self._layers if x.id in self._laid or x.id in ids]

    def drawn(self, below: Sequence[LaidLayer]) -> Iterator[LaidLayer]:
        """Layers as they are drawn: of a tall stack only the upper ones one by one, those under
        them as one of each kind, except where their outlines show through."""
        under, upper = below[:-ONE_BY_ONE], below[-ONE_BY_ONE:]
        for kind in dict.fromkeys(layer.kind for layer in under):
            alike = [layer for layer in under if layer.kind == kind]
            if kind in EDGED:
                yield from alike
            else:
                yield replace(alike[0], region=self._union(kind, alike))
        yield from upper

    def _union(self, kind: str, layers: Sequence[LaidLayer]) -> BaseGeometry:
        """The regions of layers as one; what was united for the step before is only added to."""
        ids = tuple(layer.id for layer in layers)
        known, shape = self._united.get(kind, ((), None))
        if shape is None or ids[: len(known)] != known:
            shape = union_all([layer.region for layer in layers])
        else:
            for layer in layers[len(known) :]:
                shape = shape if shape.covers(layer.region) else shape.union(layer.region)
        self._united[kind] = ids, shape
        return shape
