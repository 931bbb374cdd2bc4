// One card at a time.
const cards = all(".card");
function go(id) { if (window.location.hash !== "#" + id) window.location.hash = id; else turn(); }
function turn(quiet) {
  const id = decodeURIComponent(window.location.hash.slice(1));
  const here = cards.find((c) => c.id === id) || cards[0];
  draw(here);
  cards.forEach((c) => c.classList.toggle("here", c === here));
  all("[aria-current]").forEach((a) => a.removeAttribute("aria-current"));
  const link = all(".contents a").find((a) => a.getAttribute("href") === "#" + here.id);
  if (link) link.setAttribute("aria-current", "page");
  all("textarea", here).forEach(grow);
  $("contents").open = false;
  if (quiet) return;
  window.scrollTo(0, 0);
  here.querySelector("h2").focus({ preventScroll: true });
}
window.addEventListener("hashchange", () => turn());
document.addEventListener("keydown", (e) => {
  if (e.altKey || e.ctrlKey || e.metaKey || e.shiftKey || /^(INPUT|TEXTAREA)$/.test(e.target.tagName)) return;
  const step = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
  if (!step) return;
  const next = cards[cards.findIndex((c) => c.classList.contains("here")) + step];
  if (next) go(next.id);
});
onChange(() => progress());
function progress() {
  for (const card of cards) {
    const fields = all("[data-field][data-counts]", card);
    const mark = all(".contents a").find((a) => a.getAttribute("href") === "#" + card.id);
    if (!fields.length || !mark) continue;
    const done = fields.filter((f) => value(f.dataset.field) !== undefined).length;
    mark.querySelector(".count").textContent = done === fields.length ? "✓ done" : done + " of " + fields.length;
  }
}
window.addEventListener("beforeprint", () => all("textarea").forEach(grow));
