"use strict";
(() => {
  const book = JSON.parse(document.getElementById("book").textContent);
  const prefix = "plybook/" + JSON.stringify(book.part) + "/";
  const key = prefix + JSON.stringify([book.revision, book.plan]);
  const $ = (id) => document.getElementById(id);
  const all = (css, from) => Array.from((from || document).querySelectorAll(css));
  const make = (tag, words, cls) => {
    const e = document.createElement(tag);
    if (words !== undefined) e.textContent = words;
    if (cls) e.className = cls;
    return e;
  };
  document.documentElement.classList.add("js");

  // ------------------------------------------------------------ the record and where it is kept
  const empty = () => ({ fields: {}, timers: {}, deviations: [] });
  let record = empty();
  let kept = "";  // why it is not kept; "" = it is

  function store(name, text) {
    try {
      if (text === null) window.localStorage.removeItem(name);
      else window.localStorage.setItem(name, text);
      return "";
    } catch (e) {
      return e && e.name === "QuotaExceededError" ? "the browser's storage is full" : "the browser does not allow it";
    }
  }
  function stored(name) {
    try { return window.localStorage.getItem(name); } catch (e) { return null; }
  }
  function whole() {
    return {
      plybook_record: 1, part: book.part, name: book.name, revision: book.revision, hand: book.hand,
      plan: book.plan, saved: stamp(), fields: record.fields, timers: record.timers,
      deviations: record.deviations,
    };
  }
  function save() {
    kept = store(key, JSON.stringify(whole()));
    sayState();
    progress();
  }
  function sayState() {
    const s = $("state");
    s.classList.toggle("bad", kept !== "");
    (kept === "" ? $("foot") : $("head")).append(s);  // a warning stays in sight
    s.textContent = kept === ""
      ? "Ticks are kept in this browser on this device."
      : "TICKS ARE NOT BEING KEPT: " + kept + ". Export the record before you close this page.";
  }
  function stamp(ms) {
    const d = ms === undefined ? new Date() : new Date(ms);
    const two = (n) => String(Math.trunc(Math.abs(n))).padStart(2, "0");
    const off = -d.getTimezoneOffset();
    return d.getFullYear() + "-" + two(d.getMonth() + 1) + "-" + two(d.getDate()) + "T" + two(d.getHours()) +
      ":" + two(d.getMinutes()) + ":" + two(d.getSeconds()) + (off < 0 ? "-" : "+") + two(off / 60) + ":" + two(off % 60);
  }
  const short = (iso) => typeof iso === "string" && iso.length >= 16 ? iso.slice(11, 16) + " on " + iso.slice(0, 10) : "";
  const count = (r) => Object.keys(r.fields).length + r.deviations.length;

  // A record from storage or a file, made safe: known shapes only, everything else dropped.
  function cleaned(raw) {
    if (!raw || typeof raw !== "object" || raw.plybook_record !== 1) return null;
    const out = empty();
    const text = (v, most) => typeof v === "string" ? v.slice(0, most) : "";
    for (const [id, f] of Object.entries(raw.fields || {})) {
      if (!f || typeof f !== "object" || id.length > 300) continue;
      if (f.value === true || typeof f.value === "string")
        Object.defineProperty(out.fields, id, { value: { value: f.value === true ? true : text(f.value, 5000), at: text(f.at, 40) }, enumerable: true, writable: true, configurable: true });
    }
    for (const [id, t] of Object.entries(raw.timers || {})) {
      if (t && typeof t === "object" && Number.isFinite(t.start) && Number.isFinite(t.end) && id.length <= 300)
        Object.defineProperty(out.timers, id, { value: { start: t.start, end: t.end, stopped: Number.isFinite(t.stopped) ? t.stopped : 0 }, enumerable: true, writable: true, configurable: true });
    }
    for (const d of Array.isArray(raw.deviations) ? raw.deviations.slice(0, 500) : [])
      if (d && typeof d === "object")
        out.deviations.push({ at: text(d.at, 40), step: text(d.step, 300), what: text(d.what, 5000), why: text(d.why, 5000), by: text(d.by, 100) });
    return { record: out, part: text(raw.part, 300), revision: text(raw.revision, 300), plan: text(raw.plan, 100), saved: text(raw.saved, 40) };
  }
  function parsed(text) {
    try { return cleaned(JSON.parse(text)); } catch (e) { return null; }
  }
  // Only what this book still asks for: a changed step has a new id and is open again.
  function fitting(old) {
    const known = new Set(all("[data-field]").map((e) => e.dataset.field));
    const timers = new Set(all("[data-timer]").map((e) => e.dataset.timer));
    const out = empty();
    let lost = 0;
    for (const [id, f] of Object.entries(old.fields)) if (known.has(id)) out.fields[id] = f; else lost++;
    for (const [id, t] of Object.entries(old.timers)) if (timers.has(id)) out.timers[id] = t;
    out.deviations = old.deviations;
    return { record: out, lost };
  }

  // ------------------------------------------------------------ notices
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

  // ------------------------------------------------------------ fields
  const number = (text) => {
    const t = text.trim().replace(/^([-+]?\d*),(\d+)$/, "$1.$2").replace(/^[−–]/, "-");
    return /^[-+]?(\d+(\.\d*)?|\.\d+)$/.test(t) ? Number(t) : NaN;
  };
  function verdict(input) {
    const out = input.closest(".blank").querySelector(".verdict");
    if (!out) return;
    const d = input.dataset;
    out.className = "verdict";
    out.textContent = "";
    if (!input.value.trim()) return;
    const v = number(input.value);
    if (Number.isNaN(v)) {
      out.textContent = "NOT A NUMBER: write it as 12.3";
      out.classList.add("out");
      return;
    }
    const low = d.low === undefined ? -Infinity : Number(d.low);
    const high = d.high === undefined ? Infinity : Number(d.high);
    const by = (x) => String(Math.round(x * 1000) / 1000) + (d.unit ? " " + d.unit : "");
    if (d.low === undefined && d.high === undefined) {
      if (d.expected !== undefined) out.textContent = "Expected " + by(Number(d.expected)) + ", difference " + by(v - Number(d.expected));
      return;
    }
    const slack = 1e-9 * Math.max(1, Math.abs(v));
    if (v < low - slack) { out.textContent = "OUT: too low by " + by(low - v); out.classList.add("out"); }
    else if (v > high + slack) { out.textContent = "OUT: too high by " + by(v - high); out.classList.add("out"); }
    else { out.textContent = "IN: within limits"; out.classList.add("in"); }
  }
  function show(input) {
    const f = record.fields[input.dataset.field];
    if (input.type === "checkbox") {
      input.checked = Boolean(f && f.value === true);
      input.closest(".tick").querySelector(".when").textContent = f ? "ticked " + short(f.at) : "";
    } else {
      input.value = f && typeof f.value === "string" ? f.value : "";
      if (input.dataset.kind === "measure") verdict(input);
      if (input.tagName === "TEXTAREA") grow(input);
    }
  }
  function take(input) {
    const id = input.dataset.field;
    const value = input.type === "checkbox" ? input.checked : input.value;
    if (value === false || value === "") delete record.fields[id];
    else record.fields[id] = { value, at: stamp() };
    if (input.type === "checkbox") show(input);
    if (input.dataset.kind === "measure") verdict(input);
    if (input.tagName === "TEXTAREA") grow(input);
    save();
  }
  function grow(area) {
    area.style.height = "auto";
    if (area.scrollHeight) area.style.height = area.scrollHeight + 6 + "px";
  }
  function fill() {
    all("[data-field]").forEach(show);
    drawDeviations();
  }
  document.addEventListener("change", (e) => { if (e.target.matches("input[type=checkbox][data-field]")) take(e.target); });
  document.addEventListener("input", (e) => { if (e.target.matches("[data-field]:not([type=checkbox])")) take(e.target); });
  all(".now").forEach((b) => b.addEventListener("click", () => {
    const input = b.closest(".blank").querySelector("input");
    input.value = short(stamp());
    take(input);
  }));

  // ------------------------------------------------------------ deviations
  function drawDeviations() {
    const list = $("deviations");
    if (!list) return;
    list.textContent = "";
    record.deviations.forEach((d, k) => {
      const box = make("div", undefined, "deviation");
      box.append(make("p", (k + 1) + ". written " + short(d.at), "when"));
      for (const [name, words] of [["step", "Step or piece"], ["what", "What was done"], ["why", "Why, and who agreed"], ["by", "Initials"]]) {
        const label = make("label", words);
        const input = make("input");
        input.type = "text";
        input.value = d[name];
        input.dataset.deviation = name;
        input.addEventListener("input", () => { d[name] = input.value; save(); });
        label.append(input);
        box.append(label);
      }
      const drop = make("button", "Take out", "drop");
      drop.type = "button";
      drop.addEventListener("click", () => { record.deviations.splice(k, 1); drawDeviations(); save(); });
      box.append(drop);
      list.append(box);
    });
  }
  function deviate(step) {
    record.deviations.push({ at: stamp(), step, what: "", why: "", by: "" });
    drawDeviations();
    save();
    const box = $("deviations").lastElementChild;
    box.querySelectorAll("input")[step ? 1 : 0].focus();
    box.scrollIntoView({ block: "center" });
  }
  all("[data-deviate]").forEach((b) => b.addEventListener("click", () => {
    go($("deviations").closest(".card").id);
    deviate(b.dataset.deviate);
  }));

  // ------------------------------------------------------------ timers: end times, so that they survive a reload
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
  function drawTimers() {
    const now = Date.now();
    const bar = $("running");
    const rows = new Map(all(".run", bar).map((e) => [e.dataset.run, e]));
    let up = false, active = false;
    for (const box of all("[data-timer]")) {
      const id = box.dataset.timer, t = record.timers[id];
      const start = box.querySelector(".start"), stop = box.querySelector(".stop"), says = box.querySelector(".says");
      const running = Boolean(t) && !t.stopped;
      stop.hidden = !running;
      start.textContent = t ? "Start again" : "Start";
      let row = rows.get(id);
      if (!running) {
        says.textContent = t ? "started " + clock(t.start) + ", " + (t.stopped >= t.end ? "ran to its end" : "stopped at " + clock(t.stopped)) : "";
        if (row) row.remove();
        continue;
      }
      active = true;
      const over = now >= t.end;
      const word = box.dataset.kind === "limit" ? "LIMIT REACHED" : "WAIT IS OVER";
      says.textContent = "started " + clock(t.start) + ", " + (over ? "ended " : "ends ") + clock(t.end);
      if (!row) {
        row = make("div", undefined, "run");
        row.dataset.run = id;
        row.append(make("b"), make("span"));
        const ok = make("button", "OK");
        ok.type = "button";
        ok.addEventListener("click", () => { record.timers[id].stopped = Date.now(); save(); drawTimers(); });
        row.append(ok);
        bar.append(row);
      }
      // a limit warns once before it is reached: in its last fifth, at most five minutes
      const soon = !over && box.dataset.kind === "limit" && t.end - now <= Math.min(300000, (t.end - t.start) / 5);
      if (soon && !row.classList.contains("soon")) beep();
      row.classList.toggle("soon", soon);
      row.querySelector("b").textContent = over ? word : (soon ? "ONLY " : "") + left(t.end - now);
      row.querySelector("span").textContent = box.dataset.label + (over ? ", since " + clock(t.end) : ", until " + clock(t.end));
      row.querySelector("button").hidden = !over;
      row.classList.toggle("up", over);
      if (over && !row.hasAttribute("role")) row.setAttribute("role", "alert");
      up = up || over;
    }
    document.title = (up ? "TIME IS UP: " : "") + book.title;
    $("quiet").hidden = !(active && (!audio || audio.state !== "running"));
    if (up && Math.floor(now / 1000) % 2 === 0) beep();
  }
  all("[data-timer]").forEach((box) => {
    const id = box.dataset.timer;
    box.querySelector(".start").addEventListener("click", () => {
      sound();
      const now = Date.now();
      record.timers[id] = { start: now, end: now + 1000 * Number(box.dataset.seconds), stopped: 0 };
      save();
      drawTimers();
    });
    box.querySelector(".stop").addEventListener("click", () => { record.timers[id].stopped = Date.now(); save(); drawTimers(); });
  });
  window.setInterval(drawTimers, 1000);

  // ------------------------------------------------------------ the screen stays awake
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
    document.addEventListener(kind, () => { awake(); if (Object.values(record.timers).some((t) => !t.stopped)) sound(); });

  // ------------------------------------------------------------ one card at a time
  const cards = all(".card");
  function go(id) { if (window.location.hash !== "#" + id) window.location.hash = id; else turn(); }
  function turn(quiet) {
    const id = decodeURIComponent(window.location.hash.slice(1));
    const here = cards.find((c) => c.id === id) || cards[0];
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
  function progress() {
    for (const card of cards) {
      const fields = all("[data-field][data-counts]", card);
      const mark = all(".contents a").find((a) => a.getAttribute("href") === "#" + card.id);
      if (!fields.length || !mark) continue;
      const done = fields.filter((f) => record.fields[f.dataset.field]).length;
      mark.querySelector(".count").textContent = done === fields.length ? "✓ done" : done + " of " + fields.length;
    }
  }
  all(".larger").forEach((b) => b.addEventListener("click", () => {
    const big = b.closest("figure").classList.toggle("big");
    b.textContent = big ? "Smaller" : "Larger";
    b.setAttribute("aria-pressed", String(big));
  }));
  window.addEventListener("beforeprint", () => all("textarea").forEach(grow));

  // ------------------------------------------------------------ export and import
  all("[data-do=export]").forEach((b) => b.addEventListener("click", () => {
    const url = URL.createObjectURL(new Blob([JSON.stringify(whole(), null, 1) + "\n"], { type: "application/json" }));
    const a = make("a");
    a.href = url;
    a.download = (book.part + "-" + book.revision + "-record").replace(/[^A-Za-z0-9._-]+/g, "_") + ".json";
    document.body.append(a);
    a.click();
    a.remove();
    window.setTimeout(() => URL.revokeObjectURL(url), 10000);
  }));
  all("[data-do=print]").forEach((b) => b.addEventListener("click", () => window.print()));
  all("[data-do=import]").forEach((input) => input.addEventListener("change", async () => {
    const file = input.files[0];
    if (!file) return;
    const text = file.size > 2e6 ? "" : await file.text();
    input.value = "";
    const read = parsed(text);
    if (!read) return notice("This file is not a record of a ply book. Nothing was taken over.");
    if (read.part !== book.part) return notice("This record is of part " + read.part + ", this book is of part " + book.part + ". Nothing was taken over.");
    const fit = fitting(read.record);
    const words = ["A record with " + count(read.record) + " entries, saved " + (short(read.saved) || "at an unknown time") + "."];
    if (read.revision !== book.revision) words.push("REVISION MISMATCH: the record is of revision " + read.revision + ", this book is revision " + book.revision + ".");
    else if (read.plan !== book.plan) words.push("The plan has changed since this record was made.");
    if (fit.lost) words.push(fit.lost + " entries belong to steps that have changed; those steps stay open.");
    if (count(record)) words.push("It replaces the " + count(record) + " entries on this page.");
    const clean = words.length === 1 && !fit.lost;
    if (clean) { adopt(fit.record); return notice(words[0] + " Taken over."); }
    notice(words, [["Take it over", () => adopt(fit.record)], ["Leave things as they are", () => {}]]);
  }));

  // ------------------------------------------------------------ the same book in another tab
  window.addEventListener("storage", (e) => {
    const other = e.key === key ? parsed(e.newValue) : null;
    if (!other) return;
    record = other.record;
    fill();
    progress();
    drawTimers();
  });

  // ------------------------------------------------------------ start
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
})();
