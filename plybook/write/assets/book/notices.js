// What the page has to say: notices that wait for an answer, and sheets over the page.
function notice(words, choices) {
  const box = make("div", undefined, "notice");
  box.setAttribute("role", "alert");
  for (const line of [].concat(words)) box.append(make("p", line));
  const row = make("div", undefined, "choices");
  for (const [label, action] of choices && choices.length ? choices : [["OK", () => {}]])
    row.append(button(label, () => { box.remove(); action(); }));
  box.append(row);
  $("notices").append(box);
  row.firstChild.focus();
}
// A sheet over the page with a heading and whatever `fill(body, close)` puts into it.
function sheet(title, fill) {
  const box = make("dialog", undefined, "sheet");
  const close = () => { box.close(); box.remove(); };
  const body = make("div");
  const heading = make("h2", title);
  heading.id = "sheet-title";
  heading.tabIndex = -1;
  box.setAttribute("aria-labelledby", "sheet-title");
  box.append(heading, body, button("Close", close, "close"));
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  fill(body, close);
  box.showModal();
  heading.focus();  // a long sheet is read from its top
  box.scrollTop = 0;
}
