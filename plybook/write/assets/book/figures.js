// Drawings: taken out of noscript when a card is turned to, and shown over the whole screen.
//
// A drawing is a button: it opens the viewer. There two fingers, the wheel and + and - make it
// larger, one finger and the arrow keys move it, 0 shows all of it, Esc closes.
function draw(card) {
  for (const held of all(".view > noscript", card)) {
    const b = make("button", undefined, "open");
    b.type = "button";
    b.innerHTML = held.textContent;  // this file's own markup: nothing typed ever stands there
    const svg = b.firstElementChild;
    b.prepend(make("span", "Enlarge: ", "unseen"));
    b.addEventListener("click", () => enlarge(svg));
    held.replaceWith(b);
  }
}
const drawAll = () => all(".card").forEach(draw);
window.addEventListener("beforeprint", drawAll);

const viewer = (() => {
  const box = make("dialog", undefined, "viewer");
  const stage = make("div", undefined, "stage");
  const tools = make("div", undefined, "tools");
  const name = make("p", "", "name");
  let svg = null, whole = null, at = null;  // view boxes {x, y, w, h}
  const fingers = new Map();

  function put() {
    // never smaller than the whole, never so far that nothing is left in sight
    at.w = Math.min(Math.max(at.w, whole.w / 24), whole.w);
    at.h = at.w * whole.h / whole.w;
    at.x = Math.min(Math.max(at.x, whole.x), whole.x + whole.w - at.w);
    at.y = Math.min(Math.max(at.y, whole.y), whole.y + whole.h - at.h);
    svg.setAttribute("viewBox", [at.x, at.y, at.w, at.h].map((v) => Math.round(v * 1000) / 1000).join(" "));
  }
  const pxPerUnit = () => svg.getBoundingClientRect().width / at.w;
  // larger by a factor, about a point of the screen
  function zoom(by, sx, sy) {
    const r = svg.getBoundingClientRect();
    const fx = sx === undefined ? 0.5 : (sx - r.left) / r.width;
    const fy = sy === undefined ? 0.5 : (sy - r.top) / r.height;
    const w = Math.min(Math.max(at.w / by, whole.w / 24), whole.w);
    at.x += fx * (at.w - w);
    at.y += fy * (at.h - w * whole.h / whole.w);
    at.w = w;
    put();
  }
  function move(dx, dy) { at.x -= dx / pxPerUnit(); at.y -= dy / pxPerUnit(); put(); }
  function fit() {
    const wide = stage.clientWidth, high = stage.clientHeight;
    // the drawing's window grows to the screen's shape, so that all of the screen is used
    const vb = svg.dataset.whole.split(" ").map(Number);
    const shape = wide / Math.max(1, high);
    whole = { x: vb[0], y: vb[1], w: vb[2], h: vb[3] };
    if (whole.w / whole.h < shape) { const w = whole.h * shape; whole.x -= (w - whole.w) / 2; whole.w = w; }
    else { const h = whole.w / shape; whole.y -= (h - whole.h) / 2; whole.h = h; }
    at = { ...whole };
    put();
  }
  for (const [words, does] of [["Larger", () => zoom(1.6)], ["Smaller", () => zoom(1 / 1.6)], ["All of it", () => fit()], ["Close", () => box.close()]]) {
    const b = make("button", words);
    b.type = "button";
    b.addEventListener("click", does);
    tools.append(b);
  }
  box.append(name, stage, tools);
  document.body.append(box);
  name.id = "viewer-name";
  box.setAttribute("aria-labelledby", name.id);
  box.addEventListener("keydown", (e) => {
    const step = 80;
    const does = {
      "+": () => zoom(1.6), "=": () => zoom(1.6), "-": () => zoom(1 / 1.6), 0: fit,
      ArrowLeft: () => move(step, 0), ArrowRight: () => move(-step, 0), ArrowUp: () => move(0, step), ArrowDown: () => move(0, -step),
    }[e.key];
    if (!does || e.ctrlKey || e.metaKey || e.altKey) return;
    does();
    e.preventDefault();
    e.stopPropagation();
  });
  stage.addEventListener("wheel", (e) => { zoom(e.deltaY < 0 ? 1.15 : 1 / 1.15, e.clientX, e.clientY); e.preventDefault(); }, { passive: false });
  stage.addEventListener("pointerdown", (e) => { fingers.set(e.pointerId, e); stage.setPointerCapture(e.pointerId); });
  for (const kind of ["pointerup", "pointercancel"]) stage.addEventListener(kind, (e) => fingers.delete(e.pointerId));
  stage.addEventListener("pointermove", (e) => {
    const was = fingers.get(e.pointerId);
    if (!was) return;
    const other = Array.from(fingers.values()).find((f) => f.pointerId !== e.pointerId);
    fingers.set(e.pointerId, e);
    if (!other) return move(e.clientX - was.clientX, e.clientY - was.clientY);
    const apart = (a) => Math.hypot(a.clientX - other.clientX, a.clientY - other.clientY);
    move((e.clientX - was.clientX) / 2, (e.clientY - was.clientY) / 2);
    if (apart(was) > 10) zoom(apart(e) / apart(was), (e.clientX + other.clientX) / 2, (e.clientY + other.clientY) / 2);
  });
  box.addEventListener("close", () => { document.documentElement.classList.remove("views"); stage.textContent = ""; fingers.clear(); });
  window.addEventListener("resize", () => { if (box.open) fit(); });
  return (drawing) => {
    svg = drawing.cloneNode(true);
    svg.dataset.whole = svg.getAttribute("viewBox");
    name.textContent = drawing.getAttribute("aria-label");
    stage.append(svg);
    box.showModal();
    document.documentElement.classList.add("views");
    fit();
  };
})();
const enlarge = (svg) => viewer(svg);
