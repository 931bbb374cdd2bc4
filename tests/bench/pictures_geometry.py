"""Pictures of the geometry, made of real results: `python -m tests.bench.pictures_geometry DIR`.

Writes an SVG and a PNG of each: raised ply, bevel corner, drop-off ladder, splice stagger, strain
map, drape. Exaggerated scales are written on the picture.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path as Folder

from plybook.drawing.scene import Path, Role, Scene, Text
from plybook.drawing.sectionview import best_section, section_picture
from plybook.laminate import lay_up  # before numpy: it sets the number of threads
from plybook.spec.model import AtShare, Core, Inset, Ply, StationMould, Treatment, Whole
from plybook.surface import build_face
from plybook.surface.drape import drape_ply
from plybook.write.svg import svg_bytes
from tests.bench.bench_laminate import shipped
from tests.laminate.doubles import cloth, spec
from tests.laminate.test_layup_lofted import EDGES, dome, sandwich, wing

import numpy as np  # isort: skip

WIDTH_MM, EDGE_MM = 180.0, 8.0
NOTE_MM = 2.5
BANDS = ("#ffffff", "#e6e6e6", "#cccccc", "#aaaaaa", "#888888", "#666666")


class Sheet:
    """A picture of something large, brought to the width of a page; words keep their size."""

    def __init__(self, points_mm: np.ndarray, title: str, notes: Iterable[str] = ()):
        self.low = points_mm.min(axis=0)
        size = np.ptp(points_mm, axis=0)
        self.scale = min((WIDTH_MM - 2 * EDGE_MM) / size[0], 110.0 / size[1])
        self.title, self.notes, self.items = title, list(notes), []
        self.top = EDGE_MM + size[1] * self.scale + 6.0

    def at(self, points_mm: np.ndarray) -> np.ndarray:
        return (np.asarray(points_mm, float) - self.low) * self.scale + EDGE_MM

    def line(self, role: Role, points_mm: np.ndarray, closed=False, fill="") -> None:
        self.items.append(Path(role, self.at(points_mm), closed, fill))

    def say(self, point_mm, text: str, turn_deg: float = 0.0, anchor="middle") -> None:
        x, y = self.at(point_mm)
        self.items.append(
            Text(Role.TEXT, (float(x), float(y)), text, NOTE_MM, turn_deg, anchor, "centre",
                 halo=True)
        )  # fmt: skip

    def scene(self) -> Scene:
        ratio = f"1:{1 / self.scale:.3g}" if self.scale < 1 else f"{self.scale:.2g}:1"
        words = [f"{self.title}, about {ratio}", *self.notes]
        top = self.top + 5.0 * len(words)
        for row, text in enumerate(words):
            bold = row == 0
            at = (EDGE_MM, top - 5.0 * (row + 1))
            self.items.append(Text(Role.TEXT, at, text, NOTE_MM, bold=bold))
        return Scene(tuple(self.items), (0.0, 0.0, WIDTH_MM, top), self.title)


def made(layers, stations, side="upper", loft="ruled", axis=0.25, **more):
    """A spec of some layers on stations, its face and its laminate."""
    mould = StationMould(tuple(stations), side, 0.0, 1.0, "female", loft, EDGES, ())
    given = spec(layers, {}, mould=mould, axis=AtShare(axis), **more)
    face = build_face(given)
    return given, face, lay_up(given, face)


def _signed(value: float) -> str:
    return f"{round(float(value), 1) + 0.0:+.1f}".replace("+0.0", "0")


def raised_ply() -> Scene:
    """The cut of a ply over core against the bare mould face."""
    _, face, laminate = made(sandwich(), wing())
    ply = next(p for p in laminate.pieces if p.layer == "P3")
    times = 20.0
    laid, cut = ply.laid_outline_mm, ply.outline_mm
    middle = laid.mean(axis=0)
    import shapely

    ring = shapely.linearrings(laid)
    nearest = shapely.get_coordinates(
        shapely.line_interpolate_point(ring, shapely.line_locate_point(ring, shapely.points(cut)))
    )
    drawn = nearest + times * (cut - nearest)
    core = next(x for x in laminate.layers if x.id == "C").region
    sheet = Sheet(
        np.vstack([drawn, laid]),
        f"Ply {ply.id} over a 10 mm core with 45° edges",
        (
            f"thin: the same region on the bare mould face; thick: the cut, departures × {times:g}",
            f"growth {ply.growth.along_mm:+.2f} mm along, {ply.growth.across_mm:+.2f} mm across, "
            f"{ply.growth.area_pct:+.3f} % of area",
        ),
    )
    sheet.line(Role.CORE_EDGE, shapely.get_coordinates(core.exterior), True)
    sheet.line(Role.GHOST, laid, True)
    sheet.line(Role.CUT, drawn, True)
    sheet.say(middle, "core")
    for edge in ply.edges:
        here = edge.points_mm[[0, -1]].mean(axis=0)
        sheet.say(here + 0.06 * (middle - here), edge.name)
    return sheet.scene()


def bevel_corner() -> Scene:
    """A corner where edges of 45 and 20 degrees meet, one of them curved."""
    core = Core(
        "C", "foam", "s", Inset((("leading", 90.0), ("trailing", 70.0), ("root", 45.0),
                                 ("tip", 50.0))), thickness_mm=10.0,
        edges=(("", Treatment("bevel", 45.0)), ("root", Treatment("bevel", 20.0))),
    )  # fmt: skip
    _, _, laminate = made([core], wing())
    panel = laminate.pieces[0]
    corner = panel.outline_mm[np.argmin(panel.outline_mm @ [1.0, -0.2])]
    reach = np.array([[-25.0, -40.0], [75.0, 10.0]])
    sheet = Sheet(
        corner + reach,
        f"Corner of panel {panel.id}, 10 mm thick",
        ("thick: mould side, as cut; dashed: bag side, after bevelling",),
    )
    import shapely

    window = shapely.box(*(corner + reach[0]), *(corner + reach[1]))
    for role, ring in ((Role.CUT, panel.outline_mm), (Role.BEVEL, panel.bag_side_outline_mm)):
        for part in shapely.get_parts(shapely.linearrings(ring).intersection(window)):
            sheet.line(role, shapely.get_coordinates(part))
    for edge in panel.edges:
        part = shapely.linestrings(edge.points_mm).intersection(window)
        if part.is_empty or part.length < 10:
            continue
        gap = 10.0 / np.tan(np.radians(edge.angle_deg)) if edge.treatment == "bevel" else 0.0
        here = shapely.get_coordinates(part.interpolate(0.5, normalized=True))[0]
        outwards = (here - panel.outline_mm.mean(axis=0)) * [0.0, 1.0]
        along = np.ptp(edge.points_mm, axis=0)
        sheet.say(
            here + (np.sign(outwards) * 5.0 if along[0] > along[1] else np.array([-4.0, 0])),
            f"{edge.name}: {edge.treatment} {edge.angle_deg:g}°, {gap:.1f} mm in plan",
            0.0 if along[0] > along[1] else 90.0,
        )
    return sheet.scene()


def ladder() -> Scene:
    """The drop-off run of the shipped skin, in section."""
    given = shipped("wing-skin")
    laminate = lay_up(given, build_face(given))
    run = [x.id for x in laminate.layers if x.id.startswith("U")]
    cut = best_section(laminate, run[0], "U")
    return section_picture(cut, laminate.layers, run, WIDTH_MM, 70.0)


def stagger() -> Scene:
    """Where the splices of six plies lie on one face."""
    layers = [Ply(f"P{k}", "twill", "s", Whole(), angle_deg=a)
              for k, a in enumerate((45.0, -45.0) * 3, 1)]  # fmt: skip
    stations = [replace(wing()[0]), replace(wing()[1], at_mm=3600.0)]
    _, face, laminate = made(layers, stations)
    sheet = Sheet(
        face.outline_mm,
        "Splices of six plies at +45° and -45°",
        ("each line is where the lower strip ends; plies of one direction never share one",),
    )
    sheet.line(Role.FACE, face.outline_mm, True)
    for layer in laminate.layers:
        sign = 1.0 if layer.angle_deg > 0 else -1.0
        for piece in (p for p in laminate.pieces if p.layer == layer.id):
            for mark in (m for m in piece.marks if m.kind == "splice_line" and "ends" in m.label):
                sheet.line(Role.SPLICE, mark.points_mm)
                share = 0.06 + 0.16 * ((int(layer.id[1:]) - 1) // 2)
                spot = mark.points_mm[0] + share * (mark.points_mm[-1] - mark.points_mm[0])
                sheet.say(spot, layer.id, 45.0 * sign)
    return sheet.scene()


def strain_map() -> Scene:
    """What laying a spherical cap flat costs."""
    _, face, _ = made([Ply("P", "twill", "s", Whole())], dome(), "all", "smooth", 0.5)
    report = face.strain
    most = float(np.abs(report.strain_pct).max())
    step = most / len(BANDS)
    rows = [f"{k * step:.2f}-{(k + 1) * step:.2f}" for k in range(len(BANDS))]
    sheet = Sheet(
        report.nodes_mm,
        "Strain of a cap of R 1 m over 0.8 m laid flat",
        (
            f"largest tension {report.largest_tension_pct:.2f} %, largest compression "
            f"{report.largest_compression_pct:.2f} %; + stretched, - squeezed",
            "percent, light to dark: " + ", ".join(rows),
        ),
    )
    for cell, value in zip(report.faces, report.strain_pct, strict=True):
        band = BANDS[min(int(abs(value) / step), len(BANDS) - 1)]
        sheet.items.append(Path(Role.FILL, sheet.at(report.nodes_mm[cell]), True, band))
    middles = report.nodes_mm[report.faces].mean(axis=1)
    for u in np.linspace(0.08, 0.92, 7):
        for v in np.linspace(0.08, 0.92, 7):
            spot = report.nodes_mm.min(axis=0) + np.array([u, v]) * np.ptp(report.nodes_mm, axis=0)
            near = int(np.argmin(np.hypot(*(middles - spot).T)))
            sheet.say(middles[near], _signed(report.strain_pct[near]))
    sheet.line(Role.NET, face.outline_mm, True)
    return sheet.scene()


def drape_picture() -> Scene:
    """A woven ply draped on the same cap: every tenth yarn, shear where it counts."""
    _, face, _ = made([Ply("P", "twill", "s", Whole())], dome(), "all", "smooth", 0.5)
    drape = drape_ply(face, face.outline_mm, 0.0, cloth().locking_deg)
    net = drape.net
    every = max(1, net.nodes.shape[0] // 24)
    sheet = Sheet(
        face.outline_mm,
        "Net of a woven ply on a cap of R 1 m over 0.8 m",
        (
            f"every yarn drawn stands for {every}; figures: shear in degrees, largest "
            f"{net.largest_shear_deg:.1f}°, the cloth locks at {drape.locking_deg:g}°",
        ),
    )
    nodes = net.nodes
    import shapely

    inside = shapely.Polygon(face.outline_mm)
    lines = [nodes[k] for k in range(0, nodes.shape[0], every)]
    lines += [nodes[:, k] for k in range(0, nodes.shape[1], every)]
    for line in lines:
        line = line[np.isfinite(line[:, 0])]
        if len(line) > 1:
            for part in shapely.get_parts(shapely.linestrings(line).intersection(inside)):
                if part.geom_type == "LineString":
                    sheet.line(Role.FIBRE, shapely.get_coordinates(part))
    sheet.line(Role.CUT, face.outline_mm, True)
    low, size = face.outline_mm.min(axis=0), np.ptp(face.outline_mm, axis=0)
    flat = nodes[:-1, :-1].reshape(-1, 2)
    for u in (0.1, 0.3, 0.5, 0.7, 0.9):
        for v in (0.1, 0.3, 0.5, 0.7, 0.9):
            far = np.hypot(*(flat - low - np.array([u, v]) * size).T)
            near = int(np.nanargmin(far))
            sheet.say(flat[near], _signed(net.shear_deg.ravel()[near]))
    return sheet.scene()


PICTURES = {
    "raised-ply": raised_ply,
    "bevel-corner": bevel_corner,
    "drop-off-ladder": ladder,
    "splice-stagger": stagger,
    "strain-map": strain_map,
    "drape": drape_picture,
}


def main(folder: str) -> None:
    import resvg_py

    to = Folder(folder)
    to.mkdir(parents=True, exist_ok=True)
    for name, make in PICTURES.items():
        svg = svg_bytes(make(), reference=False)
        (to / f"{name}.svg").write_bytes(svg)
        png = resvg_py.svg_to_bytes(svg_string=svg.decode(), dpi=150, background="white")
        (to / f"{name}.png").write_bytes(bytes(png))
        print(to / f"{name}.png")


if __name__ == "__main__":
    if len(sys.argv) != 2:
        raise SystemExit("give the folder for the pictures")
    main(sys.argv[1])
