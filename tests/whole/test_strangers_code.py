"""Nothing that lies in the current folder or at home is executed or followed by a command."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from plybook.starters import starter_text

SCRIPT = Path(sys.executable).with_name("plybook")
AS_MODULE = [sys.executable, "-m", "plybook"]
AS_SCRIPT = [str(SCRIPT)] if SCRIPT.exists() else [sys.executable, "-P", "-m", "plybook"]
# what reportlab 5.1 executes (its __init__.py and rl_config.py), and names of libraries
LURKING = ["reportlab_settings.py", "reportlab_mods.py", ".reportlab_settings", ".reportlab_mods",
           "yaml.py", "numpy.py", "reportlab.py", "shapely.py", "plybook_settings.py",
           "ezdxf.py", "spyrrow.py"]  # fmt: skip


@pytest.fixture
def trap(tmp_path):
    """A folder that is the current one and the home, where every file tells when it is run."""
    for name in LURKING:
        (tmp_path / name).write_text(f"open({str(tmp_path / 'SPRUNG')!r}, 'a').write({name!r})\n")
    (tmp_path / "ezdxf.ini").write_bytes(b"\xff\xfe[core]")  # ezdxf would end the program
    (tmp_path / "part.yaml").write_text(starter_text("panel"))
    return tmp_path


def environment(trap):
    gone = ("RL_", "EZDXF_", "PYTHONPATH", "XDG_CONFIG_HOME", "PYTHONSAFEPATH")
    kept = {k: v for k, v in os.environ.items() if not k.startswith(gone)}
    return {**kept, "HOME": str(trap), "RL_pageCompression": "no", "EZDXF_CONFIG_FILE": "ezdxf.ini"}


@pytest.mark.parametrize("program", [AS_SCRIPT, AS_MODULE], ids=["script", "module"])
def test_a_build_runs_nothing_of_the_folder(trap, program):
    ended = subprocess.run(
        [*program, "build", "part.yaml", "--effort", "quick", "--quiet"],
        cwd=trap, env=environment(trap), capture_output=True, text=True, timeout=300,
    )  # fmt: skip
    assert ended.returncode == 0, ended.stderr
    assert not (trap / "SPRUNG").exists(), (trap / "SPRUNG").read_text()


@pytest.mark.slow
def test_a_watch_and_its_build_run_nothing_of_the_folder_and_end_together(trap):
    watch = subprocess.Popen(
        [*AS_SCRIPT, "watch", "part.yaml", "--no-page"],
        cwd=trap, env=environment(trap), stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        until = time.monotonic() + 300
        for line in watch.stderr:
            if line.startswith("built") or time.monotonic() > until:
                break
        assert line.startswith("built"), line
        assert not (trap / "SPRUNG").exists(), (trap / "SPRUNG").read_text()
    finally:
        watch.kill()
        watch.wait()
        watch.stderr.close()


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="reads /proc")
@pytest.mark.slow
@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGKILL])
def test_a_build_does_not_outlive_its_watch(trap, how):
    watch = subprocess.Popen(
        [*AS_SCRIPT, "watch", "part.yaml", "--no-page", "--effort", "long"],
        cwd=trap, env=environment(trap), stderr=subprocess.DEVNULL,
    )  # fmt: skip
    children = Path(f"/proc/{watch.pid}/task/{watch.pid}/children")
    try:
        until = time.monotonic() + 120
        while not (started := children.read_text().split()):
            assert time.monotonic() < until
            time.sleep(0.05)
        time.sleep(1.0)  # long enough for the child to have begun, and far too short to end
    finally:
        watch.send_signal(how)
        watch.wait()
    while any(alive(int(child)) for child in started):
        assert time.monotonic() < until + 60
        time.sleep(0.05)


def alive(process):
    try:
        return Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except FileNotFoundError:
        return False
