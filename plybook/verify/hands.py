"""Left against right: pieces mirrored, angles negated."""

from __future__ import annotations

from plybook.verify import plane
from plybook.verify.pieces import ring
from plybook.verify.report import Report
from plybook.verify.tolerances import MIRROR_MM


def check_hands(plans: dict[str, tuple[dict, Report]]) -> None:
    """Where both hands of a part were built, each piece has its mirror image with angle -a."""
    for plan, report in plans.values():
        other, _ = plans.get(plan["part"].get("other_hand", ""), (None, None))
        if other is None or plan["part"]["hand"] != "left":
            continue
        theirs = {p["id"]: p for p in other["pieces"]}
        for piece in plan["pieces"]:
            where = f"piece {piece['id']}"
            twin = theirs.pop(piece["id"], None)
            if twin is None:
                report.fault(where, "the opposite hand does not have it")
                continue
            mirrored = ring(piece["outline_mm"]) * (1.0, -1.0)
            off = plane.apart_by(mirrored, ring(twin["outline_mm"]))
            report.expect(off <= MIRROR_MM, "pieces mirrored for the opposite hand", where,
                          f"the opposite hand is {off:.3f} mm from its mirror image")  # fmt: skip
            turn = (piece["angle_deg"] + twin["angle_deg"]) % 180
            report.expect(min(turn, 180 - turn) < 1e-6, "angles negated for the opposite hand",
                          where, f"{piece['angle_deg']:g} and {twin['angle_deg']:g} degrees do not "
                          "mirror one another")  # fmt: skip
        for name in theirs:
            report.fault(f"piece {name}", "only the opposite hand has it")
