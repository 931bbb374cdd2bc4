// Export and import.
all("[data-do=export]").forEach((b) => b.addEventListener("click", () => {
  const url = URL.createObjectURL(new Blob([JSON.stringify(whole(), null, 1) + "\n"], { type: "application/json" }));
  const a = make("a");
  a.href = url;
  a.download = (book.part + "-" + book.revision + "-record").replace(/[^A-Za-z0-9._-]+/g, "_") + ".json";
  document.body.append(a);
  a.click();
  a.remove();
  window.setTimeout(() => URL.revokeObjectURL(url), 10000);
}));
all("[data-do=print]").forEach((b) => b.addEventListener("click", () => window.print()));
all("[data-do=import]").forEach((input) => input.addEventListener("change", async () => {
  const file = input.files[0];
  if (!file) return;
  const text = file.size > 2e6 ? "" : await file.text();
  input.value = "";
  const read = parsed(text);
  if (!read) return notice("This file is not a record of a ply book. Nothing was taken over.");
  if (read.part !== book.part) return notice("This record is of part " + read.part + ", this book is of part " + book.part + ". Nothing was taken over.");
  const fit = fitting(read.record);
  const words = ["A record with " + count(read.record) + " entries, saved " + (short(read.saved) || "at an unknown time") + "."];
  if (read.revision !== book.revision) words.push("REVISION MISMATCH: the record is of revision " + read.revision + ", this book is revision " + book.revision + ".");
  else if (read.plan !== book.plan) words.push("The plan has changed since this record was made.");
  if (fit.lost) words.push(fit.lost + " entries belong to steps that have changed; those steps stay open.");
  if (count(record)) words.push("It replaces the " + count(record) + " entries on this page.");
  const clean = words.length === 1 && !fit.lost;
  if (clean) { adopt(fit.record); return notice(words[0] + " Taken over."); }
  notice(words, [["Take it over", () => adopt(fit.record)], ["Leave things as they are", () => {}]]);
}));

// the same book in another tab
window.addEventListener("storage", (e) => {
  const other = e.key === key ? parsed(e.newValue) : null;
  if (!other) return;
  record = other.record;
  fill();
  progress();
  drawTimers();
});
