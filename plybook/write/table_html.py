"""The cutting table's page: every layout and piece as light from a projector, in place of paper.

One HTML file, offline like the booklet. It holds the plan as far as it is drawn, under the names it
has in plan.json; the script (`assets/table`) lays it on the table through the homography of four
corners, which the builder drags onto a taped rectangle.
"""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any

from plybook.write.offline import asset, content_policy, one_script, script_json
from plybook.write.webfont import font_faces

# what is taken over from plan.json, list by list; a key that a row has not is left out
_PART = ("number", "name", "revision", "hand", "date", "units")
_MATERIAL = ("name", "kind", "weave", "grain")
_PIECE = (
    "id", "layer", "kind", "material", "angle_deg", "quantity", "stage", "may_turn_over",
    "outline_mm", "cut_outline_mm", "holes_mm", "bag_side_outline_mm", "bag_side_holes_mm", "marks",
)  # fmt: skip
_PLACEMENT = ("piece", "copy", "x_mm", "y_mm", "rotation_deg", "flipped")
_LAYOUT = (
    "stock", "kind", "material", "width_mm", "edge_mm", "length_mm", "outline_mm", "bad_zones_mm",
    "table_mm", "bays",
)  # fmt: skip
# each uses what is above it at once, and what is below it only inside its functions
_SCRIPTS = ("page", "plane", "lengths", "bays", "picture", "calibration", "start")


def table_html(plan: Mapping[str, Any]) -> bytes:
    """The page of one part; same bytes for the same plan.

    Args:
        plan: as it goes into plan.json.
    """
    data = shown(plan)
    part = plan["part"]
    title = f"Cutting table {part['number']} {part['name']}, revision {part['revision']}"
    body = asset("table.html").replace("TITLE", escape(title))
    style = font_faces(body + repr(data)) + asset("table.css")
    script = one_script("table", _SCRIPTS)
    page = f"""<!doctype html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta http-equiv="Content-Security-Policy" content="{escape(content_policy(script, style))}">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer">
<title>{escape(title)}</title>
<style>{style}</style>
</head>
<body>
{body}<script type="application/json" id="plan">{script_json(data)}</script>
<script>{script}</script>
</body>
</html>
"""
    return page.encode("utf-8", "replace")


def shown(plan: Mapping[str, Any]) -> dict[str, Any]:
    """What of a plan the page draws."""
    return {
        "part": _some(plan["part"], _PART),
        "materials": {name: _some(row, _MATERIAL) for name, row in plan["materials"].items()},
        "pieces": [_some(row, _PIECE) for row in plan["pieces"]],
        "layouts": [
            {
                **_some(row, _LAYOUT),
                "placements": [_some(p, _PLACEMENT) for p in row["placements"]],
                "also_cut": [
                    _some(p, (*_PLACEMENT, "part", "outline_mm")) for p in row["also_cut"]
                ],
            }
            for row in plan["layouts"]
        ],
    }


def _some(row: Mapping[str, Any], keys: tuple[str, ...]) -> dict[str, Any]:
    return {key: row[key] for key in keys if key in row}
