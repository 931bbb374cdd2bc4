"""The language page, the schema and the shipped specs say what the models say."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import get_args

import jsonschema
import pytest
import yaml
from pydantic import BaseModel

from plybook.outside import Outside, Shelf
from plybook.spec import load
from plybook.spec.limits import DEFAULTS, Limits
from plybook.spec.reader import Fields, Items, read_tree
from plybook.spec.schema import FILE, schema, schema_text
from plybook.spec.written.files import PartFile, SharedFile
from tests.spec.goods import SKIN

SPECS = Path(__file__).parents[2] / "specs"
PAGE = (SPECS / "README.md").read_text(encoding="utf-8")
FENCES = re.findall(r"```yaml([^\n]*)\n(.*?)```", PAGE, re.DOTALL)
SHIPPED = sorted(SPECS.glob("*.yaml"))

# what an example is put into: the keys it does not give itself
BASE = {
    "plybook": "plybook: 1\n",
    "include": "include: [shared/materials.yaml, shared/stock.yaml]\n",
    "part": "part: {number: X-1, name: X, date: 2026-05-04, units: mm, hand: left}\n",
    "mould": """\
mould:
  side: upper
  loft: ruled
  stations:
    - {at: 0, chord: 1100, section: naca 2412}
    - {at: 4100, chord: 660, section: naca 2412}
""",
    "axis": "axis: {share: 0.25}\n",
    "layers": """\
layers:
  - {run: R, cloth: carbon-ud-150, angle: 0, plies: 2, ends: {towards: tip, before: 9, step: 9}}
""",
}


def blocks(text: str) -> dict[str, str]:
    """The text of each top-level key."""
    parts = re.split(r"(?m)^(?=[a-z])", text)
    return {part.split(":", 1)[0]: part for part in parts if part.strip()}


def disk() -> Shelf:
    held = {
        path.relative_to(SPECS).as_posix(): path.read_bytes()
        for path in SPECS.rglob("*")
        if path.is_file()
    }
    return Shelf(held)


def load_example(text: str):
    given = blocks(text)
    own = {**BASE, **given}
    if "channel:" in given.get("mould", ""):
        own["axis"] = "axis: {share: 0.5}\n"
    if "stages" not in own and "removed_after" in own["layers"]:
        own["stages"] = "stages:\n  - {stage: s, kind: wet_laminate, lays: [PS]}\n" \
                        "  - {stage: trim, kind: trim}\n"  # fmt: skip
    if re.search(r"\b(outline|dxf|csv):", given.get("mould", "")):
        if "axis" not in given:
            own.pop("axis")
        if "layers" not in given:  # a flat face has no tip to run to
            own["layers"] = "layers:\n  - {ply: P1, cloth: carbon-twill-200, angle: 45}\n"
    shelf = disk()
    shelf.files["example.yaml"] = "".join(own.values()).encode()
    return load(Path("example.yaml"), shelf)


@pytest.mark.parametrize("n", range(len(FENCES)))
def test_every_example_on_the_page_is_read(n):
    _, text = FENCES[n]
    if "\nunits:" in text:  # a shared file
        shelf = disk()
        shelf.files["more.yaml"] = text.encode()
        shelf.files["example.yaml"] = "".join(
            {**BASE, "include": "include: [shared/materials.yaml, shared/stock.yaml, more.yaml]\n"}
            .values()
        ).encode()  # fmt: skip
        assert load(Path("example.yaml"), shelf).specs
        return
    assert load_example(text).specs


def _models() -> dict[str, type[BaseModel]]:
    found: dict[str, type[BaseModel]] = {}

    def follow(annotation) -> None:
        is_model = isinstance(annotation, type) and issubclass(annotation, BaseModel)
        if is_model and annotation.__name__ not in found:
            found[annotation.__name__] = annotation
            for info in annotation.model_fields.values():
                follow(info.annotation)
        for inner in get_args(annotation):
            follow(inner)

    follow(PartFile)
    follow(SharedFile)
    return found


def test_every_key_of_the_language_stands_in_an_example():
    shown: set[str] = set()

    def visit(node) -> None:
        if isinstance(node, Fields):
            shown.update(node)
            for value in node.values():
                visit(value)
        elif isinstance(node, Items):
            for value in node:
                visit(value)

    for _, text in FENCES:
        visit(read_tree(text.encode(), "page", Limits()))
    known = {key for model in _models().values() for key in model.key_names()}
    # keys that stand for a word: `seams: {cut: ...}` is shown, `accept`, `jig` are top level
    assert sorted(known - shown) == []


def test_every_key_of_the_language_is_described():
    bare = [
        f"{name}.{key}"
        for name, model in _models().items()
        for key, info in model.model_fields.items()
        if not info.description
    ]
    assert bare == []
    assert [name for name, model in _models().items() if not model.__doc__] == []


def test_every_limit_stands_on_the_page_with_its_value():
    for limit in DEFAULTS.values():
        assert f"| `{limit.name}` | {limit.value:.10g} | {limit.reason} |" in PAGE


# ---------------------------------------------------------------- schema


def test_the_shipped_schema_has_not_drifted():
    """Made anew with: plybook schema > plybook/spec/plybook.schema.json."""
    assert FILE.read_text(encoding="utf-8") == schema_text()


class _Editor(yaml.SafeLoader):
    """YAML as an editor reads it: numbers and yes/no typed, dates left as text."""


_Editor.yaml_implicit_resolvers = {
    first: [(tag, pattern) for tag, pattern in rules if not tag.endswith("timestamp")]
    for first, rules in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


def _schema_faults(text: str) -> list[str]:
    checker = jsonschema.Draft202012Validator(schema())
    return [e.json_path for e in checker.iter_errors(yaml.load(text, Loader=_Editor))]


def test_the_schema_is_itself_sound():
    jsonschema.Draft202012Validator.check_schema(json.loads(schema_text()))


@pytest.mark.parametrize(
    "path", [*SHIPPED, *sorted(SPECS.glob("shared/*.yaml"))], ids=lambda p: p.name
)
def test_an_editor_accepts_the_shipped_files(path):
    assert _schema_faults(path.read_text(encoding="utf-8")) == []


def test_an_editor_shows_an_unknown_key_and_a_missing_one():
    assert _schema_faults(SKIN) == []
    assert _schema_faults(SKIN.replace("loft: ruled", "lofts: ruled"))
    assert _schema_faults(SKIN.replace("  number: KT-210\n", ""))


# ---------------------------------------------------------------- shipped specs


@pytest.mark.parametrize("path", SHIPPED, ids=lambda p: p.name)
def test_the_shipped_specs_are_read_without_a_word(path):
    loaded = load(path, Outside())
    assert loaded.findings == ()
    assert len(loaded.specs) == (2 if path.name == "wing-skin.yaml" else 1)


def test_the_shipped_skin_is_of_real_size_with_two_runs_seams_and_a_hardpoint():
    spec = load(SPECS / "wing-skin.yaml", Outside()).specs[0]
    stations = spec.mould.stations
    assert 3000 <= stations[-1].at_mm <= 4500
    assert stations[-1].chord_mm < stations[0].chord_mm and stations[-1].sweep_mm > 0
    assert len({p.drop.run for p in spec.layers if getattr(p, "drop", None)}) == 2
    core = next(layer for layer in spec.layers if layer.id == "C")
    assert core.seams_to_suit_sheets and [c.insert for c in core.cut_outs] == ["H"]
    assert core.seam_default.kind == "square" and dict(core.edges)[""].angle_deg == 45
