"""Pages of the cutting table for the browser tests, and what a camera above the table would see."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import numpy as np

from plybook.nest.bays import in_bays
from plybook.plan import plan_dict
from plybook.write.table_html import table_html
from tests.drawing import doubles


def skin_plan(table_mm: float = 3000.0) -> dict:
    """The plan of the hand-made skin, whose cloth is cut on a table of this length."""
    face = doubles.TaperedFace()
    laminate = doubles.laminate(face)
    plan = doubles.cut_plan(laminate)
    items = {item.id: item for item in plan.items}
    layouts = tuple(in_bays(layout, items, "mm", table_mm) for layout in plan.layouts)
    plan = replace(plan, layouts=layouts)
    return plan_dict(doubles.spec(), face, laminate, plan, doubles.shop())


def write_page(folder: Path, plan: dict) -> Path:
    path = folder / "table.html"
    path.write_bytes(table_html(plan))
    return path


def photo(page) -> np.ndarray:
    """The page as pixels, (h, w, 3)."""
    from PIL import Image

    data = page.driver.get_screenshot_as_png()
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"), dtype=int)


def lamp(size_mm, corners_px) -> np.ndarray:
    """The homography from the table to the page, by the method of least squares on eight rows
    (numpy), as (3, 3)."""
    (w, h), rows, right = size_mm, [], []
    for (x, y), (u, v) in zip([(0, 0), (w, 0), (w, h), (0, h)], corners_px, strict=True):
        rows += [[x, y, 1, 0, 0, 0, -u * x, -u * y], [0, 0, 0, x, y, 1, -v * x, -v * y]]
        right += [u, v]
    return np.append(np.linalg.lstsq(np.array(rows, float), right, rcond=None)[0], 1).reshape(3, 3)


def on_page(h: np.ndarray, points_mm) -> np.ndarray:
    out = np.column_stack([np.asarray(points_mm, float), np.ones(len(points_mm))]) @ h.T
    return out[:, :2] / out[:, 2:]
