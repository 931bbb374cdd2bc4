"""Small published instances and records, each with its source."""

from __future__ import annotations

# Densities (percent) of the record layouts published with Gardeyn, Vanden Berghe, Wauters, "An
# open-source heuristic to reboot 2D nesting research", arXiv:2509.13329, 2025.
RECORD_DENSITY = {
    "albano": 89.82,
    "jakobs1": 89.25,
    "mao": 86.87,
    "marques": 92.01,
    "shapes0": 69.98,
    "swim": 79.83,
}

# name, stock length, {wanted length: demand}, optimum
BAR_SETS = (
    # Wikipedia, "Cutting stock problem": paper rolls, best known (and proven) 73
    ("paper", 5600.0, {1380: 22, 1520: 25, 1560: 12, 1710: 14, 1820: 18, 1880: 18, 1930: 20,
                       2000: 10, 2050: 12, 2100: 14, 2140: 16, 2150: 18, 2200: 20}, 73),
    # V. Chvatal, Linear Programming, 1983, p. 195
    ("chvatal", 100.0, {45: 97, 36: 610, 31: 395, 14: 211}, 453),
)  # fmt: skip
