// The page at work: three tasks (corners, measure, cut), the panel, the keys.
const hold = { task: "corners", sight: 0, column: 0, row: 0, chosen: -1, moved: [0, 0] };
let shownSights = [];
let columns = [], rows = [], marks = [];
let homes = []; // the bay of each column
let measuredAt = "";
const windowPlace = () => window.screenX + "," + window.screenY;

function lay() {
  shownSights = sights(table.turn);
  hold.sight = Math.min(hold.sight, shownSights.length - 1);
  const sight = shownSights[hold.sight];
  const along = viewsAlong(sight, table.length, table.unit);
  columns = along.map((view) => view.at);
  homes = along.map((view) => view.bay);
  rows = starts(sight.box[1], sight.box[3], table.width, table.unit);
  marks = landmarks(sight, columns, rows, [table.length, table.width], homes);
  hold.column = Math.min(hold.column, columns.length - 1);
  hold.row = Math.min(hold.row, rows.length - 1);
}
function show(task, sight) {
  if (task) hold.task = task;
  if (sight !== undefined) Object.assign(hold, { sight, column: 0, row: 0, chosen: -1, moved: [0, 0] });
  lay();
  draw();
}
function draw() {
  fresh();
  lit = onPage();
  for (const handle of all(".corner")) {
    handle.hidden = hold.task !== "corners";
    const [x, y] = table.corners[Number(handle.dataset.k)];
    handle.style.left = x + "px";
    handle.style.top = y + "px";
  }
  for (const tab of all("[data-task]")) tab.setAttribute("aria-pressed", String(tab.dataset.task === hold.task));
  for (const part of all("[data-for]")) part.hidden = part.dataset.for !== hold.task;
  tell();
  if (!lit) return;
  if (hold.task !== "cut") drawRim();
  if (hold.task === "measure") drawCheck();
  if (hold.task !== "cut") return;
  stroke([[...rectangle(), [0, 0]]], { wide: 0.25, colour: "white", dim: 0.5 });
  const sight = shownSights[hold.sight];
  const from = [columns[hold.column] - hold.moved[0], rows[hold.row] - hold.moved[1]];
  drawView(sight, from, marks, sight.shapes[hold.chosen]);
}
// The alarm while nothing may be cut, and the line at the foot.
function tell() {
  const wrong = lit ? "" : "The corners are crossed over or mirrored: A, B, C, D run counter-clockwise round the rectangle.";
  const open = table.checked ? "" : "NOT TO CUT BY: " + table.void + ". Measure the box first.";
  const alarm = $("alarm");
  const words = wrong || open;
  if (alarm.textContent !== words) alarm.textContent = words;
  alarm.hidden = !words;
  const { unit } = table;
  $("diagonal").textContent = "Its two diagonals measure " + shown(Math.hypot(table.length, table.width), unit) + " " + unit + " each.";
  const box = checkBox();
  $("expected").textContent = "Side " + shown(box.wide, unit) + ", both diagonals " + shown(box.diagonal, unit) + " " + unit
    + ", each within " + shown(table.limit, "mm") + " mm.";
  $("kept").textContent = denied ? "This browser keeps nothing: set the corners anew each time the page is opened."
    : "The corners are kept on this device, for this page at this size.";
  $("state").textContent = table.checked ? "Measured at " + table.checked : "Not measured";
  $("foot").textContent = hold.task === "cut" ? footWords() : "";
}
function footWords() {
  const sight = shownSights[hold.sight];
  const part = [data.part.number, data.part.revision && "revision " + data.part.revision, HAND].filter(Boolean).join(" ");
  const said = [part, sight.words];
  const views = columns.length * rows.length;
  if (views > 1) {
    const { unit } = table;
    const at = columns[hold.column], bay = homes[hold.column];
    const own = homes.filter((home) => home === bay).length * rows.length;
    const before = homes.indexOf(bay) * rows.length;
    let words = bay ? "bay " + bay.number + " of " + sight.bays.length + ", " : "";
    words += "view " + (placeOf(hold.column, hold.row) + 1 - before) + " of " + own;
    if (sight.stock) {
      const line = bay ? bay.at_mm : 0;
      words += ", from " + shown(Math.max(0, at - line), unit) + " to " + shown(Math.min(at + table.length, sight.box[2]) - line, unit) + " " + unit;
      if (bay) words += " behind line " + bay.number;
    }
    if (!isCut(sight, [at, rows[hold.row]], [table.length, table.width])) words += ", nothing to cut";
    said.push(words);
    const here = marks.filter((m) => inView(m.at, hold.column, hold.row)).map((m) => m.name);
    said.push("landmarks " + here.join(", "));
  }
  const one = sight.shapes[hold.chosen];
  if (one && sight.stock) said.push("piece " + one.name + " (" + (hold.chosen + 1) + " of " + sight.shapes.length + ")");
  if (hold.moved.some((v) => v)) said.push("moved by " + hold.moved.map((v) => shown(Math.round(v), "mm")).join(", ") + " mm");
  return said.join(" \u00b7 ");
}
function inView([x, y], column, row) {
  return x >= columns[column] && x <= columns[column] + table.length && y >= rows[row] && y <= rows[row] + table.width;
}
// View after view: across the stock and back where several lie side by side, so that each one has two
// landmarks with the one before it.
function placeOf(column, row) {
  return column * rows.length + (column % 2 ? rows.length - 1 - row : row);
}
function view(step) {
  const count = columns.length * rows.length;
  const next = Math.min(count - 1, Math.max(0, placeOf(hold.column, hold.row) + step));
  const column = Math.floor(next / rows.length), row = next % rows.length;
  toView(column, column % 2 ? rows.length - 1 - row : row);
}
function toView(column, row) {
  hold.column = Math.min(columns.length - 1, Math.max(0, column));
  hold.row = Math.min(rows.length - 1, Math.max(0, row));
  hold.moved = [0, 0];
  draw();
}
// Piece after piece: those of a stock where they lie, else the next one by itself.
function piece(step) {
  const sight = shownSights[hold.sight];
  if (!sight.stock) {
    const first = data.layouts.length, count = data.pieces.length;
    return show("cut", first + (hold.sight - first + step + count) % count);
  }
  const count = sight.shapes.length;
  if (!count) return undefined;
  hold.chosen = hold.chosen < 0 ? (step > 0 ? 0 : count - 1) : (hold.chosen + step + count) % count;
  const [x0, y0] = boxOf(sight.shapes[hold.chosen].ring);
  const last = (at, list) => list.reduce((k, low, n) => (low <= at + 1e-6 ? n : k), 0);
  toView(last(x0, columns), last(y0, rows));
  $("sight").value = String(hold.sight);
  return undefined;
}
function nudge(dx, dy) {
  hold.moved = [hold.moved[0] + dx, hold.moved[1] + dy];
  draw();
}
function changed(why) {
  voided(why);
  draw();
}

