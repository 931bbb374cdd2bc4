"""Ids as they are marked on pieces and name files: readable, and never taken for one another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from plybook.diagnostics import Finding, Place, SpecError, error
from plybook.spec.model import NOWHERE, PartSpec


def file_name(id: str) -> str:
    """An id as part of a file name, the same on every system."""
    return "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in id)


def refuse_misread_ids(specs: Sequence[PartSpec]) -> None:
    """Refuse ids of layers and stock that the typeface of the templates cannot show, or that two
    files or two eyes would take for one another.

    Raises:
        SpecError: all of them, each with its places.
    """
    found: list[Finding] = []
    for spec in specs:
        for group in (spec.layers, spec.stock):
            named = [(thing.id, thing.place) for thing in group]
            found += [*_unreadable(named)] or [*_alike(named)]
    numbers = [(spec.part.number, spec.part.place) for spec in specs]
    found += [*_unreadable(numbers)] or [*_alike(numbers)]
    if found:
        raise SpecError(dict.fromkeys(found))


def refuse_twins(specs: Sequence[PartSpec]) -> None:
    """Two parts of one number would write into one folder."""
    first: dict[str, PartSpec] = {}
    for spec in specs:
        number = spec.part.number
        if number in first:
            raise SpecError(
                error(
                    "same-part-number",
                    f"two specs have the part number {number!r}",
                    "give each part its own number",
                    spec.part.place,
                    first[number].part.place,
                )
            )
        first[number] = spec


def refuse_shared_files(ids: Iterable[str]) -> None:
    """Refuse ids, made from those of the spec, of which two would name one file.

    Raises:
        SpecError: naming both.
    """
    found = list(_alike([(id, NOWHERE) for id in ids]))
    if found:
        raise SpecError(found)


def _unreadable(named: Iterable[tuple[str, Place]]) -> Iterator[Finding]:
    strange = [(id, place) for id, place in named if not id.isascii()]
    if not strange:
        return
    from plybook.drawing.letters import missing_glyphs  # opens the typeface

    for id, place in strange:
        if lost := missing_glyphs(id):
            yield error(
                "id-not-shown",
                f"the id `{id}` cannot be printed on a template: the typeface has no {lost}",
                "write it with Latin letters and digits; names and notes may stay as they are",
                place,
            )


def _alike(named: Iterable[tuple[str, Place]]) -> Iterator[Finding]:
    first: dict[str, tuple[str, Place]] = {}
    for id, place in named:
        other, where = first.setdefault(file_name(id).casefold(), (id, place))
        if other != id:
            yield error(
                "ids-alike",
                f"the ids `{other}` and `{id}` would name one file, and are misread at the bench",
                "let them differ in more than capitals, accents and signs",
                *(p for p in (place, where) if p is not NOWHERE),
            )
