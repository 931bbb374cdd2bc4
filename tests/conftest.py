"""What several test rooms share: the shipped specs, and one built part."""

import shutil
import signal
from pathlib import Path

import pytest
from hypothesis import settings

from plybook.cli import main

ROOT = Path(__file__).parent.parent
SPECS = ROOT / "specs"

# the same drawn cases in every run; `--hypothesis-profile default` draws new ones
settings.register_profile("same", derandomize=True)
settings.load_profile("same")

# Ctrl-C is tested: a shell that runs the tests in the background starts them deaf to it
signal.signal(signal.SIGINT, signal.default_int_handler)


def built_alone(folder, spec):
    """The output folder of a spec, given as text, built in a folder beside the shared specs."""
    shutil.copytree(SPECS / "shared", folder / "shared")
    (folder / "part.yaml").write_text(spec, encoding="utf-8")
    out = folder / "out"
    written = ["build", str(folder / "part.yaml"), "--out", str(out), "--effort", "quick"]
    assert main(written) == 0
    return out


@pytest.fixture(scope="session")
def specs(tmp_path_factory):
    """A copy of the shipped specs, so that a build may remember its layouts beside them."""
    folder = tmp_path_factory.mktemp("specs")
    shutil.copytree(SPECS, folder, dirs_exist_ok=True)
    return folder


@pytest.fixture(scope="session")
def hatch_out(specs, tmp_path_factory):
    """The hatch, built once; read only."""
    out = tmp_path_factory.mktemp("out")
    assert main(["build", str(specs / "hatch.yaml"), "--out", str(out), "--effort", "quick"]) == 0
    return out


@pytest.fixture(scope="session")
def hatch_tiled(specs, tmp_path_factory):
    """The hatch with every piece printed in tiles, built once; read only."""
    spec = specs / "hatch-tiles.yaml"
    text = (specs / "hatch.yaml").read_text(encoding="utf-8")
    spec.write_text(f"{text}\ntemplates: {{way: tiles}}\n", encoding="utf-8")
    out = tmp_path_factory.mktemp("tiles")
    assert main(["build", str(spec), "--out", str(out), "--effort", "quick"]) == 0
    return out


@pytest.fixture
def hatch_copy(hatch_out, tmp_path):
    """The built hatch, to be spoiled."""
    shutil.copytree(hatch_out, tmp_path / "out")
    return tmp_path / "out"
