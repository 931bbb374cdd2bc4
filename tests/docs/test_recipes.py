"""The recipes of DEVELOPERS.md, each followed in a copy of the house: a region, a material field,
a trade rule, a standard step, a writer. A file that a recipe forgets makes this fail."""

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from plybook.starters import starter_text

ROOT = Path(__file__).parents[2]

# file -> (words that stand there, what they become)
RECIPES = {
    "region": {
        "spec/model.py": [
            (
                "@dataclass(frozen=True)\nclass Patch:",
                '@dataclass(frozen=True)\nclass Disc:\n    """A disc about a point."""\n\n'
                "    at: PointRef\n    radius_mm: float\n\n\n"
                "@dataclass(frozen=True)\nclass Patch:",
            ),
            ("Around | Strip | Patch |", "Around | Strip | Disc | Patch |"),
        ],
        "spec/written/regions.py": [
            (
                "class StripShape(",
                'class DiscShape(Written):\n    """A disc."""\n\n'
                '    at: Point = Field(description="Its middle.")\n'
                '    radius: LengthOverZero = Field(description="Its radius.")\n\n\n'
                "class StripShape(",
            ),
            (
                "    patch: PatchShape | None",
                '    disc: DiscShape | None = Field(None, description="A disc at a point.")\n'
                "    patch: PatchShape | None",
            ),
        ],
        "spec/regions.py": [
            ("    Common,\n", "    Common,\n    Disc,\n"),
            (
                "        if w.patch is not None:",
                "        if w.disc is not None:\n"
                "            (at,) = self._points([w.disc.at], w.disc, 'at', 1)\n"
                "            parts.append(Disc(at, w.disc.radius))\n"
                "        if w.patch is not None:",
            ),
        ],
        "spec/hand.py": [
            ("    Common,\n", "    Common,\n    Disc,\n"),
            (
                "        case Patch():",
                "        case Disc():\n            return replace(region, at=_point(region.at))\n"
                "        case Patch():",
            ),
        ],
        "readout.py": [
            ("    Core,\n", "    Core,\n    Disc,\n"),
            (
                "        case Patch():",
                "        case Disc(at, radius):\n"
                '            return f"disc of {length(radius)} about {point_words(at, unit)}"\n'
                "        case Patch():",
            ),
        ],
        "laminate/regions.py": [
            ("    Common,\n", "    Common,\n    Disc,\n"),
            (
                "            case Patch():",
                "            case Disc():\n"
                "                ring = ellipse(2 * region.radius_mm, 2 * region.radius_mm)\n"
                "                return Area(ring + self.point(region.at))\n"
                "            case Patch():",
            ),
        ],
    },
    "material field": {
        "spec/model.py": [
            (
                "    price: float = 0.0  # per metre of roll\n",
                '    price: float = 0.0  # per metre of roll\n    tracer: str = ""\n',
            )
        ],
        "spec/written/materials.py": [
            (
                '    price: NumberFromZero = Field(0.0, description="For one metre of roll.")\n',
                '    price: NumberFromZero = Field(0.0, description="For one metre of roll.")\n'
                '    tracer: Line = Field("", description="Colour of its tracer yarns.")\n',
            )
        ],
        "spec/materials.py": [
            ("        price=w.price,\n", "        price=w.price,\n        tracer=w.tracer,\n")
        ],
    },
    "trade rule": {
        "trade/rules.yaml": [
            (
                "rules:\n",
                "rules:\n  - id: tracer-none\n    says: Cloth has tracer yarns.\n"
                "    why: Its warp is told at a glance.\n    source: common practice, no source\n"
                "    read: practice\n    severity: note\n    remedy: mark the warp by hand\n\n",
            )
        ],
        "laminate/rule_checks_plies.py": [
            (
                "\n\nCHECKS = {\n",
                "\n\ndef tracer_none(case: Case, rule: Rule) -> Iterator[Breach]:\n"
                '    """Cloth without tracer yarns, as far as the spec says."""\n'
                "    for ply in case.plies:\n"
                "        if not case.spec.materials.cloths[ply.material].tracer:\n"
                '            yield Breach(f"{ply.id} has no tracer yarns", (ply.id,))\n'
                '\n\nCHECKS = {\n    "tracer-none": tracer_none,\n',
            )
        ],
    },
    "standard step": {
        "trade/mould_preparation.yaml": [
            (
                "  - name: seal\n",
                "  - name: warm\n    title: Warm the mould\n    minutes: 30\n    text:\n"
                '      - "Warm the {mould_word} until it is as warm as the room."\n'
                "    checks: [Warm all over]\n\n  - name: seal\n",
            )
        ],
    },
    "writer": {
        "write/points.py": [
            (
                "",
                '"""How many lines of each kind a drawing has, as text."""\n\n'
                "from collections import Counter\n\nfrom plybook.drawing.scene import Scene\n\n\n"
                "def points_bytes(scene: Scene) -> bytes:\n"
                '    """One line for each role."""\n'
                "    roles = Counter(item.role for item in scene.items)\n"
                '    return "".join(f"{r} {n}\\n" for r, n in sorted(roles.items())).encode()\n',
            )
        ],
        "output.py": [
            (
                '        files[f"{stem}.svg"]',
                '        files[f"{stem}.txt"] = points_bytes(drawing.full)\n'
                '        files[f"{stem}.svg"]',
            ),
            (
                "from plybook.write.labels_pdf",
                "from plybook.write.points import points_bytes\nfrom plybook.write.labels_pdf",
            ),
        ],
        "verify/manifest.py": [('TEMPLATES = ("dxf", "svg")', 'TEMPLATES = ("dxf", "svg", "txt")')],
    },
}


