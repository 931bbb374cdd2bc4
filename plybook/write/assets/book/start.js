// Start.
function begin() {
  kept = store(prefix + "?", "1");
  if (kept === "") store(prefix + "?", null);
  const own = parsed(stored(key));
  if (own) { record = own.record; }
  else if (kept === "") {
    let last = null;
    for (let k = 0; k < window.localStorage.length; k++) {
      const name = window.localStorage.key(k);
      const old = name.startsWith(prefix) ? parsed(stored(name)) : null;
      if (old && old.part === book.part && (!last || old.saved > last.saved)) last = old;
    }
    if (last && count(last.record)) {
      const fit = fitting(last.record);
      const n = Object.keys(fit.record.fields).length;
      const rest = fit.lost ? " " + fit.lost + " belong to steps that have changed; those are open again." : "";
      if (last.revision === book.revision) {
        record = fit.record;
        notice("The plan has been made anew since your last entry: " + n + " entries carried over." + rest);
      } else {
        notice(["REVISION MISMATCH: your last entries are of revision " + last.revision + ", this book is revision " + book.revision + ".",
          n + " entries are on steps that have not changed." + rest],
        [["Start empty", () => {}], ["Carry the unchanged over", () => adopt(fit.record)]]);
      }
    }
  }
  fill();
  sayState();
  progress();
  turn(true);
  drawTimers();
  awake();
}
begin();
