// Which article is in hand: each has a record of its own.
function articleWords(a) {
  return (a.serial ? "No. " + a.serial : "Without a serial number") + ": " + a.count + " entries, last " + (short(a.last) || "unknown");
}
function drawArticles() {
  const box = $("articles");
  if (!box) return;
  box.textContent = "";
  const list = articles();
  const others = list.filter((a) => a.id !== article);
  if (!others.length) return;
  box.append(make("p", "Other records on this device:"));
  for (const a of others) box.append(button("Open " + articleWords(a), () => openArticle(a.id)));
}
all("[data-do=new-record]").forEach((b) => b.addEventListener("click", () => {
  newArticle();
  notice("A new, empty record is open. Write its serial number on the first page. The other is kept.");
}));
onChange((changed) => { if (!changed || changed.includes("article.serial")) drawArticles(); });
// The same number twice on one device is one article in two records: say so at once.
onChange((changed) => {
  const serial = serialOf(log);
  if (!changed || !changed.includes("article.serial") || !serial) return;
  const twin = articles().find((a) => a.id !== article && a.serial === serial);
  if (!twin) return;
  notice("There is a record of No. " + serial + " on this device already (" + articleWords(twin) + ").", [
    ["Open that one", () => openArticle(twin.id)],
    ["Merge it into this one", () => { merge(Array.from(twin.log.entries), "import"); drawArticles(); }],
    ["Leave things as they are", () => {}],
  ]);
});
// Each sheet of paper carries the serial number beside the part.
const sheetFoot = { sheet: document.styleSheets[0], at: -1 };
function nameSheets(serial) {
  const { sheet } = sheetFoot;
  if (sheetFoot.at >= 0) sheet.deleteRule(sheetFoot.at);
  const words = book.part + " " + book.name + ", revision " + book.revision + (serial ? ", No. " + serial : "");
  const safe = Array.from(words, (c) => (/[A-Za-z0-9]/.test(c) ? c : "\\" + c.codePointAt(0).toString(16) + " ")).join("");
  sheetFoot.at = sheet.insertRule('@media print { @page { @bottom-left { content: "' + safe + '"; font: 9pt sans-serif; } } }', sheet.cssRules.length);
}
if (book.bench) onChange((changed) => { if (!changed || changed.includes("article.serial")) nameSheets(serialOf(log)); });
