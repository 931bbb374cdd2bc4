// Fields.
const number = (text) => {
  const t = text.trim().replace(/^([-+]?\d*),(\d+)$/, "$1.$2").replace(/^[−–]/, "-");
  return t.length <= 30 && /^[-+]?(\d+(\.\d*)?|\.\d+)$/.test(t) ? Number(t) : NaN;
};
// A time as it is written at the bench: "14:02", "14:02 on 2026-05-04", "2026-05-04 14:02".
function isTime(words) {
  const m = /^(?:(\d{4}-\d\d-\d\d)[T ])?(\d{1,2})[:.](\d\d)(?: on (\d{4}-\d\d-\d\d))?$/.exec(words.trim());
  if (!m || (m[1] && m[4]) || Number(m[2]) > 23 || Number(m[3]) > 59) return false;
  const day = m[1] || m[4];
  return !day || (!Number.isNaN(Date.parse(day)) && new Date(day).toISOString().startsWith(day));
}
const judged = (input) => ["measure", "time"].includes(input.dataset.kind);
function verdict(input) {
  const out = input.closest(".blank").querySelector(".verdict");
  if (!out) return;
  const d = input.dataset;
  out.className = "verdict";
  out.textContent = "";
  if (!input.value.trim()) return;
  if (d.kind === "time") {
    if (!isTime(input.value)) { out.textContent = "NOT A TIME: write it as 14:02"; out.classList.add("out"); }
    return;
  }
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
const fieldsById = new Map(all("[data-field]").map((e) => [e.dataset.field, e]));
// A field as people know it: its words, and with the page it is on.
const inputOf = (id) => fieldsById.get(id) || all("[data-timer]").find((e) => "timer." + e.dataset.timer === id);
function wordsOfField(id) {
  const input = inputOf(id);
  if (!input) return ledgerWords(id) || (id === "article.book" ? "Book" : id);
  return input.closest("label") ? input.closest("label").querySelector(".words, span").textContent : input.dataset.label;
}
function nameOfField(id) {
  const card = inputOf(id) && inputOf(id).closest(".card");
  return wordsOfField(id) + (card ? ", " + card.querySelector("h2").textContent : "");
}
function showWhen(input) {
  const e = entryOf(input.dataset.field);
  const when = (input.closest(".tick") || input.closest(".blank") || document).querySelector(".when");
  const word = input.type === "checkbox" ? "ticked " : "written ";
  if (when) when.textContent = e ? word + short(e.at) + (e.by && input.dataset.kind !== "initials" ? " by " + e.by : "") : "";
}
function show(input) {
  const id = input.dataset.field;
  const v = value(id);
  if (input.type === "checkbox") input.checked = v === true;
  else if (!(input === document.activeElement && drafts.has(id))) {
    input.value = typeof v === "string" ? v : "";
    if (judged(input)) verdict(input);
    if (input.tagName === "TEXTAREA") grow(input);
  }
  showWhen(input);
}
function typed(input) {
  draft(input.dataset.field, input.value);
  if (judged(input)) verdict(input);
  if (input.tagName === "TEXTAREA") grow(input);
}
function entered(input) {
  if (input.type === "checkbox") return write(input, input.checked ? true : null);
  if (input.dataset.kind === "initials") setWho(input.value);
  if (drafts.has(input.dataset.field)) write(input, drafts.get(input.dataset.field) || null);
}
// Enter a value, and in the same deed the wait it starts and what is thereby over.
function write(input, v) {
  putAll([[input.dataset.field, v], ...(v === null ? [] : [...begunBy(input), ...endedBy(input)])]);
}
function grow(area) {
  area.style.height = "auto";
  if (area.scrollHeight) area.style.height = area.scrollHeight + 6 + "px";
}
onChange((changed) => {
  if (!changed) return fieldsById.forEach(show);
  for (const id of changed) if (fieldsById.has(id)) show(fieldsById.get(id));
});
document.addEventListener("change", (e) => { if (e.target.matches("[data-field]")) entered(e.target); });
document.addEventListener("input", (e) => { if (e.target.matches("[data-field]:not([type=checkbox])")) typed(e.target); });
all(".now").forEach((b) => b.addEventListener("click", () => {
  write(b.closest(".blank").querySelector("input"), short(stamp()));
}));
$("undo").addEventListener("click", undo);

// On paper a filled-in text runs over as many lines as it needs: an input would cut it off. A lot
// that holds for the whole part is written wherever it is used.
function tellWhole() {
  for (const input of all("input[type=text], input[type=date], input[type=datetime-local], textarea, select")) {
    const words = input.value || ("counts" in input.dataset ? "" : heldLots(input));
    if (!words || input.classList.contains("told")) continue;
    input.classList.add("told");
    input.after(make("span", words, "typed only-print"));
  }
}
function untell() {
  all(".typed").forEach((e) => e.remove());
  all(".told").forEach((e) => e.classList.remove("told"));
}
window.addEventListener("beforeprint", tellWhole);
window.addEventListener("afterprint", untell);
