// The record goes out as one file and comes in again, entry by entry.
const MOST_BYTES = 200e6;
async function whole() {
  return {
    plybook_record: LOG_FORM, part: book.part, name: book.name, revision: book.revision, hand: book.hand,
    plan: book.plan, serial: serialOf(log), saved: stamp(), seal: sealOf(log), entries: listed(log),
    photos: await photosOut(), aside: damaged,
  };
}
all("[data-do=export]").forEach((b) => b.addEventListener("click", async () => {
  settleAll();
  const url = URL.createObjectURL(new Blob([JSON.stringify(await whole(), null, 1) + "\n"], { type: "application/json" }));
  const a = make("a");
  a.href = url;
  const serial = serialOf(log);
  a.download = ([book.part, book.revision, serial, "record"].filter(Boolean).join("-")).replace(/[^A-Za-z0-9._-]+/g, "_") + ".json";
  document.body.append(a);
  a.click();
  a.remove();
  window.setTimeout(() => URL.revokeObjectURL(url), 10000);
  exported = true;
}));
all("[data-do=print]").forEach((b) => b.addEventListener("click", () => { settleAll(); window.print(); }));

// A file as {log, raw, bad}: its sound entries, its frame, how many entries are not what their name
// stands for; words where it is no record.
function readFile(text) {
  let raw = null;
  try { raw = JSON.parse(text); } catch (e) { raw = null; }
  if (!raw || typeof raw !== "object" || Array.isArray(raw) || typeof raw.plybook_record !== "number") return "This file is not a record of a ply book.";
  if (raw.plybook_record !== LOG_FORM) return "This record was made by " + (raw.plybook_record > LOG_FORM ? "a newer" : "an earlier") + " form of the booklet, which this page cannot read.";
  if (!Array.isArray(raw.entries)) return "This file is not a record of a ply book.";
  const l = newLog();
  let bad = 0;
  for (const e of raw.entries) {
    const entry = soundEntry(e);
    if (entry && nameOf(entry) === e.name) addEntry(l, e.name, entry); else bad++;
  }
  return { log: l, raw, bad };
}
const plain = (v) => (typeof v === "string" ? v.slice(0, 100) : "");
async function take(read) {
  await photosIn(read.raw.photos);
  const { fresh, changed } = merge(Array.from(read.log.entries), "import");
  const open = conflicts().length;
  const words = ["Taken over: " + fresh.length + " of " + read.log.entries.size + " entries were new, " + changed.length + " fields show something else now."];
  if (open) words.push(open + " fields say different things on the two devices. Decide each on the Record page.");
  const choices = [["OK", () => {}]];
  if (changed.length) choices.push(["Take the import back", undo]);
  if (open) choices.unshift(["Decide now", () => { go($("conflicts").closest(".card").id); $("conflicts").scrollIntoView(); }]);
  notice(words, choices);
}
async function imported(file) {
  const read = file.size > MOST_BYTES ? "This file is larger than any record." : readFile(await file.text());
  const nothing = " Nothing was taken over.";
  if (typeof read === "string") return notice(read + nothing);
  const is = bookOf(read.log) || {};
  const part = plain(is.part) || plain(read.raw.part), hand = plain(is.hand) || plain(read.raw.hand), revision = plain(is.revision) || plain(read.raw.revision);
  if (part !== book.part) return notice("This record is of part " + part + ", this book is of part " + book.part + "." + nothing);
  if (hand !== book.hand) return notice("WRONG HAND: this record is of the " + hand + " hand, this book of the " + book.hand + " hand." + nothing);
  if (!read.log.entries.size && !read.bad) return notice("This record is empty." + nothing);
  const words = ["A record with " + read.log.entries.size + " entries, saved " + (short(read.raw.saved) || "at an unknown time") + "."];
  if (read.bad) words.push("CHANGED OR DAMAGED: " + read.bad + " of its entries are not as they were written. They are left out.");
  const missing = Array.from(read.log.followed).filter((n) => !read.log.entries.has(n)).length;
  if (missing && !read.bad) words.push("CHANGED OR DAMAGED: " + missing + " entries that others follow are missing.");
  if (revision !== book.revision) words.push("REVISION MISMATCH: the record is of revision " + revision + ", this book is revision " + book.revision + ".");
  else if (is.plan && is.plan !== book.plan) words.push("The plan has changed since this record was made.");
  const theirs = serialOf(read.log), mine = serialOf(log);
  const other = Boolean(log.entries.size) && theirs !== mine && Boolean(theirs || mine);
  if (other) words.push("ANOTHER ARTICLE: the record is of " + (theirs ? "No. " + theirs : "an article without a serial number") + ", this one is " + (mine ? "No. " + mine : "without a serial number") + ".");
  if (words.length === 1) return take(read);
  const choices = [["Leave things as they are", () => {}]];
  if (other) choices.push(["Open it as a record of its own", () => { newArticle(); take(read); }]);
  choices.push([other ? "Merge it all the same" : "Take it over", () => take(read)]);
  notice(words, choices);
}
all("[data-do=import]").forEach((input) => input.addEventListener("change", async () => {
  const file = input.files[0];
  if (!file) return;
  await imported(file);
  input.value = "";
}));
