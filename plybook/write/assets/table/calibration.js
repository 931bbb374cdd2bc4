// How the picture lies on the table: four corners on the page, the size of the taped rectangle, and
// whether what was measured since agrees. What moves the picture voids the measuring.
const KEPT = "plybook.table";
const CORNERS = ["A", "B", "C", "D"];
const table = {
  unit: data.part.units, length: 900, width: 600, limit: 1,
  corners: null, checked: "", void: "the page was opened",
  colour: "white", line: 3, turn: "drawn", inside: true,
};
let denied = false;

const pageSize = () => [window.innerWidth, window.innerHeight, window.devicePixelRatio || 1];
const rectangle = () => [[0, 0], [table.length, 0], [table.length, table.width], [0, table.width]];

// Corners belong to a page of one size; those of the last few sizes are kept, so that full screen
// finds its own again.
const SIZES = 6;
let cornersOf = {};
function keep() {
  const { unit, length, width, limit, colour, line, turn, inside } = table;
  try {
    localStorage.setItem(KEPT, JSON.stringify({ unit, length, width, limit, corners: cornersOf, colour, line, turn, inside }));
    denied = false;
  } catch (refused) { denied = true; }
}
function keepCorners() {
  const size = pageSize().join();
  delete cornersOf[size];
  cornersOf[size] = table.corners;
  for (const old of Object.keys(cornersOf).slice(0, -SIZES)) delete cornersOf[old];
  keep();
}
const isCorners = (four) => Array.isArray(four) && four.length === 4
  && four.every((p) => Array.isArray(p) && p.length === 2 && p.every(Number.isFinite));
// What was kept, as far as it is whole.
function recall() {
  let kept = null;
  try { kept = JSON.parse(localStorage.getItem(KEPT)); } catch (refused) { denied = true; }
  if (!kept || typeof kept !== "object") return;
  const over = (value, most) => typeof value === "number" && value > 0 && value <= most;
  if (kept.unit === "mm" || kept.unit === "in") table.unit = kept.unit;
  for (const [key, most] of [["length", 2e4], ["width", 2e4], ["limit", 20], ["line", 10]]) if (over(kept[key], most)) table[key] = kept[key];
  if (Object.hasOwn(COLOURS, kept.colour)) table.colour = kept.colour;
  if (["drawn", "warp", "quarter"].includes(kept.turn)) table.turn = kept.turn;
  if (typeof kept.inside === "boolean") table.inside = kept.inside;
  const rows = Object.entries(kept.corners || {}).filter(([, four]) => isCorners(four));
  cornersOf = Object.fromEntries(rows.slice(-SIZES));
}
// The corners that were kept for a page of this size, where there are any.
function keptCorners() {
  const four = cornersOf[pageSize().join()];
  if (four) table.corners = four.map((p) => [...p]);
  return Boolean(four);
}
function firstCorners() {
  const [w, h] = pageSize();
  return [[0.2 * w, 0.85 * h], [0.8 * w, 0.85 * h], [0.8 * w, 0.15 * h], [0.2 * w, 0.15 * h]];
}
function voided(why) {
  table.checked = "";
  table.void = why;
}
// From the table to the page; null while the corners are crossed over or mirrored.
const onPage = () => runsRound(table.corners) ? homography(rectangle(), table.corners) : null;

// The box to measure: as large as fits, its sides whole hundreds (or multiples of 4 in).
function checkBox() {
  const step = table.unit === "in" ? 4 * INCH : 100;
  const side = (size) => Math.floor(0.98 * size / step) * step || 0.9 * size;
  const [wide, high] = [side(table.length), side(table.width)];
  const [x, y] = [(table.length - wide) / 2, (table.width - high) / 2];
  return { x, y, wide, high, diagonal: Math.hypot(wide, high) };
}
// What three measured lengths of the box say; "" where all agree.
function judge(along, rising, falling) {
  const box = checkBox();
  const rows = [["side", along, box.wide], ["diagonal /", rising, box.diagonal], ["diagonal \\", falling, box.diagonal]];
  const said = [];
  for (const [name, measured, expected] of rows) {
    if (!Number.isFinite(measured)) said.push(name + ": no length");
    else if (Math.abs(measured - expected) > table.limit + 1e-9) {
      const off = Math.round((measured - expected) * 10) / 10;
      said.push(name + ": " + Math.abs(off) + " mm too " + (off > 0 ? "long" : "short"));
    }
  }
  return said.join("; ");
}
