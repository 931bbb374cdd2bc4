"""A part spec as resolved: complete, typed, in mm, degrees, grams and seconds.

Nothing here is optional that a later stage would have to guess. Defaults, units, includes,
laminate codes and drop-off runs have been worked out; every object keeps the place it came from
so that a later finding can point at it.

Terms:
    span: distance along the part from the root, the `at` of the stations, mm.
    share: position along the section as a share of the chord, 0 at the leading edge and 1 at the
        trailing edge; on a channel, share of the girth from the first to the last point.
    face: the mould face, seen from the bag side.
    layer: one thing laid down: a ply, a core, an insert, a rod or a film.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from plybook.diagnostics import Place

NOWHERE = Place("", 0, 0)
Hand = Literal["left", "right", "none"]
Unit = Literal["mm", "in"]
FAR_MM = 100_000.0  # stands for "to the end": longer than any part


# ---------------------------------------------------------------- the part and its mould face


@dataclass(frozen=True)
class PartInfo:
    number: str
    name: str
    revision: str
    date: str  # ISO date as written; the only date that reaches a file
    hand: Hand
    other_hand: str  # part number of the opposite hand, "" when not wanted
    units: Unit
    notes: tuple[str, ...] = ()
    designer: str = ""
    drawn_by: str = ""
    approved_by: str = ""
    owner: str = ""  # legal owner in the title block
    place: Place = NOWHERE


@dataclass(frozen=True)
class NacaSection:
    """A section of 4 or 5 digits; `sharp` closes the trailing edge (last coefficient -0.1036)."""

    code: str
    sharp: bool = False


@dataclass(frozen=True)
class CoordinateSection:
    """Points of a section as read: (n, 2), unit chord, from the trailing edge over the upper
    side round the leading edge to the trailing edge (both file orderings are turned into this)."""

    points: np.ndarray
    name: str = ""


@dataclass(frozen=True)
class PolylineSection:
    """An open polyline in mm (along the section plane, z up), a radius at each inner corner."""

    points_mm: np.ndarray  # (n, 2)
    radii_mm: tuple[float, ...]  # n - 2 inner corners


Section = NacaSection | CoordinateSection | PolylineSection


@dataclass(frozen=True)
class Station:
    at_mm: float
    chord_mm: float  # 1.0 for a polyline section that is already in mm
    sweep_mm: float  # leading edge moved aft
    rise_mm: float  # moved up
    twist_deg: float  # positive nose up, about twist_share
    twist_share: float
    section: Section
    place: Place = NOWHERE


@dataclass(frozen=True)
class StationMould:
    """A face lofted through stations.

    `side` picks the half of a closed section ("upper" or "lower"; "all" for a polyline);
    from_share..to_share is the part of it covered. `form` says on which side of the face the
    laminate and the bag lie: female = inside of the section, male = outside.
    """

    stations: tuple[Station, ...]
    side: Literal["upper", "lower", "all"]
    from_share: float
    to_share: float
    form: Literal["female", "male"]
    loft: Literal["ruled", "smooth"]
    edge_names: tuple[str, str, str, str]  # at share 0, at share 1, root, tip
    accepted_kinks_mm: tuple[float, ...]  # span of stations whose kink is laid without a splice
    place: Place = NOWHERE


@dataclass(frozen=True)
class OutlineMould:
    """A flat face: a ring in the pattern frame (arcs already flattened to chords of <= 0.01 mm)."""

    ring_mm: np.ndarray  # (n, 2) counter-clockwise, not closed
    holes_mm: tuple[np.ndarray, ...]
    edges: tuple[tuple[str, int, int], ...]  # name, first vertex, last vertex (walks the ring)
    place: Place = NOWHERE


Mould = StationMould | OutlineMould


@dataclass(frozen=True)
class AtShare:
    """0 degrees runs along the line of constant chord share."""

    share: float


@dataclass(frozen=True)
class BetweenPoints:
    """0 degrees runs from one point of the face to the other."""

    start: PointRef
    end: PointRef


Axis = AtShare | BetweenPoints


# ---------------------------------------------------------------- points and regions of the face


@dataclass(frozen=True)
class OnFace:
    span_mm: float
    share: float


@dataclass(frozen=True)
class OnPattern:
    """A point in the pattern frame, mm (for flat parts: the drawing's own coordinates)."""

    x_mm: float
    y_mm: float


PointRef = OnFace | OnPattern


@dataclass(frozen=True)
class Whole:
    """The face up to its net line."""


@dataclass(frozen=True)
class SpanBand:
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class ShareBand:
    from_share: float
    to_share: float


@dataclass(frozen=True)
class EdgeBand:
    """Between two distances from a named edge, measured on the face."""

    edge: str
    from_mm: float
    to_mm: float


@dataclass(frozen=True)
class Inset:
    """The face less its own distance from each named edge; edges not named keep the net line."""

    by_mm: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Around:
    """Everything within a distance of another layer (negative: that layer drawn in)."""

    layer: str
    by_mm: float


@dataclass(frozen=True)
class Strip:
    """A strip of constant width along a line of points, half to each side."""

    line: tuple[PointRef, ...]
    width_mm: float


@dataclass(frozen=True)
class Patch:
    at: PointRef
    length_mm: float  # along 0 degrees before the turn
    width_mm: float
    turn_deg: float
    corner_mm: float  # corner radius
    shape: Literal["rectangle", "ellipse"] = "rectangle"


@dataclass(frozen=True)
class Polygon:
    points: tuple[PointRef, ...]


@dataclass(frozen=True)
class Union:
    items: tuple[Region, ...]


@dataclass(frozen=True)
class Common:
    """What all items share."""

    items: tuple[Region, ...]


@dataclass(frozen=True)
class Less:
    base: Region
    less: tuple[Region, ...]


Region = (
    Whole | SpanBand | ShareBand | EdgeBand | Inset | Around | Strip | Patch | Polygon
    | Union | Common | Less
)  # fmt: skip


# ---------------------------------------------------------------- layers


@dataclass(frozen=True)
class SpliceRule:
    """How cloth wider than its roll is joined. Offsets are measured across the warp."""

    kind: Literal["butt", "overlap"]
    overlap_mm: float  # 0 for a butt
    stagger_mm: float  # least distance between splices of neighbouring layers
    narrowest_mm: float  # no strip narrower than this
    keep_clear: tuple[Region, ...] = ()  # no splice inside


@dataclass(frozen=True)
class Treatment:
    """How an edge or a seam is cut.

    `angle_deg` is measured from the sheet (45 = common bevel, 90 = square). `wide_side` is the
    face that keeps its full outline: a core laid on the mould skin and bevelled for the bag-side
    skin keeps its mould side ("mould").
    """

    kind: Literal["square", "bevel", "scarf", "trim"]
    angle_deg: float = 90.0
    wide_side: Literal["mould", "bag"] = "mould"


@dataclass(frozen=True)
class DropRun:
    """Membership in a drop-off run: ply `index` of `count` ends `step_mm` before the last."""

    run: str
    index: int
    count: int
    edge: str  # the edge or station the run steps towards
    step_mm: float


@dataclass(frozen=True)
class Layer:
    id: str
    material: str
    stage: str
    region: Region
    note: str = ""
    place: Place = field(default=NOWHERE, kw_only=True)


@dataclass(frozen=True)
class Ply(Layer):
    angle_deg: float = 0.0
    splice: SpliceRule | None = None
    group: str = ""  # id of the laminate code group it came from
    drop: DropRun | None = None
    may_turn_over: bool = False  # the builder allows it face down; counts only if faces are alike
    drape: Literal["lay", "net"] = "lay"  # net: pin-jointed drape of a woven cloth
    darts: bool = False  # accept the darts the tool proposes


@dataclass(frozen=True)
class Seam:
    id: str
    line: SpanLine | ShareLine | PointLine
    treatment: Treatment


@dataclass(frozen=True)
class SpanLine:
    at_mm: float


@dataclass(frozen=True)
class ShareLine:
    at_share: float


@dataclass(frozen=True)
class PointLine:
    start: PointRef
    end: PointRef


@dataclass(frozen=True)
class CutOut:
    """A hole let into the core for an insert layer, grown by the clearance."""

    insert: str
    clearance_mm: float


HOLES = "holes"  # name of the sides of openings


@dataclass(frozen=True)
class Core(Layer):
    thickness_mm: float = 0.0
    # by edge name as written; "" is the default for the rest but openings
    edges: tuple[tuple[str, Treatment], ...] = ()
    seams: tuple[Seam, ...] = ()
    seams_to_suit_sheets: bool = False
    seam_default: Treatment = Treatment("square")
    cut_outs: tuple[CutOut, ...] = ()
    perforate: bool = True

    @property
    def cuts(self) -> dict[str, Treatment]:
        """How each side is cut, by edge name; "" for the rest. Openings are square unless said."""
        return {"": Treatment("square"), HOLES: Treatment("square"), **dict(self.edges)}


@dataclass(frozen=True)
class Insert(Layer):
    """A block let into a core, as thick as the core unless said."""

    thickness_mm: float = 0.0
    core: str = ""


@dataclass(frozen=True)
class Rod(Layer):
    """Pultruded rods side by side along a line, cut to length from coil."""

    line: tuple[PointRef, ...] = ()  # from one point to the other
    rows: int = 1  # side by side
    pitch_mm: float = 0.0  # centre to centre; 0 = touching
    lengths_mm: tuple[float, ...] = ()  # one per row in order; () = the whole line for every row
    first: Literal["left", "right"] = "left"  # where row 1 lies, seen along the line
    drop: DropRun | None = None


@dataclass(frozen=True)
class Film(Layer):
    """Peel ply, adhesive film and the like that is laid in place and shown in the book."""

    removed_after: str = ""  # stage after which it is peeled, "" stays in


# ---------------------------------------------------------------- materials and stock


@dataclass(frozen=True)
class Elastic:
    """In-plane constants of a cured ply, GPa; for information, never for sizing."""

    e1: float
    e2: float
    g12: float
    nu12: float


@dataclass(frozen=True)
class Cloth:
    id: str
    name: str
    weave: Literal["unidirectional", "plain", "twill", "satin", "biaxial", "triaxial", "mat"]
    areal_g_m2: float
    fibre_g_cm3: float
    fibre_volume_share: float
    thickness_mm: float  # cured; worked out from the three above when not given
    roll_width_mm: float
    usable_width_mm: float
    faces_alike: bool
    axes_alike: bool  # warp and weft alike: a quarter turn changes nothing
    splice: SpliceRule
    strain_limit_pct: float
    locking_deg: float
    least_bend_mm: float
    resin: str  # resin id, "" none
    elastic: Elastic | None = None
    price: float = 0.0  # per metre of roll
    data_sheet: str = ""
    place: Place = NOWHERE
    fibres_deg: tuple[float, ...] | None = None  # from the warp; None: as its weave has them


@dataclass(frozen=True)
class CoreStock:
    id: str
    name: str
    thickness_mm: float
    density_kg_m3: float
    sheet_mm: tuple[float, float]  # length along the grain, width
    grain: bool  # grain direction must be kept
    resin_uptake_g_m2: float  # per face
    least_bend_mm: float  # smallest radius the cold sheet follows; 0 = not stated
    price: float = 0.0
    data_sheet: str = ""
    use: Literal["core", "insert"] = "core"
    place: Place = NOWHERE


@dataclass(frozen=True)
class RodStock:
    id: str
    name: str
    width_mm: float
    height_mm: float
    density_g_cm3: float
    supply_mm: tuple[float, ...]  # lengths it is sold in (coil or bar)
    least_bend_mm: float
    price: float = 0.0
    data_sheet: str = ""
    place: Place = NOWHERE


@dataclass(frozen=True)
class Consumable:
    id: str
    name: str
    role: Literal[
        "peel_ply", "release_film", "breather", "bag_film", "flow_mesh", "sealant_tape", "hose",
        "wax", "release_coat", "mould_tape", "spray_tack", "adhesive_film", "mixing_cup", "other",
    ]  # fmt: skip
    roll_width_mm: float = 0.0
    areal_g_m2: float = 0.0
    thickness_mm: float = 0.0
    resin_uptake_g_m2: float = 0.0
    roll_length_mm: float = 0.0
    price: float = 0.0
    data_sheet: str = ""
    place: Place = NOWHERE


@dataclass(frozen=True)
class WorkLimits:
    """In what room and air a resin may be worked, by its data sheet; 0 = not said."""

    least_c: float
    most_c: float
    humidity_pct: float


@dataclass(frozen=True)
class Resin:
    id: str
    name: str
    parts: tuple[tuple[str, float], ...]  # component, parts by weight; first is 100
    density_g_cm3: float
    pot_life_s: float
    pot_life_mass_g: float
    pot_life_at_c: float
    largest_batch_g: float
    cure_s: float  # until the next stage may be laid
    data_sheet: str = ""
    price: float = 0.0  # per kg
    place: Place = NOWHERE
    viscosity_mpas: float = 0.0  # 0: not said
    work: WorkLimits | None = None


@dataclass(frozen=True)
class ThickenedResin:
    id: str
    name: str
    resin: str
    filler: str
    volume_ratio: float  # filler volume : resin volume, loose
    filler_g_cm3: float  # loose bulk density
    coat_g_m2: float  # resin on a core face
    place: Place = NOWHERE


@dataclass(frozen=True)
class Materials:
    cloths: dict[str, Cloth]
    cores: dict[str, CoreStock]
    rods: dict[str, RodStock]
    consumables: dict[str, Consumable]
    resins: dict[str, Resin]
    thickened: dict[str, ThickenedResin]

    def name_of(self, material: str) -> str:
        """What people call a material: the name on its card, else its id."""
        return self.names().get(material, material)

    def names(self) -> dict[str, str]:
        """Every material's name by its id."""
        groups = (self.cloths, self.cores, self.rods, self.consumables, self.resins, self.thickened)
        return {card.id: card.name or card.id for group in groups for card in group.values()}


@dataclass(frozen=True)
class StockItem:
    """Something on the shelf, or a size to buy (`quantity` 0 = as many as needed).

    `outline_mm` is set for remnants of any outline; `width_mm` is across the roll or sheet.
    """

    id: str
    kind: Literal["roll", "sheet", "bar"]
    material: str
    length_mm: float
    width_mm: float
    quantity: int = 1
    outline_mm: np.ndarray | None = None
    bad_zones_mm: tuple[np.ndarray, ...] = ()
    received: str = ""  # ISO date, for oldest first
    place: Place = NOWHERE
    lot: str = ""
    use_by: str = ""  # ISO date, the last day it may be used; "": not said


@dataclass(frozen=True)
class Pack:
    """A tin, roll or box on the shelf: `amount` of `item` in the `unit` (kg, m, roll, piece) that
    it is bought in."""

    id: str
    material: str
    item: str
    unit: str
    amount: float
    lot: str
    use_by: str
    place: Place = NOWHERE


Kits = Literal["", "tightest", "by part", "by stage", "by hand"]  # "": nothing is said of kits


@dataclass(frozen=True)
class NestRules:
    """How pieces are put on stock. Gaps are clear distances between cuts; `kits` says what comes
    off a roll together."""

    knife_gap_mm: float = 3.0
    saw_kerf_mm: float = 3.0
    sheet_gap_mm: float = 3.0
    kits: Kits = ""
    order: Literal["oldest", "shortest"] = "oldest"


# ---------------------------------------------------------------- edges, process, checks


@dataclass(frozen=True)
class EdgeRule:
    """What lies beyond the net line at one edge: cloth runs on by `trim_mm`, cut off after cure.

    `flange_mm`: the mould has a flange of that width there (bag and tape need it).
    """

    edge: str
    trim_mm: float
    flange_mm: float = 0.0


@dataclass(frozen=True)
class StageRule:
    """One stage as the spec orders it: which layers it lays and what it is done with."""

    id: str
    kind: str  # a standard stage of trade/, e.g. "mould_preparation", "wet_laminate"
    title: str
    layers: tuple[str, ...]
    resin: str = ""
    thickened: str = ""
    cure_s: float | None = None
    add_steps: tuple[AddedStep, ...] = ()
    change_steps: tuple[AddedStep, ...] = ()
    drop_steps: tuple[str, ...] = ()
    place: Place = NOWHERE
    inlet: Literal["edge", "middle"] = "edge"  # of an infusion
    permeability_m2: float = 0.0  # of the dry stack with its mesh; 0: not said


@dataclass(frozen=True)
class AddedStep:
    """A step added after (or, for a change, replacing the words of) a standard step."""

    step: str
    title: str
    text: tuple[str, ...] = ()
    checks: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    place: Place = NOWHERE
    hold: str = ""  # who must release it before work goes on


@dataclass(frozen=True)
class Workshop:
    """The builder's own figures; the tool's estimates follow them."""

    room_c: float = 20.0
    wetting_m2_h: float = 2.0
    cup_loss_g: float = 15.0
    day_start: str = "09:00"
    day_hours: float = 9.0
    people: int = 1
    table_mm: float = 3000.0  # length of the table that cloth is cut on
    paper: Literal["a4", "letter"] = "a4"
    poster: Literal["a3", "a2", "tabloid"] = "a3"
    printer_x_pct: float = 100.0
    printer_y_pct: float = 100.0
    dxf: Literal["r2010", "r12"] = "r2010"  # what the cutter reads
    currency: str = ""  # of all prices, ISO 4217; "": not said
    booklets_at: str = ""  # address of the output folder, ending with "/"; "": no QR codes


TemplateWay = Literal["least", "figures", "tiles"]


@dataclass(frozen=True)
class TemplateRules:
    """How pieces come from paper onto cloth and foam; `ways` are (id, way) of a piece, a layer or
    a material."""

    tolerance_mm: float = 0.5  # how far a cut may lie from the true outline
    cloth_tolerance_mm: float = 1.0  # the same for cloth and films
    way: TemplateWay = "least"
    ways: tuple[tuple[str, TemplateWay], ...] = ()
    roll_mm: float = 914.0  # width of the plotter's paper
    roll_all: bool = False  # with the pieces that a straightedge draws from their figures

    def tolerance_of(self, kind: str) -> float:
        """The tolerance of a kind of piece, mm."""
        return self.cloth_tolerance_mm if kind in ("ply", "film") else self.tolerance_mm

    def way_of(self, piece: str, layer: str, material: str) -> TemplateWay:
        """The way a piece is asked for: its own, else its layer's, its material's, that of all."""
        asked = dict(self.ways)
        for name in (piece, layer, material):
            if name in asked:
                return asked[name]
        return self.way


@dataclass(frozen=True)
class JigCheck:
    """A measurement to take on the jig; the expected figure is computed, never typed."""

    id: str
    kind: Literal["straightness", "level", "diagonal", "height", "twist", "screws"]
    tolerance_mm: float
    at_mm: float | None = None  # a station, where one is meant
    pitch_mm: float = 0.0  # screws
    title: str = ""
    place: Place = NOWHERE


@dataclass(frozen=True)
class Acknowledgement:
    """The builder accepts a finding, with a reason that is printed."""

    code: str
    layers: tuple[str, ...]  # () = wherever it occurs
    reason: str
    place: Place = NOWHERE


@dataclass(frozen=True)
class DesignChoices:
    """Declared choices where published rules conflict, and limits the rules are held against."""

    core_bevel_deg: float = 45.0
    chord_error_mm: float = 0.02
    strain_limit_pct: float = 0.5
    declared_thickness_mm: float | None = None
    core_bevel_declared: bool = False  # by the spec; a steeper bevel is then a finding


@dataclass(frozen=True)
class SourceFile:
    path: str  # relative to the spec's folder
    sha256: str


@dataclass(frozen=True)
class Coupon:
    """A witness panel of some plies of one stage, `length_mm` along 0 degrees when trimmed."""

    layers: tuple[str, ...]
    length_mm: float
    width_mm: float


@dataclass(frozen=True)
class Samples:
    """What is made beside the part to be tested; `cups`: a sample of each cup is kept."""

    coupon: Coupon | None = None
    cups: bool = False


@dataclass(frozen=True)
class PartSpec:
    part: PartInfo
    mould: Mould
    axis: Axis
    materials: Materials
    stock: tuple[StockItem, ...]
    layers: tuple[Layer, ...]  # from the mould face up, first laid first
    edges: tuple[EdgeRule, ...]
    stages: tuple[StageRule, ...]
    jig_checks: tuple[JigCheck, ...]
    nest: NestRules
    workshop: Workshop
    choices: DesignChoices
    acknowledged: tuple[Acknowledgement, ...]
    files: tuple[SourceFile, ...]
    templates: TemplateRules = TemplateRules()
    packs: tuple[Pack, ...] = ()
    samples: Samples = Samples()
    raised: tuple[tuple[str, float], ...] = ()  # limits that the command line has changed
