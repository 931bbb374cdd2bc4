"""How far two readings of one thing may differ, all in one place, each with its reason.

Coordinates in plan.json, DXF and SVG are rounded to 0.0001 mm or better, so a difference above
these is none of rounding.
"""

from __future__ import annotations

POINT_MM = 0.01  # outlines of two files; SVG keeps 3 decimals, a knife cuts to 0.1 mm
ROUNDING_MM = 0.005  # points of an SVG closer than this may fall together in its last decimal
TOUCH_MM = 0.002  # pieces on their stock; placements keep 4 decimals, turned over 10 m
TURN_DEG = 1e-4  # fibre against warp; rotations keep 6 decimals
ARROW_DEG = 0.05  # a drawn arrow of 10 mm or more whose ends keep 3 decimals
BEVEL_MM = 0.05  # bevel lines; curved edges are chorded to 0.02 mm on both faces
LAP_MM = 0.3  # a splice measured in the flat along a seam that follows the mould
JOINT_MM = 0.1  # gap or overlap anywhere along a joint; a knife cuts to that
AREA_SHARE = 1e-5  # an area against its ring, whose points are rounded
MIRROR_MM = 0.0002  # hands that are images of one another; coordinates keep 4 decimals
PAPER_MM = 0.02  # PDF coordinates keep 0.001 pt (0.35 um) and pass through a printer's stretch
GRAM = 0.051  # tables print a tenth of a gram
ROUNDED_M2 = 6e-4  # an area in the quantities, rounded to a thousandth of a square metre
SHARE = 2e-3  # of areas and utilisation, which round several pieces to a thousandth
ROUNDING_G = 0.5  # cups are weighed to 0.1 g, areas rounded to 0.001 m2
IN_BOTH_MM = 25.4 / 32 + 0.51  # half a sixteenth of an inch and half a millimetre
