// Timers: end times, so that they survive a reload. One line says what comes next; it opens into a
// list where every cup and every wait can be ended from any page.
//
// A run of a timer is kept as {kind, start, end, stopped, seen, tray} in ms: stopped: cup empty or
// wait cut short; seen: its alarm was answered, which says nothing of the cup; tray: poured out.
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
const say = (e, words) => { if (e.textContent !== words) e.textContent = words; };
const hide = (e, so) => { if (e.hidden !== so) e.hidden = so; };

const runOf = (id) => { const t = value("timer." + id); return t && typeof t === "object" ? t : undefined; };
const putRun = (id, more) => put("timer." + id, { ...runOf(id), ...more });
const timers = new Map(all("[data-timer]").map((box) => {
  const cup = box.closest(".cup"), d = box.dataset;
  return [d.timer, {
    id: d.timer, box, kind: d.kind, label: d.label, seconds: Number(d.seconds), card: box.closest(".card"),
    cup: cup && { name: cup.dataset.cup, tray: Number(cup.dataset.tray), mixed: cup.querySelector('[data-kind="time"]').dataset.field },
    withFirstCup: "withFirstCup" in d, deeds: cup ? cup.querySelector(".deeds") : null,
    start: box.querySelector(".start"), stop: box.querySelector(".stop"), says: box.querySelector(".says"),
  }];
}));
const live = (t) => Boolean(t) && !t.stopped && !(t.seen && t.kind === "wait");
const newRun = (timer, at) => ({ start: at, end: at + 1000 * timer.seconds, stopped: 0, seen: 0, kind: timer.kind });

// ---------------------------------------------------------------- what is done to them
// One tap: the time it was mixed, its limit, and with a stage's first cup the stage's vacuum.
function mix(timer) {
  sound();
  const at = now();
  const pairs = [[timer.cup.mixed, short(stamp(at))], ["timer." + timer.id, newRun(timer, at)]];
  for (const other of timers.values())
    if (other.withFirstCup && other.card.dataset.stage === timer.card.dataset.stage && !runOf(other.id))
      pairs.push(["timer." + other.id, newRun(other, at)]);
  putAll(pairs);
}
const startTimer = (timer) => { sound(); putRun(timer.id, newRun(timer, now())); };
const endTimer = (timer) => putRun(timer.id, { stopped: now() });
const pourOut = (timer) => putRun(timer.id, { tray: now() });
const answer = (timer, limit) => putRun(timer.id, limit.tray ? { seenTray: now() } : { seen: now() });
// The first of two readings, or of two times, that are a wait apart starts that wait.
function beginsWait(input, card) {
  const apart = all("[data-difference]", card);
  if (apart.length) return apart.some((e) => e.dataset.difference.split(" ")[0] === input.dataset.field);
  const times = all(".checks [data-kind=time]", card);
  return times.length === 2 && times[0] === input;
}
function begunBy(input) {
  const card = input.closest(".card");
  const own = beginsWait(input, card) ? Array.from(timers.values()).filter((t) => t.card === card && t.kind === "wait") : [];
  return own.length === 1 && !runOf(own[0].id) ? [["timer." + own[0].id, newRun(own[0], now())]] : [];
}
// What an entry on a card shows to be over: a wait that has run out, so that work goes on; and the
// time until vacuum, once a vacuum within its limits is read.
function endedBy(input) {
  const card = input.closest(".card"), pairs = [];
  const vacuum = input.dataset.low !== undefined && number(input.value) >= Number(input.dataset.low);
  for (const timer of timers.values()) {
    const t = timer.card === card && !timer.cup ? runOf(timer.id) : undefined;
    if (!live(t)) continue;
    if (timer.kind === "wait" && now() >= t.end) pairs.push(["timer." + timer.id, { ...t, seen: now() }]);
    if (timer.withFirstCup && vacuum) pairs.push(["timer." + timer.id, { ...t, stopped: now() }]);
  }
  return pairs;
}
for (const timer of timers.values()) {
  if (timer.start) timer.start.addEventListener("click", () => startTimer(timer));
  if (timer.stop) timer.stop.addEventListener("click", () => endTimer(timer));
}
// The taps that a timer offers now: [words, action].
function deedsOf(timer) {
  const t = runOf(timer.id);
  if (!timer.cup) return live(t) ? [[timer.withFirstCup ? "Done" : "Stop", endTimer]] : [];
  if (!t) return [["Mixed", mix]];
  if (t.stopped) return [];
  return t.tray ? [["All on", endTimer]] : [["In the tray", pourOut], ["All on", endTimer]];
}
function offerDeeds(place, timer) {
  const wanted = deedsOf(timer);
  if (place.dataset.offers === wanted.map(([w]) => w).join()) return;
  const focused = place.contains(document.activeElement);
  place.dataset.offers = wanted.map(([w]) => w).join();
  place.replaceChildren(...wanted.map(([words, action]) => {
    const b = button(words, () => action(timer));
    b.setAttribute("aria-label", words + ": " + (timer.cup ? timer.cup.name : timer.label));
    return b;
  }));
  if (focused && place.firstChild) place.firstChild.focus();
}
// The limits of a run that still count, the nearest first.
function limitsOf(timer, t) {
  const own = { timer, label: timer.label, end: t.end, seen: t.seen, of: t.end - t.start };
  const tray = timer.cup && timer.cup.tray && !t.tray
    ? [{ timer, label: timer.cup.name + ": in the tray", end: t.start + 1000 * timer.cup.tray, seen: t.seenTray, of: 1000 * timer.cup.tray, tray: true }] : [];
  return [...tray, own].sort((a, b) => a.end - b.end);
}

