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
// As printed, with a minus sign (U+2212).
function shown(mm, unit) {
  const ticks = Math.round(Math.abs(mm) * (unit === "in" ? 32 / INCH : 10));
  const sign = mm < 0 && ticks ? "\u2212" : "";
  if (unit !== "in") return sign + ticks / 10;
  const [whole, rest] = [Math.trunc(ticks / 32), ticks % 32];
  if (!rest) return sign + whole;
  let [top, below] = [rest, 32];
  while (top % 2 === 0) { top /= 2; below /= 2; }
  return sign + (whole ? whole + " " : "") + top + "/" + below;
}
