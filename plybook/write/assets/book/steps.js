// One card at a time, what is left on each, and the way on.
const cards = all(".card");
const place = new Map(cards.map((c, k) => [c.id, k]));
const links = new Map(all(".contents ol a").map((a) => [a.getAttribute("href").slice(1), a]));
const counted = new Map(cards.map((c) => [c, all("[data-field][data-counts]", c).map((e) => e.dataset.field)]));
const cardOf = new Map(cards.flatMap((c) => all("[data-field]", c).map((e) => [e.dataset.field, c])));
let here = null;
let told = null;  // the card whose open entries were told when it was left

function go(id) { if (window.location.hash !== "#" + id) window.location.hash = id; else turn(); }
function named() {
  try { return decodeURIComponent(window.location.hash.slice(1)); } catch (e) { return ""; }
}
function turn(quiet) {
  const wanted = cards[place.get(named())] || (quiet && !window.location.hash && lastOpen()) || here || cards[0];
  if (quiet && !window.location.hash && wanted !== cards[0]) window.location.replace("#" + wanted.id);
  if (wanted !== here) {
    draw(wanted);
    if (here) {
      here.classList.remove("here");
      const was = links.get(here.id);
      if (was) was.removeAttribute("aria-current");
    }
    here = wanted;
    here.classList.add("here");
    const link = links.get(here.id);
    if (link) link.setAttribute("aria-current", "page");
    all("textarea", here).forEach(grow);
    drawSign();
    offered(here);
    drawWork();
    forget();
  }
  $("contents").open = false;
  openList(false);
  if (quiet) return;
  window.scrollTo(0, 0);
  here.querySelector("h2").focus({ preventScroll: true });
}
window.addEventListener("hashchange", () => turn());
$("contents").addEventListener("toggle", () => {
  const link = here && links.get(here.id);
  if (!$("contents").open || !link) return;
  const goOn = lastOpen();
  $("go-on").hidden = !goOn || goOn === here;
  if (goOn) { $("go-on").href = "#" + goOn.id; say($("go-on"), "Continue at: " + links.get(goOn.id).firstChild.textContent); }
  all(".chips a").forEach(drawChip);
  link.scrollIntoView({ block: "center" });
});

// ---------------------------------------------------------------- Next tells what it passes
const isOut = (id) => { const f = fieldsById.get(id); const v = f && f.closest(".blank") && f.closest(".blank").querySelector(".verdict.out"); return Boolean(v); };
function openOn(card) {
  const fields = counted.get(card);
  return { open: fields.filter((id) => value(id) === undefined), out: fields.filter(isOut), begun: fields.some((id) => value(id) !== undefined) };
}
function openWords({ open, out }) {
  const parts = [];
  if (out.length) parts.push("OUT: " + out.map(wordsOfField).join("; "));
  if (open.length) parts.push("Still open: " + open.slice(0, 4).map(wordsOfField).join("; ") + (open.length > 4 ? " and " + (open.length - 4) + " more" : ""));
  return parts.join(". ") + ".";
}
function forget() {
  if (!told) return;
  const box = told.querySelector(".passing");
  if (box) box.remove();
  told = null;
}
// Whether the card in hand may be left forward; tells once what is open on it.
function mayPass() {
  const left = openOn(here);
  if (told === here || !(left.out.length || (left.begun && left.open.length))) return true;
  forget();
  told = here;
  const box = make("p", openWords(left) + " Next once more goes on all the same.", "passing");
  box.setAttribute("role", "alert");
  here.querySelector(".foot").before(box);
  box.scrollIntoView({ block: "center" });
  return false;
}
document.addEventListener("click", (e) => {
  if (e.target.closest && e.target.closest(".turn .next") && !mayPass()) e.preventDefault();
});
document.addEventListener("keydown", (e) => {
  if (e.altKey || e.ctrlKey || e.metaKey || e.shiftKey || /^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName) || document.querySelector("dialog[open]")) return;
  const step = { ArrowRight: 1, ArrowLeft: -1 }[e.key];
  const next = step && cards[place.get(here.id) + step];
  if (next && (step < 0 || mayPass())) go(next.id);
});

