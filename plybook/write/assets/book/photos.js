// Photos: made smaller, kept beside the log in the browser's database under the SHA-256 of their
// data, which the entry in the log names: a photo cannot be exchanged either.
const PHOTO_SIDE = 1280;  // px of the longer side
const PHOTO_BYTES = 3e6;  // of one photo after that; more is none
const shots = new Map();  // sha256 -> JPEG as base64
let photosLost = false;  // the browser keeps none
const photoStore = new Promise((done) => {
  try {
    const ask = window.indexedDB.open("plybook-photos", 1);
    ask.onupgradeneeded = () => ask.result.createObjectStore("photos");
    ask.onsuccess = () => done(ask.result);
    ask.onerror = () => done(null);
  } catch (e) { done(null); }
});
async function photoDeed(mode, deed) {
  const base = await photoStore;
  if (!base) return undefined;
  return new Promise((done) => {
    try {
      const ask = deed(base.transaction("photos", mode).objectStore("photos"));
      ask.onsuccess = () => done(ask.result === undefined ? null : ask.result);
      ask.onerror = () => done(undefined);
    } catch (e) { done(undefined); }
  });
}
async function keepPhoto(name, data) {
  shots.set(name, data);
  if (await photoDeed("readwrite", (s) => s.put(data, name)) === undefined) {
    photosLost = true;
    exported = false;
    notice("THIS PHOTO IS NOT BEING KEPT: the browser does not allow it or is full. Export the record before you close this page.");
  }
}
async function photoData(name) {
  if (!shots.has(name)) {
    const data = await photoDeed("readonly", (s) => s.get(name));
    if (typeof data === "string") shots.set(name, data);
  }
  return shots.get(name);
}
const bytesOf = (base64) => Uint8Array.from(atob(base64), (c) => c.charCodeAt(0));
async function addPhoto(file, of) {
  let image;
  try { image = await createImageBitmap(file); } catch (e) { return notice("This file is not a picture that the browser can read."); }
  const scale = Math.min(1, PHOTO_SIDE / Math.max(image.width, image.height));
  const canvas = make("canvas");
  canvas.width = Math.max(1, Math.round(image.width * scale));
  canvas.height = Math.max(1, Math.round(image.height * scale));
  canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
  const data = canvas.toDataURL("image/jpeg", 0.75).split(",")[1];
  const bytes = bytesOf(data);
  if (bytes.length > PHOTO_BYTES) return notice("This picture is too large even when made smaller.");
  const name = sha256OfBytes(bytes);
  await keepPhoto(name, data);
  put("photos." + random(12), {
    of, caption: "", taken: file.lastModified ? stamp(file.lastModified) : "", sha256: name,
    width: canvas.width, height: canvas.height, bytes: bytes.length,
  });
}
function makePhoto(id) {
  const v = value(id);
  const box = make("figure");
  box.dataset.entry = id;
  const image = make("img");
  image.width = v.width;
  image.height = v.height;
  image.alt = "Photo" + (v.caption ? ": " + v.caption : "");
  photoData(v.sha256).then((data) => { if (data) image.src = "data:image/jpeg;base64," + data; else image.alt = "The photo itself is not on this device."; });
  const label = make("label");
  const input = make("input");
  input.type = "text";
  input.value = v.caption;
  input.addEventListener("change", () => put(id, { ...value(id), caption: input.value }));
  label.append(make("span", "What it shows"), input);
  const words = make("figcaption", (v.taken ? "file of " + short(v.taken) + ", " : "") + v.width + " × " + v.height + " px, " + Math.ceil(v.bytes / 1000) + " kB");
  box.append(image, words, label, button("Take out", () => put(id, null), "drop"));
  return box;
}
const photoIds = () => ids("photos.").filter((id) => typeof value(id) === "object");
function drawPhotos() {
  const own = photoIds();
  for (const place of all(".photos")) {
    const here = own.filter((id) => value(id).of === place.dataset.of);
    const there = new Map(all("figure", place).map((f) => [f.dataset.entry, f]));
    for (const [id, box] of there) if (!here.includes(id)) box.remove();
    for (const id of here) if (!there.has(id)) place.append(makePhoto(id));
  }
  const sum = own.reduce((n, id) => n + (value(id).bytes || 0), 0);
  if ($("photo-size")) $("photo-size").textContent = own.length ? own.length + " photos, " + (sum / 1e6).toFixed(1) + " MB; the exported record holds them." : "";
}
onChange((changed) => { if (!changed || changed.some((id) => id.startsWith("photos."))) drawPhotos(); });
all("[data-do=photo]").forEach((input) => input.addEventListener("change", async () => {
  const file = input.files[0];
  input.disabled = true;
  if (file) await addPhoto(file, input.dataset.of);
  input.disabled = false;
  input.value = "";
}));
async function photosOut() {
  const out = {};
  for (const id of photoIds()) {
    const data = await photoData(value(id).sha256);
    if (data) out[value(id).sha256] = data;
  }
  return out;
}
async function photosIn(raw) {
  for (const [name, data] of Object.entries(raw && typeof raw === "object" ? raw : {})) {
    let bytes = null;
    try { bytes = bytesOf(data); } catch (e) { bytes = null; }
    if (bytes && bytes.length <= PHOTO_BYTES && sha256OfBytes(bytes) === name) await keepPhoto(name, data);
  }
}
