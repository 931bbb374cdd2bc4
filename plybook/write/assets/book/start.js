// Begin: find the record to go on with, say what it is, show the page.
function fieldsGone() {
  const known = (id) => fieldsById.has(id) || /^(article|timer|photos)\./.test(id) || ledgerOf(id);
  return Array.from(log.fields.keys()).filter((id) => entryOf(id) && !known(id)).length;
}
function goOn(id) {
  openArticle(id);
  const is = bookOf(log);
  const gone = fieldsGone();
  if (is && is.revision === book.revision && is.plan !== book.plan)
    notice("The plan has been made anew since your last entry." + (gone ? " " + gone + " entries belong to steps that have changed: they stay in the record, and those steps are open again." : ""));
}
function begin() {
  if (!book.bench) return turn(true);  // the printed record of an article: nothing is entered
  kept = store(SPACE + "?", "1");
  if (kept === "") store(SPACE + "?", null);
  const last = stored(ours + "current");
  const known = articles();
  const own = known.filter((a) => { const is = bookOf(a.log); return is && is.revision === book.revision; });
  const begun = /^[0-9a-f]{8}$/.test(last || "") && !known.some((a) => a.id === last);  // and still empty
  const found = begun ? null : known.find((a) => a.id === last) || own[0] || known[0];
  const is = found ? bookOf(found.log) : null;
  if (found && is && is.revision !== book.revision) {
    openArticle(random(8), true);
    notice(["REVISION MISMATCH: the entries of " + articleWords(found) + " are of revision " + is.revision + ", this book is revision " + book.revision + "."],
      [["Start empty", () => {}], ["Go on with them in this revision", () => goOn(found.id)]]);
  } else goOn(found ? found.id : begun ? last : random(8));
  if (damaged.length) notice(damaged.length + " stored entries cannot be read. They are left where they are and go out with the export.");
  if (foreign()) notice("This device also keeps a record of this part that another version of the booklet made. It is left as it is; open that booklet to read it.");
  turn(true);
  awake();
}
begin();
