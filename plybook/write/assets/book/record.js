// The record and where it is kept.
const empty = () => ({ fields: {}, timers: {}, deviations: [] });
let record = empty();
let kept = "";  // why it is not kept; "" = it is

function store(name, text) {
  try {
    if (text === null) window.localStorage.removeItem(name);
    else window.localStorage.setItem(name, text);
    return "";
  } catch (e) {
    return e && e.name === "QuotaExceededError" ? "the browser's storage is full" : "the browser does not allow it";
  }
}
function stored(name) {
  try { return window.localStorage.getItem(name); } catch (e) { return null; }
}
function whole() {
  return {
    plybook_record: 1, part: book.part, name: book.name, revision: book.revision, hand: book.hand,
    plan: book.plan, saved: stamp(), fields: record.fields, timers: record.timers,
    deviations: record.deviations,
  };
}
function save() {
  kept = store(key, JSON.stringify(whole()));
  sayState();
  progress();
}
function sayState() {
  const s = $("state");
  s.classList.toggle("bad", kept !== "");
  (kept === "" ? $("foot") : $("head")).append(s);  // a warning stays in sight
  s.textContent = kept === ""
    ? "Ticks are kept in this browser on this device."
    : "TICKS ARE NOT BEING KEPT: " + kept + ". Export the record before you close this page.";
}
function stamp(ms) {
  const d = ms === undefined ? new Date() : new Date(ms);
  const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
  const off = -d.getTimezoneOffset();
  return d.getFullYear() + "-" + two(d.getMonth() + 1) + "-" + two(d.getDate()) + "T" + two(d.getHours()) +
    ":" + two(d.getMinutes()) + ":" + two(d.getSeconds()) + (off < 0 ? "-" : "+") + two(off / 60) + ":" + two(off % 60);
}
const short = (iso) => typeof iso === "string" && iso.length >= 16 ? iso.slice(11, 16) + " on " + iso.slice(0, 10) : "";
const count = (r) => Object.keys(r.fields).length + r.deviations.length;

// A record from storage or a file, made safe: known shapes only, everything else dropped.
function cleaned(raw) {
  if (!raw || typeof raw !== "object" || raw.plybook_record !== 1) return null;
  const out = empty();
  const text = (v, most) => typeof v === "string" ? v.slice(0, most) : "";
  for (const [id, f] of Object.entries(raw.fields || {})) {
    if (!f || typeof f !== "object" || id.length > 300) continue;
    if (f.value === true || typeof f.value === "string")
      Object.defineProperty(out.fields, id, { value: { value: f.value === true ? true : text(f.value, 5000), at: text(f.at, 40) }, enumerable: true, writable: true, configurable: true });
  }
  for (const [id, t] of Object.entries(raw.timers || {})) {
    if (t && typeof t === "object" && Number.isFinite(t.start) && Number.isFinite(t.end) && id.length <= 300)
      Object.defineProperty(out.timers, id, { value: { start: t.start, end: t.end, stopped: Number.isFinite(t.stopped) ? t.stopped : 0 }, enumerable: true, writable: true, configurable: true });
  }
  for (const d of Array.isArray(raw.deviations) ? raw.deviations.slice(0, 500) : [])
    if (d && typeof d === "object")
      out.deviations.push({ at: text(d.at, 40), step: text(d.step, 300), what: text(d.what, 5000), why: text(d.why, 5000), by: text(d.by, 100) });
  return { record: out, part: text(raw.part, 300), revision: text(raw.revision, 300), plan: text(raw.plan, 100), saved: text(raw.saved, 40) };
}
function parsed(text) {
  try { return cleaned(JSON.parse(text)); } catch (e) { return null; }
}
// Only what this book still asks for: a changed step has a new id and is open again.
function fitting(old) {
  const known = new Set(all("[data-field]").map((e) => e.dataset.field));
  const timers = new Set(all("[data-timer]").map((e) => e.dataset.timer));
  const out = empty();
  let lost = 0;
  for (const [id, f] of Object.entries(old.fields)) if (known.has(id)) out.fields[id] = f; else lost++;
  for (const [id, t] of Object.entries(old.timers)) if (timers.has(id)) out.timers[id] = t;
  out.deviations = old.deviations;
  return { record: out, lost };
}
