// What was entered before, and what two devices entered without knowing of each other.
const UNSAID = ["kind", "of", "sha256"];  // what only the page needs to know
const MOMENTS = { start: "started", end: "until", tray: "in the tray", stopped: "ended", seen: "alarm answered", seenTray: "alarm of the tray answered" };
function said(v) {
  if (v === null || v === undefined) return "empty";
  if (v === true) return "ticked";
  if (typeof v === "string") return v;
  const words = Object.entries(v).filter(([k, x]) => x !== "" && x !== 0 && x !== null && !UNSAID.includes(k))
    .map(([k, x]) => (MOMENTS[k] && Number.isFinite(x) ? MOMENTS[k] + " " + short(stamp(x)) : k + " " + x));
  return words.join(", ") || "empty row";
}
const byWhom = (e) => short(e.at) + (e.by ? ", " + e.by : "") + ", " + e.device;
function historyRows(body, names, close) {
  const list = make("ol", undefined, "history");
  for (const name of names.slice(0, 300)) {
    const e = log.entries.get(name);
    const was = e.over.map((n) => log.entries.get(n)).filter(Boolean).map((o) => said(o.value));
    const row = make("li");
    row.append(make("b", nameOfField(e.field)), make("div", (was.length ? was.join(" / ") + " → " : "") + said(e.value)),
      make("div", byWhom(e) + (e.how === "undone" ? ", taken back" : e.how === "chosen" ? ", chosen" : e.how === "again" ? ", used again" : ""), "when"));
    const shown = shownEntry(log, e.field);
    if (e.field !== "article.book" && canonical(shown.value) !== canonical(e.value))
      row.append(button("Use this again", () => { put(e.field, e.value, "again"); close(); }));
    list.append(row);
  }
  body.append(list);
  if (names.length > 300) body.append(make("p", "The newest 300 of " + names.length + ". The exported record holds all."));
  if (!names.length) body.append(make("p", "Nothing was entered yet."));
}
const newest = (names) => names.sort((a, b) => laterFirst(log, a, b));
function pageHistory(card) {
  const here = new Set(all("[data-field], [data-timer], [data-entry]", card).map((e) => e.dataset.field || e.dataset.entry || "timer." + e.dataset.timer));
  const gone = (e) => e.value === null || typeof e.value === "object" ? e : null;
  const names = Array.from(log.entries.keys()).filter((n) => {
    const e = log.entries.get(n);
    const of = gone(e) && e.over.map((o) => log.entries.get(o)).find((o) => o && o.value && o.value.of);
    return here.has(e.field) || (of && of.value.of === card.dataset.step);
  });
  sheet("History of this page", (body, close) => historyRows(body, newest(names), close));
}
all("[data-do=page-history]").forEach((b) => b.addEventListener("click", () => pageHistory(b.closest(".card"))));
all("[data-do=history]").forEach((b) => b.addEventListener("click", () =>
  sheet("History of the record", (body, close) => historyRows(body, newest(Array.from(log.entries.keys())), close))));

function drawConflicts() {
  const box = $("conflicts");
  if (!box) return;
  box.textContent = "";
  const open = conflicts();
  if (!open.length) return;
  box.append(make("h3", "To decide: two devices say different things"));
  for (const id of open) {
    const row = make("div", undefined, "conflict");
    row.append(make("p", nameOfField(id), "strong"));
    const sides = make("div", undefined, "sides");
    for (const name of disagreeing(log, id)) {
      const e = log.entries.get(name);
      const side = make("div");
      side.append(make("p", said(e.value), "value"), make("p", byWhom(e), "when"),
        button("Keep this", () => put(id, e.value, "chosen")));
      sides.append(side);
    }
    row.append(sides);
    box.append(row);
  }
}
onChange(() => {
  drawConflicts();
  const seal = sealOf(log);
  if ($("seal")) $("seal").textContent = seal ? "Seal of this record as it is now: " + seal + " (" + log.entries.size + " entries). Written on paper, it shows later whether anything was changed." : "";
});