// ---------------------------------------------------------------- the corners

function cornerHandles() {
  CORNERS.forEach((name, k) => {
    const place = ["lower left", "lower right", "upper right", "upper left"][k];
    const handle = make("button", name, "corner");
    handle.type = "button";
    handle.dataset.k = String(k);
    handle.setAttribute("aria-label", "Corner " + name + ", " + place + ": arrow keys move it");
    let held = null;
    handle.addEventListener("pointerdown", (e) => {
      held = [e.clientX - table.corners[k][0], e.clientY - table.corners[k][1]];
      handle.setPointerCapture(e.pointerId);
    });
    handle.addEventListener("pointermove", (e) => held && moveCorner(k, [e.clientX - held[0], e.clientY - held[1]]));
    for (const end of ["pointerup", "pointercancel"]) handle.addEventListener(end, () => { held = null; });
    handle.addEventListener("keydown", (e) => {
      const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[e.key];
      if (!way) return;
      e.preventDefault();
      e.stopPropagation();
      const by = e.shiftKey ? 10 : e.altKey ? 0.25 : 1;
      moveCorner(k, [table.corners[k][0] + by * way[0], table.corners[k][1] + by * way[1]]);
    });
    $("corners").append(handle);
  });
}
function moveCorner(k, [x, y]) {
  const [w, h] = pageSize();
  table.corners[k] = [Math.min(w, Math.max(0, x)), Math.min(h, Math.max(0, y))];
  voided("a corner was moved");
  keepCorners();
  draw();
}

// ---------------------------------------------------------------- the panel