// ---------------------------------------------------------------- the line and its list
const line = $("timer-line"), lineTime = line.querySelector("strong"), lineWords = line.querySelector("span");
const lineDeeds = $("timer-deeds"), list = $("timer-list");
const warned = new Set();  // limits that have sounded their early warning
line.addEventListener("click", () => { openList(list.hidden); });
function openList(open) {
  list.hidden = !open;
  line.setAttribute("aria-expanded", String(open));
  drawTimers();
}
function rowOf(timer) {
  const row = make("div", undefined, "run");
  row.dataset.run = timer.id;
  const link = make("a", "");
  link.href = "#" + timer.card.id;
  row.append(make("b"), link, make("div", undefined, "deeds"));
  return row;
}
// Cups that may be mixed next: of the stage in hand, the first three that are not.
function cupsToCome() {
  const stage = here && here.dataset.stage;
  return stage ? Array.from(timers.values()).filter((t) => t.cup && t.card.dataset.stage === stage && !runOf(t.id) && value(t.cup.mixed) === undefined).slice(0, 3) : [];
}
const wetStage = () => Array.from(timers.values()).some((t) => t.cup && t.card.dataset.stage === here.dataset.stage && runOf(t.id));
function drawList(running, coming, at) {
  const rows = new Map(all(".run", list).map((e) => [e.dataset.run, e]));
  const wanted = [...running.map(([timer]) => timer), ...coming];
  for (const [id, row] of rows) if (!wanted.some((t) => t.id === id)) row.remove();
  wanted.forEach((timer, k) => {
    const row = rows.get(timer.id) || rowOf(timer);
    if (list.children[k] !== row) list.insertBefore(row, list.children[k] || null);
    const t = runOf(timer.id);
    const next = t && limitsOf(timer, t)[0];
    say(row.querySelector("b"), !t ? "to come" : at >= next.end ? "OVER" : left(next.end - at));
    say(row.querySelector("a"), !t ? timer.cup.name + ", not mixed yet" : next.label + (at >= next.end ? ", since " : ", until ") + clock(next.end));
    offerDeeds(row.querySelector(".deeds"), timer);
  });
}
onChange((changed) => { if (!changed || changed.some((id) => id.startsWith("timer."))) drawTimers(); });
function drawTimers() {
  const at = now();
  const running = [], limits = [];
  for (const timer of timers.values()) {
    const t = runOf(timer.id);
    drawBox(timer, t, at);
    if (!live(t)) continue;
    const own = limitsOf(timer, t);
    running.push([timer, own[0].end]);
    limits.push(...own);
  }
  running.sort((a, b) => a[1] - b[1]);
  limits.sort((a, b) => a.end - b.end);
  const over = limits.filter((l) => at >= l.end && !l.seen);
  const next = over[0] || limits.find((l) => at < l.end) || limits[0];
  const coming = cupsToCome();
  // with nothing running the line stands only while cups are being mixed, for the next one
  const none = !running.length && !(coming.length && wetStage());
  hide($("running"), none);
  document.documentElement.classList.toggle("runs", !none);
  // a limit warns once before it is reached: in its last fifth, at most five minutes
  const soon = Boolean(next) && !over.length && next.timer.kind === "limit" && at < next.end && next.end - at <= Math.min(300000, next.of / 5);
  for (const l of limits) {
    const mark = l.label + l.end;
    if (l.timer.kind !== "limit" || at >= l.end || l.end - at > Math.min(300000, l.of / 5) || warned.has(mark)) continue;
    warned.add(mark);
    beep();
  }
  const up = over.length > 0;
  line.parentElement.classList.toggle("soon", soon);
  line.parentElement.classList.toggle("up", up);
  if (up) line.parentElement.setAttribute("role", "alert"); else line.parentElement.removeAttribute("role");
  if (next) {
    const cups = running.filter(([t]) => t.cup).length, waits = running.length - cups;
    const count = [cups ? cups + (cups > 1 ? " cups" : " cup") : "", waits ? waits + (waits > 1 ? " times" : " time") : ""].filter(Boolean).join(", ");
    const word = next.timer.kind === "limit" ? "LIMIT REACHED" : "WAIT IS OVER";
    say(lineTime, up ? word : at >= next.end ? "OVER" : (soon ? "ONLY " : "") + left(next.end - at));
    say(lineWords, next.label + (at >= next.end ? ", since " : ", until ") + clock(next.end) + (running.length > 1 ? " (" + count + ")" : ""));
    if (up) answerable(next); else offerDeeds(lineDeeds, next.timer);
  } else if (coming.length) {
    say(lineTime, "No cup open");
    say(lineWords, "next " + coming[0].cup.name);
    offerDeeds(lineDeeds, coming[0]);
  }
  if (!list.hidden) drawList(running, coming, at);
  const title = (up ? "TIME IS UP: " : "") + (here ? links.get(here.id).firstChild.textContent + " · " : "") + book.title;
  if (document.title !== title) document.title = title;
  hide($("quiet"), !(running.length && (!audio || audio.state !== "running")));
  if (up && Math.floor(at / 1000) % 2 === 0) beep();
}
function answerable(limit) {
  const mark = "OK" + limit.timer.id + limit.end;
  if (lineDeeds.dataset.offers === mark) return;
  lineDeeds.dataset.offers = mark;
  lineDeeds.replaceChildren(button("OK", () => answer(limit.timer, limit)));
}
function drawBox(timer, t, at) {
  const on = live(t);
  if (timer.stop) hide(timer.stop, !on);
  if (timer.start) { hide(timer.start, on); say(timer.start, t ? "Start again" : "Start"); }
  if (timer.deeds) offerDeeds(timer.deeds, timer);
  if (timer.cup) hide(timer.box.querySelector(".words"), Boolean(t));
  if (!t) return say(timer.says, "");
  const tray = t.tray ? ", in the tray " + clock(t.tray) : timer.cup && timer.cup.tray && on ? ", in the tray by " + clock(t.start + 1000 * timer.cup.tray) : "";
  const by = timer.cup ? ", all on by " : ", by ";
  const end = on ? (at >= t.end ? ", ended " : timer.kind === "limit" ? by : ", ends ") + clock(t.end)
    : t.stopped && t.stopped < t.end ? (timer.cup ? ", all on " : ", stopped at ") + clock(t.stopped)
    : timer.cup ? ", all on " + clock(t.stopped) + ", over its limit" : ", ran to its end";
  say(timer.says, (timer.cup ? "mixed " : "started ") + clock(t.start) + tray + end);
}
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
