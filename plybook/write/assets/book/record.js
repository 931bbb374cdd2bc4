// The record of the article in hand: what the rest of the page asks and tells.
//
//   value(id)          what stands in a field now: true, text or an object; undefined where nothing
//   entryOf(id)        the entry behind it, with `at`, `by`, `device`; undefined where nothing
//   ids(start)         ids of fields in use that begin so ("deviation.")
//   put(id, v)         write a value (null empties); putAll([[id, v], ...]) several as one deed
//   draft(id, text)    text being typed: kept, and entered by settle(id) or when the page is left
//   undo()             take back the last deed of this page, by new entries
//   onChange(f)        f(ids) after every change, here, in another tab or by an import
//   now()              milliseconds; never behind the last entry, whatever the device's clock does
//   who(), setWho(w)   initials of whoever enters
//
// Each entry is kept under a name of its own, so that two tabs can never overwrite each other, and
// nothing that this page cannot read is ever touched.
const SPACE = "plybook/2/";
const ours = SPACE + JSON.stringify([book.part, book.hand]) + "/";
let article = "";  // the article in hand: its own part of the storage
let log = newLog();
const unsaved = new Map();  // name -> entry that the browser did not keep
const damaged = [];  // stored texts that are no entries: left alone, exported with the rest
const drafts = new Map();  // id -> text not entered yet
const deeds = [];  // what undo takes back: lists of {id, was, name}
const listeners = [];
let kept = "";  // why it is not kept; "" = it is
let exported = true;  // whether all entries that are not kept have gone out

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
function storedNames(start) {
  try { return Object.keys(window.localStorage).filter((n) => n.startsWith(start)); } catch (e) { return []; }
}
const random = (digits) => Array.from(crypto.getRandomValues(new Uint8Array(digits / 2)), (b) => b.toString(16).padStart(2, "0")).join("");
const device = (() => {
  const name = stored(SPACE + "device") || "device " + random(4);
  store(SPACE + "device", name);
  return name;
})();

// ---------------------------------------------------------------- time
function stamp(ms) {
  const d = new Date(ms === undefined ? now() : ms);
  const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
  const off = -d.getTimezoneOffset();
  return d.getFullYear() + "-" + two(d.getMonth() + 1) + "-" + two(d.getDate()) + "T" + two(d.getHours()) +
    ":" + two(d.getMinutes()) + ":" + two(d.getSeconds()) + (off < 0 ? "-" : "+") + two(off / 60) + ":" + two(off % 60);
}
const short = (iso) => typeof iso === "string" && iso.length >= 16 ? iso.slice(11, 16) + " on " + iso.slice(0, 10) : "";
const DAY = 86400000;
let anchor = { time: Date.now(), ticks: performance.now() };
// The device's clock; where it was set back, on from the last moment known.
function now() {
  const ticks = performance.now(), clock = Date.now();
  const steady = anchor.time + ticks - anchor.ticks;
  if (clock < steady - 2000) return Math.round(steady);
  anchor = { time: clock, ticks };
  return clock;
}
// No time before that of an entry; one of more than a day ahead is another device's mistake.
function notBefore(entries) {
  const last = Math.max(0, ...Array.from(entries, (e) => Date.parse(e.at)).filter((t) => t < Date.now() + DAY));
  if (last > now()) anchor = { time: last, ticks: performance.now() };
  return last - Date.now();
}

// ---------------------------------------------------------------- asking
const value = (id) => {
  if (drafts.has(id)) return drafts.get(id) || undefined;
  const e = shownEntry(log, id);
  return e && e.value !== null ? e.value : undefined;
};
const entryOf = (id) => {
  const e = shownEntry(log, id);
  return e && e.value !== null ? e : undefined;
};
const ids = (start) => Array.from(log.fields.keys()).filter((id) => id.startsWith(start) && entryOf(id));
const conflicts = () => Array.from(log.fields.keys()).filter((id) => disagreeing(log, id).length);
const serialOf = (l) => { const e = shownEntry(l, "article.serial"); return e && typeof e.value === "string" ? e.value : ""; };
const bookOf = (l) => { const e = shownEntry(l, "article.book"); return e ? e.value : null; };
const who = () => stored(SPACE + "who") || remembered.who;
const remembered = { who: "", people: [] };
function people() {
  try {
    const list = JSON.parse(stored(SPACE + "people") || "null");
    if (Array.isArray(list)) return list.filter((w) => typeof w === "string").slice(0, 12);
  } catch (e) { /* what is not a list is none */ }
  return remembered.people;
}
function setWho(words) {
  const name = words.trim().slice(0, 40);
  if (!name) return;
  remembered.who = name;
  remembered.people = [name, ...people().filter((w) => w !== name)].slice(0, 12);
  store(SPACE + "who", name);
  store(SPACE + "people", JSON.stringify(remembered.people));
}