@pytest.fixture(scope="module")
def house(tmp_path_factory) -> Path:
    """A copy of the house with every recipe followed, and the schema made anew."""
    home = tmp_path_factory.mktemp("recipes")
    shutil.copytree(
        ROOT / "plybook", home / "plybook", ignore=shutil.ignore_patterns("__pycache__")
    )
    for recipe, files in RECIPES.items():
        for name, edits in files.items():
            path = home / "plybook" / name
            text = path.read_text(encoding="utf-8") if path.exists() else ""
            for before, after in edits:
                assert not before or before in text, f"{recipe}: {name} has no {before!r}"
                text = text.replace(before, after, 1)
            path.write_text(text, encoding="utf-8")
    schema = run(home, "schema").stdout
    (home / "plybook" / "spec" / "plybook.schema.json").write_text(schema, encoding="utf-8")
    both = "  hand: left\n  other_hand: PANEL-2\n  units: mm"
    text = starter_text("panel").replace("  units: mm", both, 1)
    text = text.replace(
        "layers:\n",
        "layers:\n\n  - {ply: X, cloth: twill-200, angle: 0, region: {disc: {at: [200, 120], "
        "radius: 60}}}\n",
        1,
    )
    (home / "part.yaml").write_text(text, encoding="utf-8")
    return home


def run(home: Path, *words: str) -> subprocess.CompletedProcess[str]:
    done = subprocess.run(
        [sys.executable, "-m", "plybook", *words],
        cwd=home, env={**os.environ, "PYTHONPATH": str(home)}, capture_output=True, text=True,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done


@pytest.mark.slow
def test_the_region_is_read_shown_and_in_the_schema(house):
    shown = run(house, "check", "part.yaml")
    assert "disc of 60 mm about" in shown.stdout
    assert "DiscShape" in run(house, "schema").stdout


@pytest.mark.slow
def test_the_rule_speaks_where_the_field_is_empty_and_is_silent_where_it_is_filled(house):
    told = run(house, "check", "part.yaml", "--all").stderr
    assert "[tracer-none]: X has no tracer yarns" in told
    assert "tracer yarns" in run(house, "explain", "tracer-none").stdout
    text = (house / "part.yaml").read_text(encoding="utf-8")
    filled = text.replace("      weave: twill", "      tracer: yellow\n      weave: twill", 1)
    assert filled != text
    (house / "filled.yaml").write_text(filled, encoding="utf-8")
    assert "tracer-none" not in run(house, "check", "filled.yaml", "--all").stderr


@pytest.mark.slow
def test_the_step_and_the_new_file_are_built_for_both_hands_and_verify(house):
    run(house, "build", "part.yaml", "--effort", "quick", "--quiet")
    plans = {}
    for number in ("PANEL-1", "PANEL-2"):
        folder = house / "out" / number
        plans[number] = json.loads((folder / "plan.json").read_text(encoding="utf-8"))
        steps = [step for stage in plans[number]["stages"] for step in stage["steps"]]
        (warm,) = [step for step in steps if step["name"] == "warm"]
        assert warm["title"] == "Warm the mould" and "as warm as the room" in warm["text"][0]
        assert (
            (folder / "templates" / "X.txt")
            .read_text(encoding="utf-8")
            .startswith(("axis", "core", "cut", "datum", "edge", "fibre", "frame"))
        )
        run(house, "verify", f"out/{number}")
    left, right = (
        next(p["outline_mm"] for p in plan["pieces"] if p["id"] == "X") for plan in plans.values()
    )
    assert max(y for _, y in left) == pytest.approx(-min(y for _, y in right), abs=1e-6)
