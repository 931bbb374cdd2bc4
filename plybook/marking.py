"""Ids as they are marked on pieces and name files: readable, and never taken for one another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from plybook.diagnostics import Finding, Place, SpecError, error
from plybook.names import file_name, folder_name, looks_like, trouble
from plybook.spec.model import NOWHERE, PartSpec


def refuse_set_name(specs: Sequence[PartSpec], set_name: str) -> None:
    """Refuse a set whose folder would be that of a part.

    Args:
        specs: of all parts of a build.
        set_name: as asked for, "" for the parts' numbers in a row.

    Raises:
        SpecError: a part has this number.
        OutputError: it cannot be the name of a folder.
    """
    if len(specs) < 2 and not set_name:
        return
    name = folder_name(set_name or "+".join(spec.part.number for spec in specs))
    for spec in specs:
        if spec.part.number.casefold() == name.casefold():
            raise SpecError(
                error(
                    "set-name-taken",
                    f"`{name}` is the number of a part, so its folder cannot be the set's too",
                    "choose another name with --set-name",
                    spec.part.place,
                )
            )


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
            found += [*_unreadable(named), *_no_file(named)] or [*_alike(named)]
    numbers = [(spec.part.number, spec.part.place) for spec in specs]
    found += [*_unreadable(numbers), *_no_file(numbers)] or [*_alike(numbers)]
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


def refuse_currencies(specs: Sequence[PartSpec]) -> None:
    """Prices of parts that are built together are added up, so they are in one currency."""
    first, money = specs[0].part, specs[0].workshop.currency
    for spec in specs:
        if spec.workshop.currency != money:
            raise SpecError(
                error(
                    "currencies-differ",
                    f"prices of {first.number} are in {money or 'no currency'}, "
                    f"those of {spec.part.number} in {spec.workshop.currency or 'none'}",
                    "give both the same `currency` under `workshop`, or build them one by one",
                    spec.part.place,
                    first.place,
                )
            )


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


def _no_file(named: Iterable[tuple[str, Place]]) -> Iterator[Finding]:
    for id, place in named:
        if why := trouble(id):
            yield error(
                "id-names-no-file",
                f"the id `{id}` names files, and cannot on every system: {why}",
                "choose another id",
                place,
            )


def _alike(named: Iterable[tuple[str, Place]]) -> Iterator[Finding]:
    first: dict[str, tuple[str, Place]] = {}
    for id, place in named:
        for key, why, enough in (
            (f"file {file_name(id).casefold()}", "would name one file",
             "capitals, accents and signs"),
            (f"look {looks_like(id)}", "look the same on a piece", "marks that look alike"),
        ):  # fmt: skip
            other, where = first.setdefault(key, (id, place))
            if other != id:
                yield error(
                    "ids-alike",
                    f"the ids `{other}` and `{id}` {why}",
                    f"let them differ in more than {enough}",
                    *(p for p in (place, where) if p is not NOWHERE),
                )
                break
