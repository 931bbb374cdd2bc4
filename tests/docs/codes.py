"""Every code of a finding that the source can give, read off the source itself.

A code is the first argument, written out, of a call to a function whose first parameter is called
`code` (`error`, `warning`, `Wrong`, ...), or is given to any call by that name; the name after
`unknown-` where the collector makes one, or the id of a trade rule.
"""

import ast
from functools import cache
from pathlib import Path

import yaml

import plybook

HOUSE = Path(plybook.__file__).parent


def makers(trees) -> set[str]:
    """Names of functions and classes whose first own parameter is `code`."""
    found = {"Finding"}
    for tree in trees:
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef) and first_parameter(node) == "code":
                found.add(node.name)
            if isinstance(node, ast.ClassDef) and any(
                isinstance(inner, ast.FunctionDef)
                and inner.name == "__init__"
                and first_parameter(inner) == "code"
                for inner in node.body
            ):
                found.add(node.name)
    return found - {"__init__"}


def first_parameter(function: ast.FunctionDef) -> str:
    names = [a.arg for a in function.args.args if a.arg != "self"]
    return names[0] if names else ""


@cache
def codes() -> dict[str, str]:
    """Code -> where it is first used."""
    trees = {p: ast.parse(p.read_text(encoding="utf-8")) for p in sorted(HOUSE.rglob("*.py"))}
    names = makers(trees.values())
    found: dict[str, str] = {}
    for path, tree in trees.items():
        for node in ast.walk(tree):
            if not isinstance(node, ast.Call):
                continue
            where = f"{path.relative_to(HOUSE)}:{node.lineno}"
            for given in node.keywords:
                for code in literals(given.value) if given.arg == "code" else ():
                    found.setdefault(code, where)
            name = getattr(node.func, "id", getattr(node.func, "attr", ""))
            for code in literals(node.args[0]) if node.args else ():
                if name in names:
                    found.setdefault(code, where)
                elif name == "unknown":
                    found.setdefault(f"unknown-{code.replace(' ', '-')}", where)
    rules = yaml.safe_load((HOUSE / "trade" / "rules.yaml").read_text(encoding="utf-8"))
    for rule in rules["rules"]:
        found.setdefault(rule["id"], "trade/rules.yaml")
    return found


def literals(node: ast.expr) -> list[str]:
    """The strings an expression can be: written out, or one of two."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return [node.value]
    if isinstance(node, ast.IfExp):
        return literals(node.body) + literals(node.orelse)
    return []
