// Timers: end times, so that they survive a reload.
let audio = null;
function sound() {
  try {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) return;
    audio = audio || new Context();
    if (audio.state === "suspended") audio.resume();
  } catch (e) { audio = null; }
}
function beep() {
  if (!audio || audio.state !== "running") return;
  for (let k = 0; k < 3; k++) {
    const tone = audio.createOscillator();
    const gain = audio.createGain();
    tone.frequency.value = 880;
    gain.gain.value = 0.25;
    tone.connect(gain).connect(audio.destination);
    tone.start(audio.currentTime + k * 0.3);
    tone.stop(audio.currentTime + k * 0.3 + 0.18);
  }
}
const left = (ms) => {
  const s = Math.max(0, Math.ceil(ms / 1000));
  const two = (n) => String(n).padStart(2, "0");
  return (s >= 3600 ? Math.floor(s / 3600) + ":" : "") + two(Math.floor(s / 60) % 60) + ":" + two(s % 60);
};
const clock = (ms) => short(stamp(ms)).slice(0, 5);
// A run of a timer is kept as {kind, start, end, stopped, seen} in ms: stopped: cup empty or wait cut
// short; seen: its alarm was answered, which says nothing of the cup.
const runOf = (id) => { const t = value("timer." + id); return t && typeof t === "object" ? t : undefined; };
const putRun = (id, more) => put("timer." + id, { ...runOf(id), ...more });
onChange((changed) => { if (!changed || changed.some((id) => id.startsWith("timer."))) drawTimers(); });
function drawTimers() {
  const at = now();
  const bar = $("running");
  const rows = new Map(all(".run", bar).map((e) => [e.dataset.run, e]));
  let up = false, active = false;
  for (const box of all("[data-timer]")) {
    const id = box.dataset.timer, t = runOf(id);
    const start = box.querySelector(".start"), stop = box.querySelector(".stop"), says = box.querySelector(".says");
    const running = Boolean(t) && !t.stopped && !(t.seen && t.kind === "wait");
    stop.hidden = !running;
    start.textContent = t ? "Start again" : "Start";
    let row = rows.get(id);
    if (!running || t.seen) {
      const ran = t && (t.stopped >= t.end || (t.seen && t.kind === "wait"));
      says.textContent = !t ? "" : "started " + clock(t.start) + ", " +
        (ran ? "ran to its end" : t.stopped ? "stopped at " + clock(t.stopped) : "reached at " + clock(t.end) + ": press Stop when nothing is left");
      if (row) row.remove();
      continue;
    }
    active = true;
    const over = at >= t.end;
    const word = box.dataset.kind === "limit" ? "LIMIT REACHED" : "WAIT IS OVER";
    says.textContent = "started " + clock(t.start) + ", " + (over ? "ended " : "ends ") + clock(t.end);
    if (!row) {
      row = make("div", undefined, "run");
      row.dataset.run = id;
      row.append(make("b"), make("span"));
      const ok = make("button", "OK");
      ok.type = "button";
      ok.addEventListener("click", () => putRun(id, { seen: now() }));
      row.append(ok);
      bar.append(row);
    }
    // a limit warns once before it is reached: in its last fifth, at most five minutes
    const soon = !over && box.dataset.kind === "limit" && t.end - at <= Math.min(300000, (t.end - t.start) / 5);
    if (soon && !row.classList.contains("soon")) beep();
    row.classList.toggle("soon", soon);
    row.querySelector("b").textContent = over ? word : (soon ? "ONLY " : "") + left(t.end - at);
    row.querySelector("span").textContent = box.dataset.label + (over ? ", since " + clock(t.end) : ", until " + clock(t.end));
    row.querySelector("button").hidden = !over;
    row.classList.toggle("up", over);
    if (over && !row.hasAttribute("role")) row.setAttribute("role", "alert");
    up = up || over;
  }
  document.title = (up ? "TIME IS UP: " : "") + book.title;
  $("quiet").hidden = !(active && (!audio || audio.state !== "running"));
  if (up && Math.floor(at / 1000) % 2 === 0) beep();
}
all("[data-timer]").forEach((box) => {
  const id = box.dataset.timer;
  box.querySelector(".start").addEventListener("click", () => {
    sound();
    const start = now();
    putRun(id, { start, end: start + 1000 * Number(box.dataset.seconds), stopped: 0, seen: 0, kind: box.dataset.kind });
  });
  box.querySelector(".stop").addEventListener("click", () => putRun(id, { stopped: now() }));
});
window.setInterval(drawTimers, 1000);

// the screen stays awake
let lock = null;
async function awake() {
  if (!("wakeLock" in navigator)) { $("awake").textContent = "The screen may go dark: this browser cannot hold it."; return; }
  if (document.visibilityState !== "visible" || (lock && !lock.released)) return;
  try {
    lock = await navigator.wakeLock.request("screen");
    $("awake").textContent = "The screen stays on.";
    lock.addEventListener("release", () => { $("awake").textContent = "The screen may go dark."; });
  } catch (e) { $("awake").textContent = "The screen may go dark."; }
}
document.addEventListener("visibilitychange", awake);
for (const kind of ["pointerdown", "keydown"])
  document.addEventListener(kind, () => { awake(); if (ids("timer.").some((id) => !value(id).stopped)) sound(); });
