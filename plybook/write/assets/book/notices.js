// Notices.
function notice(words, choices) {
  const box = make("div", undefined, "notice");
  box.setAttribute("role", "alert");
  for (const line of [].concat(words)) box.append(make("p", line));
  const row = make("div", undefined, "choices");
  for (const [label, action] of choices && choices.length ? choices : [["OK", () => {}]]) {
    const b = make("button", label);
    b.type = "button";
    b.addEventListener("click", () => { box.remove(); action(); });
    row.append(b);
  }
  box.append(row);
  $("notices").append(box);
  row.firstChild.focus();
}
function adopt(r) {
  record = r;
  fill();
  save();
  drawTimers();
}
