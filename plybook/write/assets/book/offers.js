// Less typing: initials and lots that were entered once are offered, working time runs on a clock,
// what can be computed is.
function chip(words, action) {
  const b = button(words, action, "chip");
  b.setAttribute("aria-label", "Enter " + words);
  return b;
}
// The lots that hold for the whole part of the materials a blank is for; "" where one is not known.
function heldLots(input) {
  const whole = (input.dataset.offers || "").split(" ").filter(Boolean).map((m) => value("record.lot." + m));
  return whole.length && whole.every((w) => typeof w === "string" && w.trim()) ? Array.from(new Set(whole)).join(", ") : "";
}
const lotBlanks = new Map();  // materials -> blanks for their lots
for (const e of all("[data-offers]")) {
  if (!lotBlanks.has(e.dataset.offers)) lotBlanks.set(e.dataset.offers, []);
  lotBlanks.get(e.dataset.offers).push(e.dataset.field);
}
// Lots a blank may be for: those of the whole part, then those entered at such blanks.
function lotsFor(input) {
  const alike = (lotBlanks.get(input.dataset.offers) || []).map(value);
  return Array.from(new Set([heldLots(input), ...alike].filter((w) => typeof w === "string" && w.trim()))).slice(0, 4);
}
// "Defects and where (or none)": the words after "or" are an answer.
function answerIn(input) {
  const asked = /\(or ([^()]+)\)$/.exec(input.closest("label").querySelector("span").textContent.trim());
  return asked ? [asked[1]] : [];
}
function wordsFor(input) {
  if (input.dataset.kind === "initials") return people().filter((w) => w !== who() || input.dataset.field !== signOf(here) || !maySign(here)).slice(0, 4);
  if (input.dataset.kind === "text") return answerIn(input);
  return input.placeholder ? [] : lotsFor(input);
}
// At a step or a cup the lot of the whole part stands in the empty field: nothing need be written.
function showHeld(input) {
  const held = "counts" in input.dataset ? "" : heldLots(input);
  if (input.placeholder !== held) input.placeholder = held;
  const cup = input.closest(".of-cup");
  if (cup) say(cup.querySelector(".held"), value(input.dataset.field) || held || "no lot");
}
function offerWords(input) {
  const blank = input.closest(".blank");
  if (!blank) return;
  all(".chip", blank).forEach((b) => b.remove());
  if (value(input.dataset.field) !== undefined) return;
  for (const w of wordsFor(input))
    blank.append(chip(w, () => {
      if (input.dataset.kind === "initials") setWho(w);
      write(input, w);
    }));
}
function offered(card) {
  all("[data-offers]", card).forEach(showHeld);
  all(".blank [data-kind=initials], .blank [data-kind=text], [data-offers]", card).forEach(offerWords);
}
onChange(() => { if (here) offered(here); });

// ---------------------------------------------------------------- the clock of working hours
const openWork = () => rowsOf("hours").filter((id) => value(id).start && !value(id).end && value(id).who === who());
const minute = () => stamp().slice(0, 16);
function toggleWork(task) {
  const running = openWork();
  if (running.length) return putAll(running.map((id) => [id, { ...value(id), end: minute() }]));
  if (!who()) return notice("Write your initials in any initials field first: the clock runs for a person.");
  addRow("hours", { task, who: who(), start: minute() });
}
function drawWork() {
  const running = openWork()[0];
  for (const b of here ? all("[data-do=work]", here) : [])
    say(b, running ? "Stop work (" + value(running).task + ", since " + value(running).start.slice(11) + ")" : "Start work" + (who() ? " (" + who() + ")" : ""));
}
all("[data-do=work]").forEach((b) => b.addEventListener("click", () => { toggleWork(b.dataset.task); }));
onChange(drawWork);

// ---------------------------------------------------------------- figures that follow from others
// A difference is entered by itself when both its figures are there; typed over, it stays as typed.
function computeDifference(input) {
  const [a, b] = input.dataset.difference.split(" ").map((id) => value(id));
  if (typeof a !== "string" || typeof b !== "string") return;
  const drop = number(a) - number(b);
  const id = input.dataset.field, e = entryOf(id);
  const words = String(Math.round(drop * 1000) / 1000);
  if (Number.isNaN(drop) || input === document.activeElement || value(id) === words) return;
  const figures = input.dataset.difference.split(" ").map((f) => entryOf(f)).filter(Boolean);
  if (!e || figures.some((f) => f.at > e.at)) put(id, words);
}
const differences = all("[data-difference]");
onChange((changed) => {
  if (changed)
    for (const input of differences)
      if (changed.some((id) => input.dataset.difference.split(" ").includes(id))) computeDifference(input);
});
// A cup whose first part came out otherwise: the rest in the same proportion.
function rescale(box) {
  const input = box.querySelector("[data-field]");
  const grams = JSON.parse(box.dataset.grams), places = Number(box.dataset.decimals);
  const v = number(input.value);
  const out = box.querySelector(".rest");
  out.textContent = "";
  if (!(v > 0) || !grams.length) return;
  const by = v / grams[0][1];
  const rest = grams.slice(1).map(([name, g]) => name + " " + (g * by).toFixed(places) + " g");
  const sum = grams.reduce((n, [, g]) => n + g * by, 0);
  out.textContent = "then " + rest.join(" + ") + " = " + sum.toFixed(places) + " g in all" +
    (Math.abs(by - 1) > 0.1 + 1e-9 ? ". " + Math.round(Math.abs(by - 1) * 100) + " % " + (by > 1 ? "more" : "less") + " than planned" : "");
}
document.addEventListener("input", (e) => { const box = e.target.closest(".rescale"); if (box) rescale(box); });
onChange((changed) => { if (!changed || changed.some((id) => id.endsWith(".weighed"))) all(".rescale").forEach(rescale); });
