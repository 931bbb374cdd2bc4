// Fields.
const number = (text) => {
  const t = text.trim().replace(/^([-+]?\d*),(\d+)$/, "$1.$2").replace(/^[−–]/, "-");
  return /^[-+]?(\d+(\.\d*)?|\.\d+)$/.test(t) ? Number(t) : NaN;
};
function verdict(input) {
  const out = input.closest(".blank").querySelector(".verdict");
  if (!out) return;
  const d = input.dataset;
  out.className = "verdict";
  out.textContent = "";
  if (!input.value.trim()) return;
  const v = number(input.value);
  if (Number.isNaN(v)) {
    out.textContent = "NOT A NUMBER: write it as 12.3";
    out.classList.add("out");
    return;
  }
  const low = d.low === undefined ? -Infinity : Number(d.low);
  const high = d.high === undefined ? Infinity : Number(d.high);
  const by = (x) => String(Math.round(x * 1000) / 1000) + (d.unit ? " " + d.unit : "");
  if (d.low === undefined && d.high === undefined) {
    if (d.expected !== undefined) out.textContent = "Expected " + by(Number(d.expected)) + ", difference " + by(v - Number(d.expected));
    return;
  }
  const slack = 1e-9 * Math.max(1, Math.abs(v));
  if (v < low - slack) { out.textContent = "OUT: too low by " + by(low - v); out.classList.add("out"); }
  else if (v > high + slack) { out.textContent = "OUT: too high by " + by(v - high); out.classList.add("out"); }
  else { out.textContent = "IN: within limits"; out.classList.add("in"); }
}
function show(input) {
  const f = record.fields[input.dataset.field];
  if (input.type === "checkbox") {
    input.checked = Boolean(f && f.value === true);
    input.closest(".tick").querySelector(".when").textContent = f ? "ticked " + short(f.at) : "";
  } else {
    input.value = f && typeof f.value === "string" ? f.value : "";
    if (input.dataset.kind === "measure") verdict(input);
    if (input.tagName === "TEXTAREA") grow(input);
  }
}
function take(input) {
  const id = input.dataset.field;
  const value = input.type === "checkbox" ? input.checked : input.value;
  if (value === false || value === "") delete record.fields[id];
  else record.fields[id] = { value, at: stamp() };
  if (input.type === "checkbox") show(input);
  if (input.dataset.kind === "measure") verdict(input);
  if (input.tagName === "TEXTAREA") grow(input);
  save();
}
function grow(area) {
  area.style.height = "auto";
  if (area.scrollHeight) area.style.height = area.scrollHeight + 6 + "px";
}
function fill() {
  all("[data-field]").forEach(show);
  drawDeviations();
}
document.addEventListener("change", (e) => { if (e.target.matches("input[type=checkbox][data-field]")) take(e.target); });
document.addEventListener("input", (e) => { if (e.target.matches("[data-field]:not([type=checkbox])")) take(e.target); });
all(".now").forEach((b) => b.addEventListener("click", () => {
  const input = b.closest(".blank").querySelector("input");
  input.value = short(stamp());
  take(input);
}));
