"""How far past the net line a pattern holds, and where that is said."""

import numpy as np
import pytest
import shapely

from plybook.laminate.pastnet import USUAL_MM, trim_findings
from plybook.laminate.trim import NetFace
from plybook.spec.model import NOWHERE, EdgeRule
from tests.surface.faces import CHANNEL, face, station

FIN = (station(0, 900), station(300, 700, sweep=150), station(700, 350, sweep=420),
       station(900, 180, sweep=640))  # fmt: skip
RAKED = (station(0, 600), station(300, 560, sweep=10, rise=5),
         station(500, 420, sweep=90, rise=60), station(600, 200, sweep=240, rise=160))  # fmt: skip


def found(made, trim):
    rules = tuple(EdgeRule(edge.name, trim) for edge in made.edges)
    return trim_findings(NetFace(made, rules), NOWHERE)


def test_a_trim_past_where_a_raked_tip_crosses_itself_is_told_with_its_distance():
    made = face(*RAKED, loft="smooth")
    (finding,) = found(made, 150.0)
    assert finding.code == "trim-past-pattern"
    assert "tip" in finding.message and "169 mm" in finding.message
    assert not found(made, 60.0)


@pytest.mark.parametrize("trim", [15.0, 60.0, 200.0])
def test_usual_faces_hold_as_far_as_anyone_trims(trim):
    for made in (face(station(0, 1500), station(4000, 800, sweep=500)),
                 face(station(0, 1, CHANNEL), station(2000, 1, CHANNEL))):  # fmt: skip
        assert not found(made, trim)


@pytest.mark.parametrize("stations", [FIN, RAKED])
def test_no_face_crosses_itself_within_a_usual_trim(stations):
    made = face(*stations, loft="smooth")
    around = shapely.Polygon(made.outline_mm).buffer(USUAL_MM, join_style="mitre")
    ring = shapely.get_coordinates(shapely.segmentize(around.exterior, 10.0))
    back = made.to_pattern(made.from_pattern(ring))
    assert np.hypot(*(back - ring).T).max() < 1e-6
