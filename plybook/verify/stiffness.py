"""Stiffness of zones worked out once more from the stack and the constants in plan.json.

By the invariants of S. W. Tsai and N. J. Pagano (in: Composite Materials Workshop, Technomic
1968): a turned ply's stiffness as cosines of two and four times its angle.
"""

from __future__ import annotations

import numpy as np

from plybook.verify.report import Report
from plybook.verify.tables import Rows, rows, words

SHARE = 1e-4  # of the largest term; plan.json keeps thicknesses to a micron of a mm
PRINTED = 0.006  # the table keeps two decimals
PLACES = {"11": (0, 0), "12": (0, 1), "16": (0, 2), "22": (1, 1), "26": (1, 2), "66": (2, 2)}
BLOCKS = {"A": (0, 0, "N_mm"), "B": (0, 3, "N"), "D": (3, 3, "Nmm")}


def check_stiffness(plan: dict, files: dict[str, bytes], report: Report) -> None:
    """Zones with stiffness, and their table."""
    known = [zone for zone in plan["zones"] if zone.get("abd") is not None]
    if not known:
        if "tables/stiffness.csv" in files:
            report.fault("tables/stiffness.csv", "is there, and no zone has a stiffness")
        return
    layers = {layer["id"]: layer for layer in plan["layers"]}
    for zone in known:
        given = np.array(zone["abd"], dtype=float)
        stack = [layers[name] for name in zone["layers"]]
        own = _abd(stack, plan["materials"])
        good = all(
            np.allclose(given[a:a + 3, b:b + 3], own[a:a + 3, b:b + 3],
                        atol=SHARE * np.abs(own[a:a + 3, a:a + 3]).max())
            for a, b in ((0, 0), (3, 3))
        )  # fmt: skip
        scale = np.sqrt(np.abs(own[:3, :3]).max() * np.abs(own[3:, 3:]).max())
        good = good and np.allclose(given[:3, 3:], own[:3, 3:], atol=SHARE * scale)
        where = f"zone {zone['label']}"
        report.expect(bool(good), "stiffness of zones worked out once more", where,
                      "its stiffness is not that of its stack")  # fmt: skip
    _check_table(known, rows("stiffness", files, report), report)


def _abd(stack: list[dict], materials: dict) -> np.ndarray:
    z = -sum(layer["thickness_mm"] for layer in stack) / 2
    out = np.zeros((6, 6))
    for layer in stack:
        low, z = z, z + layer["thickness_mm"]
        elastic = materials[layer["material"]].get("elastic")
        if layer["kind"] != "ply" or elastic is None:
            continue
        q = _turned(elastic, layer["angle_deg"])
        for (a, b), power in (((0, 0), 1), ((0, 3), 2), ((3, 0), 2), ((3, 3), 3)):
            out[a : a + 3, b : b + 3] += q * (z**power - low**power) / power
    return out


def _turned(elastic: dict, angle_deg: float) -> np.ndarray:
    e1, e2, g12, nu12 = (1000.0 * elastic["e1"], 1000.0 * elastic["e2"], 1000.0 * elastic["g12"],
                         elastic["nu12"])  # fmt: skip
    full = 1 - nu12 * nu12 * e2 / e1
    q11, q22, q12, q66 = e1 / full, e2 / full, nu12 * e2 / full, g12
    u1 = (3 * q11 + 3 * q22 + 2 * q12 + 4 * q66) / 8
    u2 = (q11 - q22) / 2
    u3 = (q11 + q22 - 2 * q12 - 4 * q66) / 8
    u4 = (q11 + q22 + 6 * q12 - 4 * q66) / 8
    u5 = (q11 + q22 - 2 * q12 + 4 * q66) / 8
    two, four = 2 * np.radians(angle_deg), 4 * np.radians(angle_deg)
    c2, c4, s2, s4 = np.cos(two), np.cos(four), np.sin(two) / 2, np.sin(four)
    b16, b26 = u2 * s2 + u3 * s4, u2 * s2 - u3 * s4
    return np.array(
        [
            [u1 + u2 * c2 + u3 * c4, u4 - u3 * c4, b16],
            [u4 - u3 * c4, u1 - u2 * c2 + u3 * c4, b26],
            [b16, b26, u5 - u3 * c4],
        ]
    )


def _check_table(known: list[dict], table: Rows, report: Report) -> None:
    stated = {words(row["zone"]): row for row in table}
    if set(stated) != {zone["label"] for zone in known} or len(table) != len(known):
        report.fault("tables/stiffness.csv", "its zones are not those of plan.json")
        return
    for zone in known:
        row, abd = stated[zone["label"]], np.array(zone["abd"], dtype=float)
        good = all(
            abs(float(words(row[f"{m}{place}_{unit}"])) - abd[a + i, b + j]) <= PRINTED
            for m, (a, b, unit) in BLOCKS.items()
            for place, (i, j) in PLACES.items()
        )
        report.expect(good, "rows of stiffness equal to plan.json", "tables/stiffness.csv",
                      f"zone {zone['label']} differs from plan.json")  # fmt: skip
