// The log of one article, as plain data: no page, no storage.
//
// An entry says that a field got a value:
//   field   id of the field            value  true, text, a flat object, or null: emptied
//   at      local time with its zone   by     initials    device  where it was entered
//   over    names of the entries on this field that it replaces
//   prev    names of the last entries that were known when it was made
//   how     "" entered, "undone", "chosen" between two that disagree, "again" an earlier value
// An entry's name is the SHA-256 of its canonical JSON (RFC 8785): it cannot be changed and keep its
// name, nor be taken out while a later one names it. A log is a set of entries. Two are merged by
// their union; what is shown follows from the set alone, so the order of merging never matters.
const LOG_FORM = 2;
const LOG_KEYS = ["at", "by", "device", "field", "how", "over", "prev", "value"];
const LOG_NAME = /^[0-9a-f]{64}$/;
const LOG_TIME = /^2[01]\d\d-(0[1-9]|1[0-2])-(0[1-9]|[12]\d|3[01])T([01]\d|2[0-3]):[0-5]\d:[0-5]\d[+-]([01]\d|2[0-3]):[0-5]\d$/;
const LOG_MOST_TEXT = 200000;  // letters of one value
const LOG_MOST_NAMES = 200;  // entries one may replace or follow

function canonical(v) {
  if (Array.isArray(v)) return "[" + v.map(canonical).join(",") + "]";
  if (v && typeof v === "object")
    return "{" + Object.keys(v).sort().map((k) => JSON.stringify(k) + ":" + canonical(v[k])).join(",") + "}";
  return JSON.stringify(v);
}
const nameOf = (entry) => sha256(canonical(entry));
// Text that can be written as UTF-8: half a surrogate pair becomes U+FFFD.
const wellFormed = (text) => text.replace(/[\uD800-\uDBFF][\uDC00-\uDFFF]|[\uD800-\uDFFF]/g, (c) => (c.length === 2 ? c : "\uFFFD"));

// The entry in a value that came from outside, with its known keys only; null where it is none.
function soundEntry(raw) {
  if (!raw || typeof raw !== "object") return null;
  const text = (v, most) => typeof v === "string" && v.length <= most && wellFormed(v) === v;
  const simple = (v) => v === null || typeof v === "boolean" || Number.isSafeInteger(v) || text(v, LOG_MOST_TEXT);
  const names = (v) => Array.isArray(v) && v.length <= LOG_MOST_NAMES && v.every((n) => typeof n === "string" && LOG_NAME.test(n));
  const flat = (v) => v && typeof v === "object" && !Array.isArray(v) && Object.keys(v).length <= 40 &&
    Object.entries(v).every(([k, x]) => text(k, 40) && simple(x));
  const { value } = raw;
  const good = text(raw.field, 300) && raw.field && text(raw.at, 40) && LOG_TIME.test(raw.at) &&
    !Number.isNaN(Date.parse(raw.at)) && text(raw.by, 40) && text(raw.device, 60) &&
    ["", "undone", "chosen", "again"].includes(raw.how) && names(raw.over) && names(raw.prev) &&
    (value === true || value === null || text(value, LOG_MOST_TEXT) || flat(value));
  return good ? Object.fromEntries(LOG_KEYS.map((k) => [k, raw[k]])) : null;
}

const newLog = () => ({
  entries: new Map(), fields: new Map(), replaced: new Set(), followed: new Set(), tips: new Set(),
  depths: null,  // of all entries, counted when first asked for
});
// Take an entry in; false where the log has it already.
function addEntry(log, name, entry) {
  if (log.entries.has(name)) return false;
  log.entries.set(name, entry);
  log.depths = null;
  if (!log.fields.has(entry.field)) log.fields.set(entry.field, []);
  log.fields.get(entry.field).push(name);
  entry.over.forEach((n) => log.replaced.add(entry.field + " " + n));
  for (const n of entry.prev) { log.followed.add(n); log.tips.delete(n); }
  if (!log.followed.has(name)) log.tips.add(name);
  return true;
}
// How many entries of the log, one after another, each entry was made with knowledge of.
function depthsOf(log) {
  if (log.depths) return log.depths;
  const depths = new Map();
  const open = Array.from(log.entries.keys());
  while (open.length) {
    const name = open[open.length - 1];
    const { prev, over } = log.entries.get(name);
    const before = [...prev, ...over].filter((n) => log.entries.has(n));
    if (!depths.has(name)) {  // first those it follows, then the entry itself
      depths.set(name, 0);
      open.push(...before.filter((n) => !depths.has(n)));
    } else {
      depths.set(name, before.reduce((most, n) => Math.max(most, depths.get(n) + 1), 0));
      open.pop();
    }
  }
  log.depths = depths;
  return depths;
}
// Later first; of the same second the one that follows the other; else by their names.
function laterFirst(log, a, b) {
  const gap = Date.parse(log.entries.get(b).at) - Date.parse(log.entries.get(a).at);
  return gap || depthsOf(log).get(b) - depthsOf(log).get(a) || (a < b ? 1 : -1);
}
// Names of a field's entries that no other replaces; the one that is shown first.
function headsOf(log, field) {
  const left = (log.fields.get(field) || []).filter((n) => !log.replaced.has(field + " " + n));
  return left.length > 1 ? left.sort((a, b) => laterFirst(log, a, b)) : left;
}
function shownEntry(log, field) {
  const heads = headsOf(log, field);
  return heads.length ? log.entries.get(heads[0]) : undefined;
}
// Names of entries that disagree: made without knowing of each other, with different values.
function disagreeing(log, field) {
  const heads = headsOf(log, field);
  return new Set(heads.map((n) => canonical(log.entries.get(n).value))).size > 1 ? heads : [];
}
const tipsOf = (log) => Array.from(log.tips).sort().slice(0, LOG_MOST_NAMES);
// All there is of a field, the newest first.
const historyOf = (log, field) => (log.fields.get(field) || []).slice().sort((a, b) => laterFirst(log, a, b));
// Short code of the whole log: another code means that something is another.
const sealOf = (log) => (log.entries.size ? sha256(Array.from(log.tips).sort().join("")).slice(0, 12).toUpperCase().replace(/(....)(?=.)/g, "$1-") : "");
// Entries as they go out: oldest first, each with its name.
const listed = (log) => Array.from(log.entries.keys()).sort((a, b) => laterFirst(log, b, a)).map((name) => ({ ...log.entries.get(name), name }));
