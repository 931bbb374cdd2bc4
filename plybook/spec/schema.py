"""The language as a JSON Schema, for editors; made from the written models.

`plybook.schema.json` in this folder is what ships; `schema_text` makes it anew, and a test holds
the two against each other.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

FILE = Path(__file__).with_name("plybook.schema.json")


def schema_text() -> str:
    """The schema as it is shipped, with a line end."""
    return json.dumps(schema(), indent=1, ensure_ascii=False) + "\n"


def schema() -> dict[str, Any]:
    """JSON Schema (draft 2020-12) of a file: with `part:` a part spec, without one shared."""
    from pydantic.json_schema import models_json_schema

    from plybook.spec.written.files import PartFile, SharedFile

    _, made = models_json_schema(
        [(PartFile, "validation"), (SharedFile, "validation")], by_alias=True
    )
    definitions = {name: _strict(_short_forms(_tidy(one))) for name, one in made["$defs"].items()}
    for name, words in _WORD_FORMS.items():
        definitions[name] = {"anyOf": [words, definitions[name]]}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "plybook spec",
        "description": "A part spec has `part:`; a file without it is meant to be included.",
        "type": "object",
        "if": {"required": ["part"]},
        "then": {"$ref": "#/$defs/PartFile"},
        "else": {"$ref": "#/$defs/SharedFile"},
        "$defs": definitions,
    }


# mappings that may also be written as words
_WORD_FORMS = {
    "RegionKeys": {"const": "whole"},
    "Splice": {"type": "string", "pattern": "^(butt|overlap .+)$"},
    "SeamsToSuit": {"const": "to suit the sheets"},
}


def _tidy(node: Any) -> Any:
    """Without titles and null branches, which only say how the models are made."""
    if isinstance(node, list):
        return [_tidy(one) for one in node]
    if not isinstance(node, dict):
        return node
    made = {
        key: _tidy(value)
        for key, value in node.items()
        if not (key == "title" and isinstance(value, str)) and key != "default"
    }
    branches = made.get("anyOf")
    if branches and {"type": "null"} in branches:
        left = [one for one in branches if one != {"type": "null"}]
        made.pop("anyOf")
        made = {**left[0], **made} if len(left) == 1 else {"anyOf": left, **made}
    return made


def _strict(node: dict[str, Any]) -> dict[str, Any]:
    """A mapping refuses keys it does not know; not every pydantic says so of every model."""
    return {"additionalProperties": False, **node} if "properties" in node else node


def _short_forms(node: dict[str, Any]) -> dict[str, Any]:
    """Keys that take one value as well as a list or mapping of them."""
    fields = node.get("properties", {})
    for key, also in (("inset", _LENGTH), ("ends", None), ("include", {"type": "string"})):
        if key in fields:
            whole = fields[key]
            one = also or whole.get("items")
            about = {k: whole.pop(k) for k in ("description",) if k in whole}
            fields[key] = {"anyOf": [one, whole], **about}
    return node


_LENGTH = {"anyOf": [{"type": "number"}, {"type": "string", "pattern": r"\d"}]}
