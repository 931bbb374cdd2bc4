// Ledgers: lists that grow at the bench (deviations, hours, instruments, readings). A row is kept as
// one flat object under "<ledger>.<random>"; a place that shows a ledger may show the rows of one
// step only.
const ledgers = new Map(all("[data-ledger]").map((e) => [e.dataset.ledger, { ...JSON.parse(e.dataset.columns), place: e }]));
const ledgerOf = (id) => ledgers.get(id.slice(0, id.indexOf(".")));
const rowsOf = (name) => ids(name + ".").filter((id) => typeof value(id) === "object")
  .sort((a, b) => { const [x, y] = [a, b].map((id) => log.entries.get(historyOf(log, id).pop()).at); return x < y ? -1 : x > y ? 1 : a < b ? -1 : 1; });
function ledgerWords(id) {
  const l = ledgerOf(id);
  if (!l) return "";
  const v = value(id) || {};
  return l.title + ": " + (l.columns.map((c) => v[c.name]).filter(Boolean).slice(0, 2).join(", ") || "a row");
}
function addRow(name, start) {
  const id = name + "." + random(12);
  put(id, { ...Object.fromEntries(ledgers.get(name).columns.map((c) => [c.name, ""])), ...start });
  return id;
}
function cellInput(c) {
  if (c.kind === "choice") {
    const input = make("select");
    for (const words of ["", ...c.options]) input.append(make("option", words));
    return input;
  }
  const input = make(c.kind === "long" ? "textarea" : "input");
  if (c.kind === "long") input.rows = 2;
  else input.type = { time: "datetime-local", date: "date" }[c.kind] || "text";
  if (c.kind === "number") input.inputMode = "decimal";
  return input;
}
function enterCell(input) {
  const { row, cell } = input.dataset;
  const v = value(row);
  if (v && v[cell] !== input.value) put(row, { ...v, [cell]: input.value });
}
function makeRow(l, id) {
  const box = make("div", undefined, "entry");
  box.dataset.entry = id;
  box.append(make("p", "", "when"));
  const cells = make("div", undefined, "cells");
  for (const c of l.columns) {
    if (c.kind === "hidden") continue;
    const label = make("label", undefined, c.kind);
    const input = cellInput(c);
    input.dataset.row = id;
    input.dataset.cell = c.name;
    input.addEventListener("change", () => { if (c.kind === "initials") setWho(input.value); enterCell(input); });
    label.append(make("span", c.label), input);
    cells.append(label);
  }
  box.append(cells, button("Take out", () => put(id, null), "drop"));
  return box;
}
function fillRow(box, id, number) {
  const e = entryOf(id);
  box.querySelector(".when").textContent = number + ". written " + short(e.at) + (e.by ? " by " + e.by : "");
  for (const input of all("[data-cell]", box))
    if (input !== document.activeElement) {
      const words = String(e.value[input.dataset.cell] || "");
      if (input.tagName === "SELECT" && words && !all("option", input).some((o) => o.value === words)) input.append(make("option", words));
      input.value = words;
    }
}
function drawLedger(name) {
  const rows = rowsOf(name);
  for (const place of all('[data-shows="' + name + '"]')) {
    const own = rows.filter((id) => !place.dataset.of || value(id).of === place.dataset.of);
    const boxes = new Map(all(".entry", place).map((b) => [b.dataset.entry, b]));
    for (const [id, box] of boxes) if (!own.includes(id)) box.remove();
    for (const id of own) {
      const box = boxes.get(id) || makeRow(ledgers.get(name), id);
      fillRow(box, id, rows.indexOf(id) + 1);
      if (!box.parentNode) place.append(box);
    }
  }
}
onChange((changed) => {
  for (const name of ledgers.keys())
    if (!changed || changed.some((id) => id.startsWith(name + "."))) drawLedger(name);
});
// "Add" puts a row where it is pressed and the cursor in its first empty cell.
all("[data-add]").forEach((b) => b.addEventListener("click", () => {
  const step = b.closest(".card.step");
  const id = addRow(b.dataset.add, step ? { step: step.querySelector("h2").textContent, of: step.dataset.step } : {});
  const place = b.closest(".card").querySelector('[data-shows="' + b.dataset.add + '"]');
  const box = all(".entry", place).find((e) => e.dataset.entry === id);
  const first = all("[data-cell]", box).find((e) => !e.value);
  if (first) first.focus();
  box.scrollIntoView({ block: "center" });
}));
function settleCells() {
  const input = document.activeElement;
  if (input && input.dataset && input.dataset.cell) enterCell(input);
}
