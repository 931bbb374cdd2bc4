// What is lit: drawn point by point through the homography, so that lines stay sharp and as wide
// as chosen, wherever the lamp hangs.
const COLOURS = { white: "#ffffff", yellow: "#ffe800", green: "#4cff4c", cyan: "#40e8ff", magenta: "#ff6cff", red: "#ff5050" };
const DASHES = { bevel_line: [14, 8], station: [8, 8], axis: [24, 6, 4, 6], fold: [24, 6, 4, 6], dart: [20, 6], zone: [3, 7], drop_line: [3, 7],
  core_outline: [20, 6], net_line: [20, 6], splice_line: [24, 6, 4, 6, 4, 6] };
const GRID_MM = { mm: 100, in: 4 * INCH };

const canvas = $("light");
const pen = canvas.getContext("2d");
let lit = null; // the homography in use

function fresh() {
  const [w, h, ratio] = pageSize();
  [canvas.width, canvas.height] = [Math.round(w * ratio), Math.round(h * ratio)];
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, w, h);
  pen.lineJoin = "round";
  pen.lineCap = "butt";
}
// How many pixels a millimetre takes in the middle of the rectangle.
function scale() {
  const s = slopes(lit, [table.length / 2, table.width / 2]);
  return Math.sqrt(Math.abs(s[0] * s[3] - s[1] * s[2]));
}
function stroke(lines, { wide = 1, dash = [], colour = table.colour, dim = 1 } = {}) {
  pen.strokeStyle = COLOURS[colour];
  pen.globalAlpha = dim;
  pen.lineWidth = Math.max(1.5, table.line * wide * scale());
  pen.setLineDash(dash.map((mm) => mm * scale()));
  pen.beginPath();
  for (const line of lines) {
    line.forEach((point, k) => {
      const [x, y] = through(lit, point);
      if (k) pen.lineTo(x, y); else pen.moveTo(x, y);
    });
    const [a, b] = [line[0], line[line.length - 1]];
    if (line.length > 2 && Math.hypot(a[0] - b[0], a[1] - b[1]) < 1e-9) pen.closePath();
  }
  pen.stroke();
  pen.globalAlpha = 1;
}
// Words as high as said on the table, mm, lying as the table lies; anchored at their middle.
function letters(words, at, high, { dim = 1, align = "center" } = {}) {
  const s = slopes(lit, at), [u, v] = through(lit, at);
  pen.save();
  pen.transform(s[0], s[1], -s[2], -s[3], u, v);
  pen.globalAlpha = dim;
  pen.fillStyle = "#ffffff";
  pen.font = "700 " + 1.4 * high + "px 'Source Sans Pro', sans-serif";
  pen.textAlign = align;
  pen.textBaseline = "middle";
  pen.fillText(words, 0, 0);
  const wide = pen.measureText(words).width;
  pen.restore();
  return wide;
}
// A flag beside the word that points to the hand's own side.
function flag(words, at, high, dim) {
  const wide = letters(words, at, high, { dim });
  const left = words.startsWith("LEFT") ? -1 : 1;
  const tip = at[0] + left * (wide / 2 + 1.6 * high), foot = at[0] + left * (wide / 2 + 0.5 * high);
  const three = [[tip, at[1]], [foot, at[1] + 0.7 * high], [foot, at[1] - 0.7 * high]].map((p) => through(lit, p));
  pen.globalAlpha = dim;
  pen.fillStyle = "#ffffff";
  pen.beginPath();
  three.forEach(([x, y], k) => (k ? pen.lineTo(x, y) : pen.moveTo(x, y)));
  pen.fill();
  pen.globalAlpha = 1;
}
// Both heads of an arrow along the warp.
function arrowAt(middle, deg, long, words) {
  const turn = deg * Math.PI / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const put = (x, y) => [middle[0] + c * x - s * y, middle[1] + s * x + c * y];
  const h = long / 2, b = long / 8;
  stroke([[put(-h, 0), put(h, 0)], [put(h - b, b / 2), put(h, 0), put(h - b, -b / 2)], [put(b - h, b / 2), put(-h, 0), put(b - h, -b / 2)]],
    { wide: 0.7, colour: "white" });
  const up = c < -1e-9 ? -1 : 1;
  letters(words, put(0, up * (long / 8 + 6)), Math.max(6, long / 16));
}
function drawRim() {
  const [w, h] = [table.length, table.width];
  stroke([[...rectangle(), [0, 0]]], { wide: 0.4, colour: "white", dim: 0.7 });
  [[0, 0], [w, 0], [w, h], [0, h]].forEach(([x, y], k) => {
    letters(CORNERS[k], [x + (x ? -14 : 14), y + (y ? -12 : 12)], 12, { dim: 0.8 });
  });
}
// The box to measure, its diagonals, and a grid that shows an uneven table.
function drawCheck() {
  const { x, y, wide, high } = checkBox();
  const step = GRID_MM[table.unit];
  const grid = [];
  for (let at = 0; at <= table.length + 1e-6; at += step) grid.push([[at, 0], [at, table.width]]);
  for (let at = 0; at <= table.width + 1e-6; at += step) grid.push([[0, at], [table.length, at]]);
  stroke(grid, { wide: 0.25, colour: "white", dim: 0.45 });
  stroke([[[x, y], [x + wide, y], [x + wide, y + high], [x, y + high], [x, y]]]);
  stroke([[[x, y], [x + wide, y + high]], [[x, y + high], [x + wide, y]]], { wide: 0.5 });
  const [a, b] = [table.length / 2, table.width / 2];
  const most = Math.min(22, table.width / 20);
  letters("side " + shown(wide, table.unit) + " " + table.unit, [a, y + 1.6 * most], most);
  letters("/ and \\ " + shown(Math.hypot(wide, high), table.unit) + " " + table.unit, [a, b + 3 * most], most);
}
// One view: `from` is what of the sight lies on corner A. Returns what of each shape is to be seen.
function drawView(sight, from, marks, chosen) {
  const ready = Boolean(table.checked);
  const box = [from[0], from[1], from[0] + table.length, from[1] + table.width];
  const down = (line) => line.map(([x, y]) => [x - from[0], y - from[1]]);
  const cut = (points, closed) => linesIn(points, closed, box).map(down);
  const dash = ready ? [] : [6, 10];
  if (sight.rim) stroke(cut(sight.rim, true), { wide: 0.5, dash: [20, 6, 4, 6], colour: "white", dim: 0.7 });
  for (const bay of sight.bays.slice(0, -1)) {
    const line = [[bay.to_mm, sight.box[1]], [bay.to_mm, sight.box[3]]];
    stroke(cut(line, false), { wide: 0.7, dash: bay.cut ? [] : [8, 8], colour: "white" });
    const [x, y] = [bay.to_mm - from[0], Math.max(sight.box[1] - from[1], 0) + 18];
    const right = x + 90 < table.length;
    if (x < 0 || x > table.length || y > table.width) continue;
    letters("LINE " + (bay.number + 1), [x + (right ? 8 : -8), y], 12, { align: right ? "left" : "right" });
  }
  for (const zone of sight.bad) {
    stroke(cut(zone, true), { wide: 0.5, colour: "white" });
    const [x0, y0, x1, y1] = boxOf(zone);
    stroke([...cut([[x0, y0], [x1, y1]], false), ...cut([[x0, y1], [x1, y0]], false)], { wide: 0.5, colour: "white" });
  }
  for (const one of sight.shapes) {
    const dim = (ready ? 1 : 0.5) * (chosen && chosen.key !== one.key ? 0.4 : 1);
    if (table.inside) for (const line of one.inner) {
      if (line.points.length > 1) stroke(cut(line.points, line.closed), { wide: 0.5, dash: DASHES[line.kind] || [], colour: "white", dim: 0.8 * dim });
      else stroke(cut([[line.points[0][0] - 6, line.points[0][1]], [line.points[0][0] + 6, line.points[0][1]]], false), { wide: 0.5, colour: "white", dim });
    }
    stroke(one.holes.flatMap((hole) => cut(hole, true)), { dash, dim });
    stroke(cut(one.ring, true), { wide: chosen && chosen.key === one.key ? 1.5 : 1, dash, dim });
    const ring = down(ringIn(one.ring, box));
    const spot = ring.length > 2 && roomiest(ring, one.holes.map(down));
    if (spot) nameShape(one, spot, dim);
  }
  for (const mark of marks) {
    const [x, y] = [mark.at[0] - from[0], mark.at[1] - from[1]];
    if (x < 0 || y < 0 || x > table.length || y > table.width) continue;
    const arm = 20;
    stroke([[[x - arm, y], [x + arm, y]], [[x, y - arm], [x, y + arm]]], { wide: 0.7, colour: "white" });
    letters(mark.name, [x + 16, y + 14], 12);
  }
  if (sight.arrow.name) {
    const long = Math.min(160, table.length / 4, table.width / 4);
    const words = sight.arrow.name + (sight.arrow.words ? " " + sight.arrow.words : "");
    arrowAt([0.7 * long, 0.7 * long], sight.arrow.deg, long, words);
  }
}
function nameShape(one, spot, dim) {
  const high = Math.min(42, Math.max(7, 0.5 * spot.deep));
  const [x, y] = spot.at;
  letters(one.name, [x, y + 0.4 * high], high, { dim });
  const small = Math.max(5, 0.3 * high);
  let low = y - 0.6 * high;
  for (const words of spot.deep > 30 ? one.words : []) {
    letters(words, [x, low], small, { dim });
    low -= 1.7 * small;
  }
  if (one.hand && spot.deep > 20) flag(one.hand, [x, low], small, dim);
}
