"use strict";
// Asks for the state once a second and shows it; the file in view is loaded anew after each build.
(() => {
  const FILES = [["booklet.html", "Booklet"], ["cutplan.pdf", "Cut plan"],
                 ["templates.pdf", "Templates"], ["labels.pdf", "Labels"]];
  const by = (id) => document.getElementById(id);
  let shown = { good: -1, round: -1, busy: null }, part = "", shared = "", file = FILES[0][0];

  const buttons = (nav, names, chosen, choose) => {
    nav.replaceChildren(...names.map(([value, word]) => {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = word;
      button.setAttribute("aria-pressed", String(value === chosen));
      button.addEventListener("click", () => choose(value));
      return button;
    }));
  };

  const view = (anew) => {
    const home = (file === "cutplan.pdf" && shared) || part;  // parts cut together share it
    const frame = by("view"), address = `/out/${encodeURIComponent(home)}/${file}`;
    frame.hidden = !part;
    by("none").hidden = Boolean(part);
    if (!part) return;
    if (frame.getAttribute("src") !== address) frame.setAttribute("src", address);
    else if (anew) {
      try { frame.contentWindow.location.reload(); }  // keeps the card and the place on it
      catch { frame.setAttribute("src", address); }
    }
  };

  const draw = (state) => {
    const light = by("light"), told = by("told");
    light.textContent = state.failed && !state.busy
      ? `${state.summary}: ${state.good ? "the last good output is shown" : "nothing built yet"}`
      : state.summary;
    light.className = state.busy ? "busy" : state.failed ? "failed" : "";
    document.title = `${state.failed ? "✗ " : state.busy ? "… " : "✓ "}${state.parts.join(", ") || "plybook"}`;
    if (!state.busy) {
      told.hidden = !state.text;
      told.className = state.failed ? "failed" : "";
      if (state.round !== shown.round || shown.busy) told.open = state.failed;
      by("count").textContent = state.summary;
      by("text").textContent = state.text;
    }
    shared = state.shared;
    if (!state.parts.includes(part)) part = state.parts[0] || "";
    buttons(by("parts"), state.parts.map((p) => [p, p]), part, (p) => { part = p; draw(state); });
    buttons(by("files"), part ? FILES : [], file, (f) => { file = f; draw(state); });
    view(state.good !== shown.good && shown.good > 0);
    shown = state;
  };

  const ask = async () => {
    try {
      const state = await (await fetch("/state", { cache: "no-store" })).json();
      if (JSON.stringify(state) !== JSON.stringify(shown)) draw(state);
    } catch {
      by("light").textContent = "the watch has ended";
      by("light").className = "failed";
    }
    setTimeout(ask, 1000);
  };
  ask();
})();
