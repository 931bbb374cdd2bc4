"""Structured mutations of YAML specs: the tree is changed, so most results still parse.

A mutation takes the parsed tree of one file and a dice and changes one place: a value deleted,
doubled, swapped for another type, made huge, tiny, negative, unicode or not a number; keys renamed
or reordered; a branch copied from elsewhere in the file.
"""

from __future__ import annotations

import copy
import random
import re

import yaml

ODD_TEXT = [
    "", " ", "x", "日本語", "∓45", "é" * 50, "</script><script>alert(1)</script>", "]]></style>",
    "[carbon]", "[/0]", "=1+1", "@SUM(A1)", "a\nb", "a\tb", "%%c %%d \\P", "~", "null", "yes",
    "\u202eabc", "\ud7ff", "👩‍🔧", "1/0", "0x10", "1e999", "NaN", "-", "--", "..", "../x",
    "/", "a" * 3000, "'", '"', "{{x}}", "${HOME}", "\x7f", "12:30", "045", "1,5", "3 in",
    "1' 6\"", "2026-02-30",
]  # fmt: skip
ODD_NUMBERS = [
    0, -1, 1, 2, 1e-9, 1e-4, 0.5, 0.999999, 1.0000001, 45.0001, 89.9, 90, 179.999, 360, 1e4, 1e6,
    1e9, 1e15, 1e308, -0.0, 3, 17, 1000, 0.01, 12345678901234567890, float("inf"), float("nan"),
]  # fmt: skip
ODD_THINGS = [None, True, [], {}, [[]], [{}], {"": 1}, [1, 2], [1, 2, 3], {"a": 1}, ["x"], [None]]


def places(tree, path=()):
    """Every place below the top, as a path of keys and indexes."""
    inside = tree.items() if isinstance(tree, dict) else enumerate(tree)
    for key, value in inside:
        yield (*path, key)
        if isinstance(value, (dict, list)):
            yield from places(value, (*path, key))


def holder(tree, path):
    for key in path[:-1]:
        tree = tree[key]
    return tree


def mutated(tree, dice: random.Random, times: int = 1):
    """A copy of a parsed spec with some places changed."""
    tree = copy.deepcopy(tree)
    for _ in range(times):
        every = list(places(tree))
        if not every:
            break
        _change(tree, dice.choice(every), every, dice)
    return tree


def _change(tree, path, every, dice) -> None:
    parent, key = holder(tree, path), path[-1]
    value = parent[key]
    what = dice.choice(
        ["delete", "text", "number", "number", "thing", "double", "negate", "scale", "graft",
         "reorder", "rename", "nest", "unit"]
    )  # fmt: skip
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if what == "delete":
        del parent[key]
    elif what == "text":
        parent[key] = dice.choice(ODD_TEXT)
    elif what == "number":
        parent[key] = dice.choice(ODD_NUMBERS)
    elif what == "thing":
        parent[key] = copy.deepcopy(dice.choice(ODD_THINGS))
    elif what == "double" and isinstance(parent, list):
        parent.insert(key, copy.deepcopy(value))
    elif what == "negate" and number:
        parent[key] = -value
    elif what == "scale" and number:
        parent[key] = value * dice.choice([1e-6, 1e-3, 0.1, 0.5, 0.97, 1.03, 2, 10, 1e3, 1e6])
    elif what == "graft":
        other = dice.choice(every)
        parent[key] = copy.deepcopy(holder(tree, other)[other[-1]])
    elif what == "reorder" and isinstance(value, list):
        dice.shuffle(value)
    elif what == "reorder" and isinstance(value, dict):
        pairs = list(value.items())
        dice.shuffle(pairs)
        value.clear()
        value.update(pairs)
    elif what == "rename" and isinstance(parent, dict):
        parent[dice.choice(["x", "all", "id", "span", "region", "at", "", "ply"])] = parent.pop(key)
    elif what == "nest":
        parent[key] = dice.choice([[value], {"at": value}, [value, value], {"region": value}])
    elif what == "unit":
        parent[key] = f"{value} {dice.choice(['mm', 'in', 'deg', 'g', 'h', '%', 'parsec', 'C'])}"


def written(tree, flow: bool | None = False) -> bytes:
    """The tree as YAML, without the anchors that our reader refuses; with `flow` None what holds
    nothing nested stands in one line."""

    class Plain(yaml.SafeDumper):
        def ignore_aliases(self, data):
            return True

    def quoted(dumper, value):
        clock = re.fullmatch(r"\d{1,2}:\d{2}", value)
        return dumper.represent_scalar("tag:yaml.org,2002:str", value, style="'" if clock else None)

    Plain.add_representer(str, quoted)
    text = yaml.dump(
        tree, Dumper=Plain, allow_unicode=True, sort_keys=False, default_flow_style=flow, width=100
    )
    return text.encode("utf-8", "surrogatepass")


def read(text: bytes):
    """A shipped spec as a tree whose quantities stay text: `3/8 in`, `1 h 30 min`."""
    return yaml.safe_load(text)
