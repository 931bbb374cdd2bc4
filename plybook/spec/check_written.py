"""Holds a tree against a written model and turns what is wrong into findings with places."""

from __future__ import annotations

import re
from functools import cache
from typing import Any, TypeVar, get_args

from pydantic import BaseModel, ValidationError

from plybook.diagnostics import Finding, Place, error, localized
from plybook.spec.limits import Limits
from plybook.spec.meant import meant
from plybook.spec.quantities import Wrong
from plybook.spec.reader import Fields, Items, Scalar
from plybook.spec.reading import Reading
from plybook.spec.written.base import Written
from plybook.spec.written.files import PartFile, SharedFile

Model = TypeVar("Model", bound=Written)


def check_written(
    model: type[Model], tree: Fields, units: str | None, limits: Limits
) -> tuple[Model | None, list[Finding]]:
    """Read a tree as a model.

    Args:
        model: `PartFile` or `SharedFile`.
        tree: the file's top-level mapping.
        units: unit of bare lengths in this file, None when it declares none.
        limits: limits in force.

    Returns:
        The written model, or None when something is wrong, and the findings.
    """
    reading, most = Reading(units, limits), int(limits["findings"])
    findings: list[Finding] = []
    written = None
    try:
        written = model.model_validate(tree, context=reading)
    except ValidationError as problem:
        intended = {_close(cls, key) or key for cls, _, key in reading.unknown[:most]}
        faults = problem.errors(include_url=False, include_input=False)
        findings = [
            _finding(dict(one), tree)
            for one in faults[: 4 * most]
            if one["type"] != "missing" or one["loc"][-1] not in intended  # misspelt: said below
        ]
    unknown = [_unknown(*one) for one in reading.unknown[:most]]
    found = list(localized(units or "mm", _once_for_units([*findings, *unknown])[:most]))
    found.sort(key=lambda f: (f.places[0].line, f.places[0].column) if f.places else (0, 0))
    return (None if found else written), found


def _once_for_units(findings: list[Finding]) -> list[Finding]:
    """A file without units has one fault, however many lengths it holds."""
    kept, seen = [], False
    for one in findings:
        if one.code == "no-units":
            if seen:
                continue
            seen = True
        kept.append(one)
    return kept


def _finding(one: dict[str, Any], tree: Fields) -> Finding:
    node, key, parent = _walk(tree, one["loc"])
    place = node.place if node is not None else tree.place
    name = f"`{key}`" if key else "this"
    kind = one["type"]
    if kind == "missing":
        missing = one["loc"][-1]
        return _missing(str(missing), node, key, place, tree)
    if isinstance(node, Scalar) and node.empty:
        key_place = _key_place(parent, key, place)
        return error("empty", f"{name} is empty", "write its value, or delete the key", key_place)
    refusal = (one.get("ctx") or {}).get("error")
    if isinstance(refusal, Wrong):
        return error(refusal.code, refusal.message.replace("{key}", name), refusal.help, place)
    found = _kind_of(node)
    expected = {
        "model_type": "a mapping (`key: value` lines)",
        "dict_type": "a mapping (`key: value` lines)",
        "list_type": "a list (lines that begin with `- `, or [a, b])",
    }.get(kind)
    if expected:
        help = _AS_WRITTEN.get(key, "")
        return error("wrong-kind", f"{name}: expected {expected}, found {found}", help, place)
    return error("wrong-value", f"{name}: {one['msg'].lower()}", "", place)


_AS_WRITTEN = {  # of mappings that are easily taken for one figure
    "mix": "write the parts by weight, resin first: `mix: {resin: 100, hardener: 27}`",
    "pot_life": "write `pot_life: {time: 90 min, mass: 100 g, at: 25 C}`",
    "splice": "write `splice: {join: overlap 25}`",
    "edges": "write `edges: {all: {trim: 15}}`, or for a core `edges: {all: bevel 45}`",
}


_TO_CHOOSE = {  # of keys that must be said and have few values
    "loft": "add `loft: ruled` (straight from station to station) or `loft: smooth`",
    "form": "add `form: female` (laid inside the mould) or `form: male` (laid over it)",
    "side": "add `side: upper` or `side: lower`",
}