// ---------------------------------------------------------------- sign and go on in one tap
// Offered where initials are known, nothing else is open and no value is out: the tap enters the
// initials, with its time, and turns the page. Next alone signs nothing.
const signOf = (card) => card.dataset.step + ".initials";
function maySign(card) {
  const left = openOn(card), own = signOf(card);
  return Boolean(who()) && value(own) === undefined && !left.out.length && left.open.every((id) => id === own);
}
function drawSign() {
  const b = here && here.querySelector(".turn .finish");
  if (!b) return;
  hide(b, !maySign(here));
  b.parentElement.classList.toggle("ready", !b.hidden);
  say(b, "Sign " + who() + ", next");
}
all(".turn .finish").forEach((b) => b.addEventListener("click", () => {
  const next = cards[place.get(here.id) + 1];
  put(signOf(here), who());
  if (next) go(next.id);
}));
onChange(drawSign);

// ---------------------------------------------------------------- what is left
const hours = (minutes) => (minutes < 60 ? Math.round(minutes) + " min" : Math.floor(minutes / 60) + " h " + Math.round(minutes % 60) + " min");
onChange((changed) => progress(changed));
function progress(changed) {
  const touched = changed ? new Set(changed.map((id) => cardOf.get(id)).filter(Boolean)) : cards;
  for (const card of touched) {
    const fields = counted.get(card), mark = links.get(card.id);
    if (!fields.length || !mark) continue;
    const done = fields.filter((id) => value(id) !== undefined).length;
    say(mark.querySelector(".count"), done === fields.length ? "✓ done" : done + " of " + fields.length);
    const next = card.querySelector(".turn .left");
    if (next) say(next, done === fields.length ? "" : fields.length - done + " still open here");
    if (card === told) forget();
  }
}
const isDone = (card) => counted.get(card).every((id) => value(id) !== undefined);
// The step to go on with: the last one with an entry, or the first open one after it.
function lastOpen() {
  const steps = cards.filter((c) => counted.get(c).length);
  let last = -1;
  steps.forEach((c, k) => { if (openOn(c).begun) last = k; });
  return last < 0 ? null : steps.slice(last).find((c) => !isDone(c)) || null;
}
function drawChip(chip) {
  const steps = cards.filter((c) => c.dataset.stage === chip.dataset.stage && c.classList.contains("step"));
  const open = steps.filter((c) => !isDone(c));
  const minutes = steps.reduce((sum, c) => sum + Number(c.dataset.minutes), 0);
  const times = steps.flatMap((c) => counted.get(c)).map((id) => entryOf(id)).filter(Boolean).map((e) => Date.parse(e.at));
  const gone = times.length ? (Math.max(...times) - Math.min(...times)) / 60000 : 0;
  say(chip.querySelector(".count"), (open.length ? open.length + " of " + steps.length + " steps left" : "✓ done") + ", planned " + hours(minutes) + (gone >= 1 ? ", gone " + hours(gone) : ""));
  if (here && here.dataset.stage === chip.dataset.stage) chip.setAttribute("aria-current", "step"); else chip.removeAttribute("aria-current");
}
window.addEventListener("beforeprint", () => all("textarea").forEach(grow));

// ---------------------------------------------------------------- light and dark
const looks = ["", "dark", "light"];
const lookWords = { "": "as this device", dark: "dark", light: "light" };
function setLook(look) {
  if (look) document.documentElement.dataset.theme = look; else delete document.documentElement.dataset.theme;
  say($("look"), "Light or dark: " + lookWords[look]);
}
setLook(looks.includes(stored(SPACE + "look")) ? stored(SPACE + "look") : "");
$("look").addEventListener("click", () => {
  const next = looks[(looks.indexOf(document.documentElement.dataset.theme || "") + 1) % looks.length];
  store(SPACE + "look", next || null);
  setLook(next);
});
