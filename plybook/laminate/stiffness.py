"""Stiffness of a stack by classical lamination theory, for information only.

These are terms of elasticity from the constants entered for a cured ply. They say nothing about
strength, buckling, core shear or joints, and nothing is sized by them.

Terms:
    Q: reduced stiffness of one ply in its own axes, plane stress; Q-bar: turned by its angle.
    A, B, D: force per strain, coupling, and moment per curvature of the stack about its middle.
    z: through the thickness, from -h/2 at the first ply laid (mould face) to +h/2.

Formulas: R. M. Jones and A. K. Kaw, Mechanics of Composite Materials (Kaw, 2nd ed. 2006, ch. 2
and 4). Units: constants in GPa, thickness in mm; A in N/mm, B in N, D in N mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from plybook.spec.model import Elastic

MPA_PER_GPA = 1000.0


_PLACES = {"11": (0, 0), "12": (0, 1), "16": (0, 2), "22": (1, 1), "26": (1, 2), "66": (2, 2)}
TERMS = tuple((matrix, place) for matrix in "ABD" for place in _PLACES)  # each of them symmetric


@dataclass(frozen=True)
class StackPly:
    """One ply of a stack; `elastic` None is a spacer (core): thickness without stiffness."""

    thickness_mm: float
    angle_deg: float = 0.0
    elastic: Elastic | None = None


def reduced_stiffness(elastic: Elastic) -> np.ndarray:
    """Q, (3, 3) MPa, in the ply's own axes (1, 2, 6)."""
    nu21 = elastic.nu12 * elastic.e2 / elastic.e1
    below = 1 - elastic.nu12 * nu21
    q = np.array(
        [
            [elastic.e1 / below, elastic.nu12 * elastic.e2 / below, 0.0],
            [elastic.nu12 * elastic.e2 / below, elastic.e2 / below, 0.0],
            [0.0, 0.0, elastic.g12],
        ]
    )
    return q * MPA_PER_GPA


def turned_stiffness(elastic: Elastic, angle_deg: float) -> np.ndarray:
    """Q-bar, (3, 3) MPa: the ply turned counter-clockwise by `angle_deg`."""
    c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
    stress = np.array(
        [[c * c, s * s, 2 * s * c], [s * s, c * c, -2 * s * c], [-s * c, s * c, c * c - s * s]]
    )
    strain = np.array(
        [[c * c, s * s, s * c], [s * s, c * c, -s * c], [-2 * s * c, 2 * s * c, c * c - s * s]]
    )
    return np.linalg.solve(stress, reduced_stiffness(elastic)) @ strain


def abd(plies: Sequence[StackPly]) -> np.ndarray:
    """The stiffness of a stack.

    Args:
        plies: first laid first.

    Returns:
        (6, 6): A (N/mm) upper left, B (N) beside and below it, D (N mm) lower right.
    """
    z = -sum(p.thickness_mm for p in plies) / 2
    a, b, d = (np.zeros((3, 3)) for _ in range(3))
    for ply in plies:
        low, z = z, z + ply.thickness_mm
        if ply.elastic is None:
            continue
        q = turned_stiffness(ply.elastic, ply.angle_deg)
        a += q * (z - low)
        b += q * (z**2 - low**2) / 2
        d += q * (z**3 - low**3) / 3
    return np.block([[a, b], [b, d]])


def terms(stiffness: np.ndarray) -> list[float]:
    """The terms of A, B and D of a (6, 6) stiffness in the order of `TERMS`."""
    blocks = {"A": stiffness[:3, :3], "B": stiffness[:3, 3:], "D": stiffness[3:, 3:]}
    return [float(blocks[matrix][_PLACES[place]]) for matrix, place in TERMS]