function field(id, read, write) {
  const input = $(id);
  write(input);
  input.addEventListener("change", () => {
    const wrong = read(input);
    input.setAttribute("aria-invalid", String(Boolean(wrong)));
    $(id + "-wrong").textContent = wrong || "";
    if (!wrong) { keep(); lay(); draw(); }
  });
}
function sizeField(key) {
  field(key, (input) => {
    const value = lengthOf(input.value, table.unit);
    if (!(value >= 200 && value <= 2e4)) return "write a length between 200 mm and 20 m";
    if (value !== table[key]) voided("the rectangle has another size");
    table[key] = value;
    return "";
  }, (input) => { input.value = shown(table[key], table.unit); });
}
function fillPanel() {
  sizeField("length");
  sizeField("width");
  field("limit", (input) => {
    const value = lengthOf(input.value, "mm");
    if (!(value > 0 && value <= 20)) return "write a length up to 20 mm";
    if (value < table.limit) voided("the measuring may be off by less now");
    table.limit = value;
    return "";
  }, (input) => { input.value = shown(table.limit, "mm"); });
  const choice = (id, key, then) => {
    $(id).value = table[key];
    $(id).addEventListener("change", () => { table[key] = $(id).value; keep(); if (then) then(); lay(); draw(); });
  };
  choice("unit", "unit", () => {
    for (const key of ["length", "width"]) $(key).value = shown(table[key], table.unit);
    voided("the unit was changed");
  });
  choice("colour", "colour");
  choice("turn", "turn");
  $("line").value = String(table.line);
  $("line").addEventListener("input", () => { table.line = Number($("line").value); keep(); draw(); });
  $("inside").checked = table.inside;
  $("inside").addEventListener("change", () => { table.inside = $("inside").checked; keep(); draw(); });
  const groups = [["Rolls, sheets and bars", data.layouts.length], ["Pieces", data.pieces.length]];
  let k = 0;
  for (const [label, count] of groups) {
    const group = make("optgroup");
    group.label = label;
    for (let n = 0; n < count; n += 1, k += 1) {
      const option = make("option", shownSights[k].words);
      option.value = String(k);
      group.append(option);
    }
    $("sight").append(group);
  }
  $("sight").addEventListener("change", () => show("cut", Number($("sight").value)));
  for (const tab of all("[data-task]")) tab.addEventListener("click", () => show(tab.dataset.task));
  $("judge").addEventListener("click", () => {
    const read = (id) => lengthOf($(id).value, table.unit);
    const wrong = lit ? judge(read("along"), read("rising"), read("falling")) : "the corners are crossed over or mirrored";
    if (wrong) voided("the measured box is wrong");
    else {
      table.checked = new Date().toTimeString().slice(0, 5);
      measuredAt = windowPlace();
    }
    draw();
    $("verdict").textContent = wrong ? "OUT: " + wrong + ". Set the corners anew; see that the table is flat." : "IN: ready to cut.";
    for (const id of ["along", "rising", "falling"]) if (!wrong) $(id).value = "";
  });
  $("menu").addEventListener("click", togglePanel);
  $("whole").addEventListener("click", wholeScreen);
}
function togglePanel() {
  const open = $("panel").hidden;
  $("panel").hidden = !open;
  $("menu").setAttribute("aria-expanded", String(open));
  if (open) $("panel").querySelector("[data-task]").focus();
  else $("menu").focus();
}
function wholeScreen() {
  if (document.fullscreenElement) document.exitFullscreen();
  else if (document.documentElement.requestFullscreen) document.documentElement.requestFullscreen().catch(() => {});
}

// ---------------------------------------------------------------- keys, and what moves the picture

const KEYS = {
  1: () => show("corners"), 2: () => show("measure"), 3: () => show("cut"),
  m: togglePanel, f: wholeScreen,
  n: () => piece(1), p: () => piece(-1),
  " ": () => view(1), PageDown: () => view(1), PageUp: () => view(-1), Backspace: () => view(-1), Home: () => toView(0, 0),
  ArrowRight: () => toView(hold.column + 1, hold.row), ArrowLeft: () => toView(hold.column - 1, hold.row),
  ArrowUp: () => toView(hold.column, hold.row + 1), ArrowDown: () => toView(hold.column, hold.row - 1),
  a: () => { hold.chosen = -1; draw(); },
};
const NUDGES = { ArrowRight: [1, 0], ArrowLeft: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
const CUTS_ONLY = new Set(["n", "p", "a", " ", "PageDown", "PageUp", "Backspace", "Home", "ArrowRight", "ArrowLeft", "ArrowUp", "ArrowDown"]);

document.addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.metaKey || e.altKey) return;
  if (e.target.closest("input, select")) return;
  if (e.key === " " && e.target.closest("button")) return;
  const key = e.key.length === 1 ? e.key.toLowerCase() : e.key;
  if (CUTS_ONLY.has(key) && hold.task !== "cut") return;
  if (e.shiftKey && NUDGES[key]) { e.preventDefault(); nudge(...NUDGES[key]); return; }
  if (KEYS[key]) { e.preventDefault(); KEYS[key](); }
});
window.addEventListener("resize", () => {
  keptCorners();
  changed("the page changed its size");
});
document.addEventListener("fullscreenchange", () => changed("full screen was turned on or off"));
if (window.visualViewport) window.visualViewport.addEventListener("resize", () => window.visualViewport.scale !== 1 && changed("the page was zoomed"));
// No event tells that a window was moved. It voids a measuring, never the reason given before it: a
// window opens, and goes to full screen, by way of several places.
setInterval(() => table.checked && windowPlace() !== measuredAt && changed("the window was moved"), 500);

recall();
if (!keptCorners()) table.corners = firstCorners();
keep();
cornerHandles();
lay();
fillPanel();
draw();
document.fonts.ready.then(draw);