// ---------------------------------------------------------------- telling
function keep(name, entry) {
  const why = store(ours + article + "/" + name, canonical(entry));
  if (why) { unsaved.set(name, entry); exported = false; } else unsaved.delete(name);
  return why;
}
function enter(id, v, how) {
  const last = headsOf(log, id);
  const entry = {
    at: stamp(), by: wellFormed(who()), device, field: id, how: how || "", over: last.slice(0, LOG_MOST_NAMES),
    prev: tipsOf(log), value: v,
  };
  const name = nameOf(entry);
  const was = last.length ? log.entries.get(last[0]).value : null;
  addEntry(log, name, entry);
  kept = keep(name, entry);
  return { id, was, name };
}
function clean(v) {
  if (typeof v === "string") return wellFormed(v);
  if (v && typeof v === "object") return Object.fromEntries(Object.entries(v).map(([k, x]) => [k, clean(x)]));
  return v;
}
function putAll(pairs, how) {
  const changed = pairs.map(([id, v]) => [id, clean(v)]).filter(([id, v]) => {
    const e = shownEntry(log, id);
    drafts.delete(id);
    store(draftName(id), null);
    return canonical(e ? e.value : null) !== canonical(v) || disagreeing(log, id).length;
  });
  if (!changed.length) return;
  begun();
  if (unsaved.size) for (const [name, entry] of Array.from(unsaved)) keep(name, entry);  // room again?
  const deed = changed.map(([id, v]) => enter(id, v, how));
  if (how !== "undone") deeds.push(deed);
  if (deeds.length > 200) deeds.shift();
  if (unsaved.size && !kept) kept = "some entries were refused";
  tell(changed.map(([id]) => id));
  return deed;
}
const put = (id, v, how) => putAll([[id, v]], how);
// The first entry of a record, and of each plan that it goes on under, says what it is of.
function begun() {
  const is = { part: book.part, name: book.name, revision: book.revision, hand: book.hand, plan: book.plan };
  const was = bookOf(log);
  if (!was || canonical(was) !== canonical(clean(is))) enter("article.book", clean(is));
}
function undo() {
  const deed = deeds.pop();
  if (!deed) return;
  const mine = deed.filter(({ id, name }) => !name || headsOf(log, id)[0] === name);
  if (mine.length < deed.length) notice("Changed elsewhere since, so left as it is: " + deed.filter((d) => !mine.includes(d)).map((d) => nameOfField(d.id)).join("; "));
  for (const { id, name } of putAll(mine.reverse().map(({ id, was }) => [id, was]), "undone") || []) {
    const before = deeds.flat().filter((d) => d.id === id).pop();
    if (before) before.name = name;  // what stands there now is what that deed made
  }
  sayState();
}
const draftName = (id) => ours + article + "/draft/" + id;
function draft(id, text) {
  if (text.length > LOG_MOST_TEXT) return notice("This text is longer than " + LOG_MOST_TEXT + " letters. Shorten it: only what fits can be kept.");
  drafts.set(id, text);
  const why = store(draftName(id), JSON.stringify({ text, at: stamp() }));
  if (why) { kept = why; exported = false; sayState(); }
  progress([id]);
}
function settle(id) {
  if (drafts.has(id)) put(id, drafts.get(id) || null);
}
const settleAll = () => Array.from(drafts.keys()).forEach(settle);
function onChange(f) { listeners.push(f); }
function tell(changed) {
  listeners.forEach((f) => f(changed));
  sayState();
}

