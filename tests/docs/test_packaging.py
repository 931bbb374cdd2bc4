"""The package as it is installed: complete, and working without the checkout."""

import fnmatch
import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HOUSE = ROOT / "plybook"


def own_files() -> set[str]:
    return {
        path.relative_to(ROOT).as_posix()
        for path in HOUSE.rglob("*")
        if path.is_file() and "__pycache__" not in path.parts
    }


def test_every_data_file_of_the_house_is_packaged():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())
    data = project["tool"]["setuptools"]["package-data"]["plybook"]
    patterns = [pattern.replace("**/", "*") for pattern in data]
    left = [
        name
        for name in own_files()
        if not name.endswith(".py") and not any(fnmatch.fnmatch(name, p) for p in patterns)
    ]
    assert left == []


@pytest.mark.slow
def test_the_wheel_holds_the_house_and_builds_a_part_without_the_checkout(tmp_path):
    source = tmp_path / "source"  # a copy: making a wheel leaves a build folder behind
    shutil.copytree(HOUSE, source / "plybook", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("README.md", "pyproject.toml"):
        shutil.copy(ROOT / name, source / name)
    pip = [sys.executable, "-m", "pip", "--disable-pip-version-check"]
    subprocess.run(
        [*pip, "wheel", "-q", "--no-deps", "--wheel-dir", str(tmp_path), str(source)], check=True
    )
    (wheel,) = tmp_path.glob("*.whl")
    packed = {name for name in zipfile.ZipFile(wheel).namelist() if name.startswith("plybook/")}
    assert packed == own_files()
    home = tmp_path / "installed"
    subprocess.run([*pip, "install", "-q", "--no-deps", "--target", str(home), wheel], check=True)
    around = {**os.environ, "PYTHONPATH": str(home)}

    def run(*words: str) -> str:
        done = subprocess.run(
            [sys.executable, "-m", "plybook", *words],
            cwd=tmp_path, env=around, check=True, capture_output=True, text=True,
        )  # fmt: skip
        return done.stdout

    where = subprocess.run(
        [sys.executable, "-c", "import plybook; print(plybook.__file__)"],
        cwd=tmp_path, env=around, check=True, capture_output=True, text=True,
    )  # fmt: skip
    assert where.stdout.startswith(str(home))
    run("new", "panel", "panel.yaml")
    run("build", "panel.yaml", "--effort", "quick")
    assert "sound" in run("verify", "out/PANEL-1")
    assert "tab" in run("explain", "tab")
    assert '"title": "plybook spec"' in run("schema")
