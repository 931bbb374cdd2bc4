"""JSON that comes with a folder or a spec, damaged on purpose: told, never a fault of our own."""

import os

import pytest

from plybook.nest import LayoutMemory
from plybook.verify import verify_folder

DEEP, DIGITS = b"[" * 200_000, b"9" * 5_000
ODD = [DEEP, DIGITS, b'{"version": 1, "layouts": ' + DEEP, b'{"version": 1, "layouts": 1e999}']


@pytest.mark.parametrize("content", [
    *ODD,
    b'{"version": 1, "layouts": {"k": {"seconds": 1, "units": [[5, 1, "m", []]]}}}',
    b'{"version": 1, "layouts": {"k": {"seconds": 1, "units": [["u", 1, ["m"], []]]}}}',
    b'{"version": 1, "layouts": {"k": {"seconds": 1, "units": [["u", 1, "m", [[1e400]]]]}}}',
    b'{"version": 1, "layouts": {"k": {"seconds": "x", "units": []}}}',
])  # fmt: skip
def test_a_damaged_layout_memory_is_forgotten(content):
    assert len(LayoutMemory.from_bytes(content)) == 0


@pytest.mark.parametrize("name", ["manifest.json", "plan.json"])
@pytest.mark.parametrize("content", [*ODD, b'{"files": [{"name": "a", "bytes": 1e999}]}'])
def test_a_damaged_folder_is_not_sound(hatch_copy, name, content):
    (hatch_copy / "TN-420" / name).write_bytes(content)
    assert not verify_folder(hatch_copy / "TN-420").sound


@pytest.mark.parametrize("odd", ["pipe", "device"])
def test_a_manifest_that_is_no_file_is_not_waited_for(hatch_copy, odd):
    manifest = hatch_copy / "TN-420" / "manifest.json"
    manifest.unlink()
    if odd == "pipe":
        os.mkfifo(manifest)
    else:
        manifest.symlink_to("/dev/zero")
    assert not verify_folder(hatch_copy / "TN-420").sound
