"""The house rules that can be read off the imports: data flows one way, one library, one door."""

import ast
import re
import sys
from pathlib import Path

import pytest

HOUSE = Path(__file__).parent.parent / "plybook"
FLOW = ["spec", "surface", "laminate", "stock", "nest", "shop", "drawing", "write"]
LEAVES = {"diagnostics", "units", "geometry", "libraries", "names", "crew"}
# rooms beside the flow and what they may use of the house
BESIDE = {"verify": {"__version__"}, "record": {"shop", "drawing", "spec"}, "trade": set()}
# third-party libraries that stand behind a door: the only modules that may import them
DOORS = {
    "ezdxf": {"write/dxf_library.py"},
    "svgwrite": {"write/svg.py"},
    "rectpack": {"nest/boxes.py"},
    "spyrrow": {"nest/child.py"},
    "yaml": {"spec/reader.py"},
    "ruamel": {"stock/keep.py"},
    "pypdf": {"verify/pdf_pages.py"},
    "reportlab": {"write/pdf_library.py"},
    "segno": {"write/qr.py"},
}
READS_THE_WORLD = {"outside.py", "cli.py", "nest/child.py"}


def modules():
    return sorted(HOUSE.rglob("*.py"))


def name_of(path):
    return path.relative_to(HOUSE).as_posix()


def imports(path):
    """Dotted names a module imports, at its head or later."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: relative import"
            if node.module == "plybook":
                yield from (f"plybook.{alias.name}" for alias in node.names)
            else:
                yield node.module


def rooms_used(path):
    return {name.split(".")[1] for name in imports(path) if name.startswith("plybook.")}


@pytest.mark.parametrize("room", FLOW)
def test_a_room_imports_only_rooms_to_its_left_and_the_leaves(room):
    allowed = set(FLOW[: FLOW.index(room) + 1]) | LEAVES | {"__version__"}
    if room == "spec":
        allowed |= {"outside"}
    for path in (HOUSE / room).rglob("*.py"):
        assert rooms_used(path) <= allowed, f"{name_of(path)}: {rooms_used(path) - allowed}"


@pytest.mark.parametrize("room", sorted(BESIDE))
def test_a_room_beside_the_flow_keeps_to_itself(room):
    allowed = BESIDE[room] | LEAVES | {room}
    for path in (HOUSE / room).rglob("*.py"):
        assert rooms_used(path) <= allowed, f"{name_of(path)}: {rooms_used(path) - allowed}"


@pytest.mark.parametrize("library", sorted(DOORS))
def test_a_library_stands_behind_one_door(library):
    users = {
        name_of(path)
        for path in modules()
        if any(name.split(".")[0] == library for name in imports(path))
    }
    assert users <= DOORS[library], f"{library} is imported by {users - DOORS[library]}"
    assert users, f"nothing imports {library}"


def test_every_third_party_library_is_declared():
    import tomllib

    project = tomllib.loads((HOUSE.parent / "pyproject.toml").read_text())["project"]
    declared = {d.split(">")[0].strip().lower() for d in project["dependencies"]}
    named = {"yaml": "pyyaml", "ruamel": "ruamel.yaml"}
    for path in modules():
        for name in imports(path):
            top = name.split(".")[0]
            if top not in sys.stdlib_module_names and top != "plybook":
                assert named.get(top, top).lower() in declared, f"{name_of(path)} imports {top}"


def test_only_two_modules_write_files():
    for path in modules():
        if name_of(path) in ("write/files.py", "write/folder.py"):
            continue
        calls = {
            node.func.attr
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
        }
        assert not calls & {"write_bytes", "write_text", "mkdir", "unlink", "rename"}, name_of(path)


def test_only_the_outside_module_reads_the_clock():
    for path in modules():
        if name_of(path) in READS_THE_WORLD:
            continue
        text = path.read_text(encoding="utf-8")
        assert "datetime.now" not in text and "time.time(" not in text, name_of(path)
        assert "date.today" not in text, name_of(path)


def test_no_file_is_long_without_a_reason():
    reasons = (HOUSE.parent / "DEVELOPERS.md").read_text(encoding="utf-8")
    for path in modules():
        lines = len(path.read_text(encoding="utf-8").splitlines())
        assert lines <= 500 or f"`{name_of(path)}`" in reasons, f"{name_of(path)}: {lines} lines"


PRINTS = {"terminal.py", "nest/child.py"}  # the child speaks to its parent through a pipe


def test_only_one_module_prints():
    for path in modules():
        if name_of(path) in PRINTS:
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            called = ast.unparse(node.func) if isinstance(node, ast.Call) else ""
            assert called not in ("print", "pprint", "pprint.pprint"), name_of(path)
            assert not called.endswith(("stdout.write", "stderr.write", "print_exc")), name_of(path)


def test_libraries_that_look_for_settings_are_imported_as_published():
    """By the source of reportlab 5.1 and ezdxf 1.4, the two that read files when imported."""
    for path in modules():
        tree = ast.parse(path.read_text(encoding="utf-8"))
        guarded = {
            inner
            for node in ast.walk(tree)
            if isinstance(node, ast.With)
            and ast.unparse(node.items[0].context_expr) == "as_published()"
            for inner in ast.walk(node)
        }
        for node in ast.walk(tree):
            names = (
                [alias.name for alias in node.names] if isinstance(node, ast.Import)
                else [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            )  # fmt: skip
            if {name.split(".")[0] for name in names} & {"reportlab", "ezdxf"}:
                assert node in guarded, f"{name_of(path)}:{node.lineno}"


def test_every_child_keeps_the_current_folder_off_its_search_path():
    for path in modules():
        text = path.read_text(encoding="utf-8")
        if "sys.executable" in text:
            assert '[sys.executable, "-P", ' in text, name_of(path)
            assert text.count("sys.executable") == 1, name_of(path)


NO_FINDINGS = {"bend_note", "rod_pieces", "_square_words"}  # their sentences are printed on pieces


@pytest.mark.parametrize("room", ["spec", "laminate", "surface"])
def test_a_finding_holds_its_lengths_as_values(room):
    """`f"{mm(x):.1f} wide"`: then it is given in the part's unit; `f"{x:.1f} mm wide"` is not."""
    for path in (HOUSE / room).rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for function in ast.walk(tree):
            if not isinstance(function, ast.FunctionDef) or function.name in NO_FINDINGS:
                continue
            for text in (n for n in ast.walk(function) if isinstance(n, ast.JoinedStr)):
                for before, after in zip(text.values, text.values[1:], strict=False):
                    in_mm = isinstance(after, ast.Constant) and re.match(r" mm\b", after.value)
                    plain = isinstance(before, ast.FormattedValue) and in_mm
                    typed = plain and "strip" in ast.unparse(before)  # what the user typed
                    assert not plain or typed, f"{name_of(path)}:{text.lineno}"
