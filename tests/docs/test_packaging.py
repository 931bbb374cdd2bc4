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
PIP = [sys.executable, "-m", "pip", "--disable-pip-version-check"]


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


def source_copy(folder: Path) -> Path:
    """The source by itself: making a wheel leaves a build folder behind."""
    source = folder / "source"
    shutil.copytree(HOUSE, source / "plybook", ignore=shutil.ignore_patterns("__pycache__"))
    for name in ("README.md", "pyproject.toml"):
        shutil.copy(ROOT / name, source / name)
    return source


def wheel_of(source: Path, into: Path) -> Path:
    """The wheel that pip makes of a folder or an archive of source."""
    subprocess.run([*PIP, "wheel", "-q", "--no-deps", "--wheel-dir", into, source], check=True)
    (wheel,) = into.glob("*.whl")
    return wheel


def packed(wheel: Path) -> set[str]:
    return {name for name in zipfile.ZipFile(wheel).namelist() if name.startswith("plybook/")}


@pytest.mark.slow
def test_the_source_archive_makes_the_same_wheel(tmp_path):
    source = source_copy(tmp_path)
    subprocess.run(
        [sys.executable, "-m", "build", "--sdist", "--outdir", tmp_path, source],
        check=True, capture_output=True,
    )  # fmt: skip
    (archive,) = tmp_path.glob("*.tar.gz")
    assert packed(wheel_of(archive, tmp_path / "wheels")) == own_files()


@pytest.mark.slow
def test_the_wheel_holds_the_house_and_builds_a_part_without_the_checkout(tmp_path):
    wheel = wheel_of(source_copy(tmp_path), tmp_path / "wheels")
    assert packed(wheel) == own_files()
    home = tmp_path / "installed"
    subprocess.run([*PIP, "install", "-q", "--no-deps", "--target", str(home), wheel], check=True)
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
