"""Faces through many stations: the loft against scipy's splines, and what they cost."""

import shutil
import subprocess
import sys

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from plybook.surface.develop import develop
from plybook.surface.loft import loft_face
from tests.conftest import SPECS
from tests.surface import faces
from tests.surface.faces import station


def mould(count, loft):
    at = np.linspace(0.0, 4000.0, count) + 5.0 * np.sin(np.arange(count))
    stations = [
        station(float(x), 1000.0 - 0.05 * x, sweep=0.02 * x, rise=60.0 * np.sin(x / 900.0))
        for x in at
    ]
    return faces.mould(*stations, loft=loft)


@pytest.mark.parametrize("count", [3, 4, 5, 12])
@pytest.mark.parametrize("du", [0, 1, 2])
@pytest.mark.parametrize("dw", [0, 1, 2])
def test_a_smooth_loft_is_the_spline_through_its_stations(count, du, dw):
    """scipy's not-a-knot spline through the points of all stations at one w."""
    loft = loft_face(mould(count, "smooth"), "right")
    rng = np.random.default_rng(count)
    low, high = loft.w_breaks[[0, -1]]
    u, w = rng.uniform(-100.0, 4100.0, 40), rng.uniform(low, high, 40)
    stations = np.stack([loft.at(np.full(40, s), w, 0, dw) for s in loft.spans])
    whole = CubicSpline(loft.spans, stations)(u, du)
    expected = whole[np.arange(40), np.arange(40)]
    scale = np.abs(expected).max()
    assert np.abs(loft.at(u, w, du, dw) - expected).max() < 1e-9 * max(scale, 1.0)
    grid = loft.grid(u, w, du, dw)
    assert np.abs(grid[np.arange(40), np.arange(40)] - expected).max() < 1e-9 * max(scale, 1.0)


@pytest.mark.parametrize("loft", ["ruled", "smooth"])
def test_the_pattern_does_not_grow_with_each_station(loft):
    """Sixty elements along the span or one in each bay, whichever is more."""
    sizes = [
        np.unique(develop(loft_face(mould(count, loft), "right"), *ends, 0.5).pattern.u_knots).size
        for count in (2, 11, 41)
        for ends in [loft_face(mould(count, loft), "right").spans[[0, -1]]]
    ]
    assert sizes[1] <= 61 and sizes[2] <= 81


@pytest.mark.slow
@pytest.mark.parametrize("loft", ["ruled", "smooth"])
def test_two_hundred_stations_take_under_500_megabytes(tmp_path, loft):
    rows = "\n".join(
        f"    - {{at: {20 * k}, chord: {1000 - k}, section: naca 2412}}" for k in range(200)
    )
    shutil.copytree(SPECS / "shared", tmp_path / "shared")
    (tmp_path / "many.yaml").write_text(f"""\
plybook: 1
include: [shared/materials.yaml, shared/stock.yaml, shared/shop.yaml]
part: {{number: S-200, name: skin, revision: A, date: 2026-05-04, units: mm, hand: left}}
mould:
  form: female
  side: upper
  loft: {loft}
  stations:
{rows}
axis: {{share: 0.25}}
edges: {{leading: {{trim: 20}}, trailing: {{trim: 15}}, root: {{trim: 25}}, tip: {{trim: 25}}}}
layers:
  - {{ply: A, cloth: carbon-twill-200, angle: 45}}
""")
    code = (
        "import sys; from plybook.cli import main; code = main(sys.argv[1:]);"
        "peak = open('/proc/self/status').read().split('VmHWM:')[1].split()[0]; print(code, peak)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code, "check", "--quiet", str(tmp_path / "many.yaml")],
        capture_output=True, text=True, timeout=600,
    )  # fmt: skip
    status, peak_kb = ended.stdout.split()[-2:]
    assert status == "0", ended.stderr
    assert int(peak_kb) * 1024 < 500e6
