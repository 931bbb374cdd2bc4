"""The fill time of an infusion, worked out again from the figures that its own words tell.

Darcy's law for cloth at constant vacuum: a straight front takes porosity x viscosity x way^2 /
(2 x permeability x pressure); a round one from an inlet of radius r has way^2 ln(way / r) -
(way^2 - r^2) / 2 in place of way^2.
"""

from __future__ import annotations

import math
import re
from itertools import pairwise

from plybook.verify.cut_pages import FIGURE, length_mm
from plybook.verify.report import Report

INLET_MM = 10.0  # radius from which the front of an inlet in the middle starts
OFF = 0.06  # of the time: the way is told to 10 mm, the permeability to two figures
_LEAST_OFF_S = 61.0  # it is told in minutes
_TIME = r"(?:(\d+) h)? ?(?:(\d+) min)?(?:(\d+) s)?"
_FULL = re.compile(rf"face is full about {_TIME} after")
_FRONT = re.compile(rf"a quarter of the way after {_TIME}, half after {_TIME}, three quarters "
                    rf"after {_TIME}\.")  # fmt: skip
_BASIS = re.compile(r"viscosity (\d+) mPa s, permeability (\S+) m2, (\d+) % of the stack not "
                    r"fibre, (\d+) mbar")  # fmt: skip
_WAY = re.compile(rf"resin has up to ({FIGURE}) (mm|in) to run")
_SHARES = (0.25, 0.5, 0.75)


def check_fill_times(plan: dict, report: Report) -> None:
    """Each stage that tells a fill time tells the one that follows from its figures."""
    for stage in plan["stages"]:
        words = {step["name"]: " ".join(step["text"]) for step in stage["steps"]}
        told = words.get("infuse", "")
        if "Darcy" not in told:
            continue
        where = f"stage {stage['id']}"
        full, front, basis = _FULL.search(told), _FRONT.search(told), _BASIS.search(told)
        way = _WAY.search(words.get("flow", ""))
        if not (full and front and basis and way):
            report.fault(where, "tells a fill time without what it is worked out from")
            continue
        length = length_mm(way[1], way[2])
        radial = "Set the resin inlet on the mesh" in words["flow"]
        viscosity, permeability, share, vacuum = (float(figure) for figure in basis.groups())
        whole = _spread(length, radial)
        time = share / 100 * viscosity * 1e-3 * whole * 1e-6 / (2 * permeability * vacuum * 100.0)
        wanted = [*(time * _spread(s * length, radial) / whole for s in _SHARES), time]
        groups = front.groups()
        said = [_seconds(groups[k : k + 3]) for k in range(0, 9, 3)] + [_seconds(full.groups())]
        good = all(
            abs(a - b) <= max(OFF * b, _LEAST_OFF_S if a >= 120 else 0.6 + OFF * b)
            for a, b in zip(said, wanted, strict=True)
        )
        report.expect(good and all(a < b for a, b in pairwise(said)),
                      "fill times of infusions by Darcy's law", where,
                      f"tells {said[-1]:.0f} s to fill, its figures give {time:.0f} s")  # fmt: skip


def _spread(way_mm: float, radial: bool) -> float:
    if not radial:
        return way_mm**2
    first = min(INLET_MM, way_mm)
    return way_mm**2 * math.log(way_mm / first) - (way_mm**2 - first**2) / 2


def _seconds(parts: tuple[str | None, ...]) -> float:
    hours, minutes, seconds = (float(part or 0) for part in parts)
    return 3600 * hours + 60 * minutes + seconds
