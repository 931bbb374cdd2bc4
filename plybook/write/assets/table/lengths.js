// Lengths as the builder types and reads them; inside the page they are mm.
const INCH = 25.4;
// "812", "812,5", "32.5", "32 1/2", "32-1/2", "1/2"; NaN for anything else.
function lengthOf(text, unit) {
  const said = text.trim().replace(/\s*(mm|in|")$/, "");
  const found = /^(?:(\d+(?:[.,]\d+)?)|(?:(\d+)[\s-]+)?(\d+)\/(\d+))$/.exec(said);
  if (!found || said.length > 20) return NaN;
  const value = found[1] ? Number(found[1].replace(",", ".")) : Number(found[2] || 0) + Number(found[3]) / Number(found[4]);
  return unit === "in" ? value * INCH : value;
}
function shown(mm, unit) {
  if (unit !== "in") return String(Math.round(mm * 10) / 10);
  const ticks = Math.round(mm / INCH * 32);
  const [whole, rest] = [Math.trunc(ticks / 32), Math.abs(ticks % 32)];
  if (!rest) return String(whole);
  let [top, below] = [rest, 32];
  while (top % 2 === 0) { top /= 2; below /= 2; }
  return (whole ? whole + " " : "") + top + "/" + below;
}
