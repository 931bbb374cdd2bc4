// What can be shown, and how it is cut into views that fill the taped rectangle one after another.
// A view runs into the next one by a lap; the landmarks in the middle of the lap show in both. A roll
// that is longer than the table is shown bay by bay, as it is marked out; landmarks between two bays
// lie on the line that parts them.
const LAP_MM = { mm: 80, in: 3 * INCH };
const PITCH_MM = { mm: 10, in: INCH / 2 }; // views begin at figures that a tape shows

const pieceOf = new Map(data.pieces.map((piece) => [piece.id, piece]));
const HAND = { left: "LEFT HAND", right: "RIGHT HAND", none: "" }[data.part.hand] || "";

function angleWords(degrees) {
  let value = Math.round(degrees * 10) / 10;
  while (value > 90) value -= 180;
  while (value <= -90) value += 180;
  return (value < 0 ? "\u2212" + -value : value > 0 ? "+" + value : "0") + "\u00b0";
}
// A piece as it lies somewhere: lines to cut by, lines inside, and its words.
function shape(piece, place, own) {
  const put = (ring) => placed(ring, place);
  const inner = [];
  if (own) {
    if (piece.bag_side_outline_mm) inner.push({ kind: "bevel_line", points: put(piece.bag_side_outline_mm), closed: true });
    if (piece.cut_outline_mm) inner.push({ kind: "bevel_line", points: put(piece.outline_mm), closed: true });
    for (const hole of piece.bag_side_holes_mm || []) inner.push({ kind: "bevel_line", points: put(hole), closed: true });
    for (const mark of piece.marks) inner.push({ kind: mark.kind, points: put(mark.points_mm), closed: false });
  }
  const face = place.flipped ? "TURNED OVER, MOULD SIDE UP" : piece.may_turn_over ? "EITHER FACE UP" : "BAG SIDE UP";
  const directed = own && fibreOf(piece);
  const copy = place.copy && own && piece.quantity > 1 ? " " + place.copy + "/" + piece.quantity : "";
  return {
    key: (own ? "" : place.part + "/") + (own ? piece.id : place.piece) + "#" + (place.copy || 1),
    name: own ? piece.id + copy : place.part + " " + place.piece,
    ring: put(own ? piece.cut_outline_mm || piece.outline_mm : place.outline_mm),
    holes: own ? piece.holes_mm.map(put) : [],
    inner,
    words: own ? [(directed ? angleWords(piece.angle_deg) + "  " : "") + face] : ["another part"],
    hand: own ? HAND : "",
    own,
  };
}
// What the arrow of a piece or a stock is called; "" where the material has no direction.
function fibreOf(piece) {
  const material = data.materials[piece.material] || {};
  if (material.kind === "core") return material.grain ? "GRAIN" : "";
  if (material.kind === "cloth") return material.weave === "mat" ? "" : "WARP";
  return "";
}
// Everything that can be shown, in the order of the plan: stock first, then pieces.
function sights(turn) {
  const stock = data.layouts.map((layout) => {
    const shapes = [
      ...layout.placements.map((p) => shape(pieceOf.get(p.piece), p, true)),
      ...layout.also_cut.map((p) => shape({}, p, false)),
    ].sort((a, b) => {
      const [m, n] = [boxOf(a.ring), boxOf(b.ring)];
      return Math.round(m[0]) - Math.round(n[0]) || Math.round(m[1]) - Math.round(n[1]);
    });
    const edge = layout.edge_mm;
    const far = layout.kind === "sheet" ? layout.length_mm : Math.max(0, ...shapes.map((s) => boxOf(s.ring)[2]));
    const rim = layout.outline_mm || [[0, -edge], [far, -edge], [far, layout.width_mm + edge], [0, layout.width_mm + edge]];
    return {
      name: layout.stock,
      words: layout.kind + " " + layout.stock + ", " + data.materials[layout.material].name,
      shapes, rim, bad: layout.bad_zones_mm, box: boxOf(rim), stock: true, bays: layout.bays || [],
      arrow: { name: fibreOf(layout), deg: 0 },
    };
  });
  const pieces = data.pieces.map((piece) => {
    const rotation = turn === "warp" ? -piece.angle_deg : turn === "quarter" ? 90 : 0;
    const one = shape(piece, { rotation_deg: rotation }, true);
    one.words.push(piece.quantity + " OFF, " + data.materials[piece.material].name);
    const box = boxOf([...one.ring, ...one.inner.filter((l) => l.kind === "bevel_line").flatMap((l) => l.points)]);
    return {
      name: piece.id, words: "piece " + piece.id + ", layer " + piece.layer, shapes: [one], rim: null, bad: [], box, stock: false, bays: [],
      arrow: { name: fibreOf(piece), deg: piece.angle_deg + rotation, words: angleWords(piece.angle_deg) },
    };
  });
  return [...stock, ...pieces];
}
// Where views begin along a sight, and the bay of each, null where there are none.
function viewsAlong(sight, size, unit) {
  const [first, last] = [sight.bays[0], sight.bays[sight.bays.length - 1]];
  if (!first) return starts(sight.box[0], sight.box[2], size, unit).map((at) => ({ at, bay: null }));
  const half = Math.min(LAP_MM[unit], size / 4) / 2;
  return sight.bays.flatMap((bay) => {
    const low = bay === first ? sight.box[0] : bay.at_mm - half;
    const high = bay === last ? sight.box[2] : bay.to_mm + half;
    return starts(low, high, size, unit).map((at) => ({ at, bay }));
  });
}
// Where views begin along one axis: as few as do, evenly, at figures that a tape shows.
function starts(low, high, size, unit) {
  if (high - low <= size) return [(low + high - size) / 2];
  const grid = PITCH_MM[unit], lap = Math.min(LAP_MM[unit], size / 4);
  const most = Math.max(grid, Math.floor((size - lap) / grid) * grid);
  const count = Math.ceil((high - low - size) / most - 1e-9) + 1;
  const pitch = Math.min(most, Math.ceil((high - low - size) / (count - 1) / grid - 1e-9) * grid);
  return Array.from({ length: count }, (_, k) => low + k * pitch);
}
// Crosses near the corners of the views, in the middle of each lap, so that views that share a side
// share two. Along the rim of what is shown, waste goes before cloth of a piece.
function landmarks(sight, columns, rows, size, homes) {
  const rim = [[sight.box[0], sight.box[2]], [sight.box[1], sight.box[3]]];
  const lines = [columns, rows].map((at, axis) => [
    { from: rim[axis][0], to: Math.min(at[0] + size[axis], rim[axis][1]), out: -1 },
    ...at.slice(1).map((low, k) => {
      const parted = !axis && homes[k + 1] !== homes[k];
      return { at: parted ? homes[k + 1].at_mm : (low + at[k] + size[axis]) / 2, out: 0 };
    }),
    { from: Math.max(at[at.length - 1], rim[axis][0]), to: rim[axis][1], out: 1 },
  ]);
  const found = [];
  for (const x of lines[0]) {
    for (const y of lines[1]) {
      if (x.out && y.out) continue;
      const one = x.out || y.out ? inWaste(sight, x, y) : [x.at, y.at];
      found.push({ at: one, name: String(found.length + 1) });
    }
  }
  return found;
}
// A point of a lap in the outer third of the views along the rim, in waste if there is any.
function inWaste(sight, x, y) {
  const end = x.out ? x : y;
  const [rim, way] = end.out < 0 ? [end.from, 1] : [end.to, -1];
  let best = null;
  for (let n = 0; n <= 12; n += 1) {
    const along = rim + way * (end.to - end.from) * (0.05 + 0.28 * n / 12);
    const at = x.out ? [along, y.at] : [x.at, along];
    const cut = Number(sight.shapes.some((s) => holds(s.ring, at) || farFrom([s.ring], at) < 8));
    const far = cut * 100 + Math.abs(n - 3);
    if (!best || far < best.far) best = { at, far };
  }
  return best.at;
}
// Whether anything is cut in a view.
function isCut(sight, from, size) {
  const box = [...from, from[0] + size[0], from[1] + size[1]];
  return sight.shapes.some((s) => [s.ring, ...s.holes].some((ring) => linesIn(ring, true, box).length));
}