// ---------------------------------------------------------------- storage
// Take stored text in under its name; false where it is not the entry that the name stands for.
function takeStored(into, name, text) {
  let entry = null;
  try { entry = soundEntry(JSON.parse(text)); } catch (e) { entry = null; }
  if (!entry || nameOf(entry) !== name) return false;
  addEntry(into, name, entry);
  return true;
}
function readArticle(id) {
  const l = newLog();
  const bad = [];
  const start = ours + id + "/";
  for (const full of storedNames(start)) {
    const name = full.slice(start.length);
    if (LOG_NAME.test(name) && !takeStored(l, name, stored(full) || "")) bad.push(stored(full) || "");
  }
  return { log: l, bad };
}
// The articles of this part on this device: {id, serial, count, last, log}.
function articles() {
  const found = new Set(storedNames(ours).map((n) => n.slice(ours.length)).filter((n) => n.includes("/")).map((n) => n.slice(0, n.indexOf("/"))));
  return Array.from(found).map((id) => {
    const l = id === article ? log : readArticle(id).log;
    const last = Array.from(l.entries.values(), (e) => e.at).sort().pop() || "";
    return { id, serial: serialOf(l), count: l.entries.size, last, log: l };
  }).filter((a) => a.count).sort((a, b) => (a.last < b.last ? 1 : -1));
}
function openArticle(id, offered) {
  settleAll();
  article = id;
  drafts.clear();
  unsaved.clear();
  deeds.length = 0;
  damaged.length = 0;
  const read = readArticle(id);
  log = read.log;
  damaged.push(...read.bad);
  const behind = notBefore(log.entries.values());
  if (behind > 60000)
    notice("THE CLOCK OF THIS DEVICE IS BEHIND the last entry by " + Math.ceil(behind / 60000) + " min. Set it right: until then times go on from the last entry.");
  if (!offered) store(ours + "current", id);
  const start = draftName("");
  for (const full of storedNames(start)) {  // typed before the page was closed
    let d = null;
    try { d = JSON.parse(stored(full)); } catch (e) { d = null; }
    if (d && typeof d.text === "string") put(full.slice(start.length), d.text || null);
  }
  deeds.length = 0;
  tell(null);
}
const newArticle = () => { openArticle(random(8)); };
// Records of this part that another form of the booklet keeps; they are left alone.
const foreign = () => storedNames("plybook/").filter((n) => !n.startsWith(SPACE) && n.includes(JSON.stringify(book.part)) && !n.endsWith("?")).length;

// Merge entries that came from elsewhere; the ids of the fields that show something else now.
function merge(entries, how) {
  const shown = (id) => { const e = shownEntry(log, id); return canonical(e ? e.value : null); };
  const fields = Array.from(new Set(entries.map(([, e]) => e.field)));
  const before = new Map(fields.map((id) => [id, [shown(id), shownEntry(log, id)]]));
  const fresh = entries.filter(([name, e]) => addEntry(log, name, e));
  for (const [name, e] of fresh) if (how === "import") kept = keep(name, e) || kept;
  if (how === "tab") notBefore(fresh.map(([, e]) => e));
  const changed = fields.filter((id) => before.get(id)[0] !== shown(id));
  if (how === "import" && changed.length)
    deeds.push(changed.map((id) => ({ id, was: before.get(id)[1] ? before.get(id)[1].value : null })));
  tell(changed);
  return { fresh, changed };
}
window.addEventListener("storage", (e) => {
  const start = ours + article + "/";
  if (!e.key || !e.key.startsWith(start) || !e.newValue) return;
  const name = e.key.slice(start.length);
  const l = newLog();
  if (LOG_NAME.test(name) && takeStored(l, name, e.newValue)) merge(Array.from(l.entries), "tab");
});
window.addEventListener("pagehide", settleAll);
document.addEventListener("visibilitychange", () => { if (document.visibilityState === "hidden") settleAll(); });
window.addEventListener("beforeunload", (e) => {
  settleAll();
  if (unsaved.size && !exported) { e.preventDefault(); e.returnValue = ""; }
});

function sayState() {
  const s = $("state");
  s.classList.toggle("bad", kept !== "");
  (kept === "" ? $("foot") : $("warnings")).append(s);  // a warning stays in sight
  s.textContent = kept === ""
    ? "Ticks are kept in this browser on this device."
    : "TICKS ARE NOT BEING KEPT: " + kept + ". Export the record before you close this page.";
  const serial = serialOf(log);
  $("serial").textContent = serial ? "No. " + serial : "no serial number yet";
  const last = deeds[deeds.length - 1];
  $("undo").disabled = !last;
  $("undo").title = last ? "Take back: " + last.map((d) => nameOfField(d.id)).slice(0, 3).join("; ") : "";
}