def _kind_of(node: Any) -> str:
    if isinstance(node, Fields):
        return "a mapping"
    if isinstance(node, Items):
        return "a list"
    text = str(node).replace("\n", " ")
    return f"`{text if len(text) <= 40 else text[:37] + '...'}`"


def _walk(tree: Fields, loc: tuple) -> tuple[Any, str, Any]:
    """Follow a location through the tree; names of union branches are passed over."""
    node, key, parent = tree, "", None
    for step in loc:
        if isinstance(node, Fields) and isinstance(step, str) and step in node:
            node, key, parent = node[step], step, node
        elif isinstance(node, Items) and isinstance(step, int) and step < len(node):
            parent, node = node, node[step]
    return node, key, parent


def _key_place(parent: Any, key: str, place: Place) -> Place:
    return parent.key_places.get(key, place) if isinstance(parent, Fields) else place


def _missing(missing: str, node: Any, key: str, place: Place, tree: Fields) -> Finding:
    if node is tree and missing == "plybook":
        return error(
            "no-version",
            "the file does not say which version of the language it is in",
            "add this as the first line: plybook: 1",
            Place(place.file, 1, 1, 2),
        )
    if node is tree:
        return error(
            "missing",
            f"the spec has no `{missing}`",
            f"add `{missing}:`",
            Place(place.file, 1, 1, 2),
        )
    head = next(iter(node), "") if isinstance(node, Fields) else ""
    value = node[head] if head else ""
    which = f" ({head}: {value})" if isinstance(value, Scalar) and not value.empty else ""
    inside = f" in `{key}`" if key else ""
    help = _TO_CHOOSE.get(missing, f"add `{missing}:`")
    return error("missing", f"`{missing}` is missing{inside}{which}", help, place)


# ---------------------------------------------------------------- unknown keys


def _unknown(model: type[Written], raw: Fields, key: str) -> Finding:
    place = raw.key_places[key]
    if re.fullmatch(r"\d+", key) and isinstance(raw[key], Scalar) and raw[key].empty:
        before = list(raw)[list(raw).index(key) - 1]
        return error(
            "decimal-comma",
            f"`{before}`: `{raw[before]},{key}` has a decimal comma",
            f"use a decimal point: {raw[before]}.{key}",
            Place(place.file, place.line, raw[before].place.column, place.end_column),
        )
    allowed = f"allowed here: {', '.join(model.key_names())}"
    if close := _close(model, key):
        return error(
            "unknown-key", f"unknown key `{key}`", f"did you mean `{close}`? {allowed}", place
        )
    homes = _homes().get(key, ())
    if model in (PartFile, SharedFile):
        homes = tuple(home for home in homes if home != key)
    if homes:
        where = " or ".join(f"`{home}`" for home in homes[:3])
        return error(
            "misplaced-key",
            f"`{key}` does not belong here; it belongs at {where}",
            f"move it there; {allowed}",
            place,
        )
    return error("unknown-key", f"unknown key `{key}`", allowed, place)


def _close(model: type[Written], key: str) -> str:
    """The key that was meant, "" when none is near."""
    return meant(key, model.key_names(), 0.7)


@cache
def _homes() -> dict[str, tuple[str, ...]]:
    """Every key of the language and where it may stand."""
    found: dict[str, list[str]] = {}
    seen: set[type] = set()

    def visit(model: type[BaseModel], path: str) -> None:
        if model in seen:
            return
        seen.add(model)
        for name, info in model.model_fields.items():
            key = info.alias or name
            here = f"{path}.{key}" if path else key
            found.setdefault(key, []).append(here)
            follow(info.annotation, here)

    def follow(annotation: Any, path: str) -> None:
        if isinstance(annotation, type) and issubclass(annotation, BaseModel):
            visit(annotation, path)
        origin = getattr(annotation, "__origin__", None)
        for inner in get_args(annotation):
            follow(inner, f"{path}.<id>" if origin is dict else path)

    visit(PartFile, "")
    visit(SharedFile, "")
    return {key: tuple(paths) for key, paths in found.items()}
