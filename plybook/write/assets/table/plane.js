// Plane geometry; points are [x, y]. The table: mm, y up, from corner A of the taped rectangle.
// The picture: pixels of the page, y down.

// Gauss's elimination with the largest pivot first; each row holds its right side last.
function solve(rows) {
  const n = rows.length;
  for (let k = 0; k < n; k += 1) {
    let best = k;
    for (let i = k + 1; i < n; i += 1) if (Math.abs(rows[i][k]) > Math.abs(rows[best][k])) best = i;
    [rows[k], rows[best]] = [rows[best], rows[k]];
    if (Math.abs(rows[k][k]) < 1e-12) return null;
    for (let i = k + 1; i < n; i += 1) {
      const share = rows[i][k] / rows[k][k];
      for (let j = k; j <= n; j += 1) rows[i][j] -= share * rows[k][j];
    }
  }
  const found = new Array(n).fill(0);
  for (let k = n - 1; k >= 0; k -= 1) {
    let rest = rows[k][n];
    for (let j = k + 1; j < n; j += 1) rest -= rows[k][j] * found[j];
    found[k] = rest / rows[k][k];
  }
  return found;
}
// The homography that takes four points to four others, as nine numbers in rows, the last one 1;
// null where three of the points lie on one line.
function homography(from, to) {
  const rows = [];
  from.forEach(([x, y], k) => {
    const [u, v] = to[k];
    rows.push([x, y, 1, 0, 0, 0, -u * x, -u * y, u], [0, 0, 0, x, y, 1, -v * x, -v * y, v]);
  });
  const found = solve(rows);
  return found && [...found, 1];
}
function through(h, [x, y]) {
  const w = h[6] * x + h[7] * y + h[8];
  return [(h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w];
}
// How a homography stretches and turns a small drawing at a point: du/dx, dv/dx, du/dy, dv/dy.
function slopes(h, [x, y]) {
  const w = h[6] * x + h[7] * y + h[8];
  const [u, v] = through(h, [x, y]);
  return [(h[0] - u * h[6]) / w, (h[3] - v * h[6]) / w, (h[1] - u * h[7]) / w, (h[4] - v * h[7]) / w];
}
// Whether four corners on the page run counter-clockwise round a shape without dents.
function runsRound(corners) {
  return corners.every(([x, y], k) => {
    const [b, c] = [corners[(k + 1) % 4], corners[(k + 2) % 4]];
    return (b[0] - x) * (c[1] - b[1]) - (b[1] - y) * (c[0] - b[0]) < -1;
  });
}
// Mirrored if it lies face down, then turned about its origin, then moved: as in plan.json.
function placed(points, p) {
  const turn = (p.rotation_deg || 0) * Math.PI / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  return points.map(([x, y]) => {
    const up = p.flipped ? -y : y;
    return [c * x - s * up + (p.x_mm || 0), s * x + c * up + (p.y_mm || 0)];
  });
}
function boxOf(points) {
  const box = [Infinity, Infinity, -Infinity, -Infinity];
  for (const [x, y] of points) {
    box[0] = Math.min(box[0], x); box[1] = Math.min(box[1], y);
    box[2] = Math.max(box[2], x); box[3] = Math.max(box[3], y);
  }
  return box;
}
// The parts of a line that lie in a box (Liang and Barsky).
function linesIn(points, closed, box) {
  const out = [];
  const count = points.length - (closed ? 0 : 1);
  for (let k = 0; k < count; k += 1) {
    const [a, b] = [points[k], points[(k + 1) % points.length]];
    const way = [b[0] - a[0], b[1] - a[1]];
    let [start, end] = [0, 1];
    for (const axis of [0, 1]) {
      for (const [sign, rim] of [[-1, box[axis]], [1, box[axis + 2]]]) {
        const speed = sign * way[axis], room = sign * (rim - a[axis]);
        if (speed === 0) { if (room < 0) end = -1; continue; }
        if (speed < 0) start = Math.max(start, room / speed);
        else end = Math.min(end, room / speed);
      }
    }
    if (end <= start) continue;
    const at = (t) => [a[0] + t * way[0], a[1] + t * way[1]];
    const last = out[out.length - 1];
    if (last && start === 0 && last.open) last.points.push(at(end));
    else out.push({ points: [at(start), at(end)], open: true });
    out[out.length - 1].open = end === 1;
  }
  return out.map((one) => one.points);
}
// What of a ring lies in a box (Sutherland and Hodgman); enough to find room for words.
function ringIn(ring, box) {
  let kept = ring;
  for (const axis of [0, 1]) {
    for (const [sign, rim] of [[-1, box[axis]], [1, box[axis + 2]]]) {
      const inside = (p) => sign * (rim - p[axis]) >= 0;
      const next = [];
      kept.forEach((b, k) => {
        const a = kept[(k + kept.length - 1) % kept.length];
        if (inside(a) !== inside(b)) {
          const t = (rim - a[axis]) / (b[axis] - a[axis]);
          next.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
        }
        if (inside(b)) next.push(b);
      });
      kept = next;
      if (!kept.length) return [];
    }
  }
  return kept;
}
function holds(ring, [x, y]) {
  let odd = false;
  ring.forEach(([x2, y2], k) => {
    const [x1, y1] = ring[(k + ring.length - 1) % ring.length];
    if ((y1 > y) !== (y2 > y) && x < x1 + (y - y1) / (y2 - y1) * (x2 - x1)) odd = !odd;
  });
  return odd;
}
function farFrom(rings, [x, y]) {
  let least = Infinity;
  for (const ring of rings) {
    ring.forEach((b, k) => {
      const a = ring[(k + ring.length - 1) % ring.length];
      const [dx, dy] = [b[0] - a[0], b[1] - a[1]];
      const size = dx * dx + dy * dy;
      const t = size ? Math.min(1, Math.max(0, ((x - a[0]) * dx + (y - a[1]) * dy) / size)) : 0;
      least = Math.min(least, Math.hypot(a[0] + t * dx - x, a[1] + t * dy - y));
    });
  }
  return least;
}
// The point of a ring that lies deepest inside it and outside its holes, and how deep.
function roomiest(ring, holes) {
  const [x0, y0, x1, y1] = boxOf(ring);
  let best = null;
  for (let i = 1; i < 16; i += 1) {
    for (let j = 1; j < 16; j += 1) {
      const at = [x0 + (x1 - x0) * i / 16, y0 + (y1 - y0) * j / 16];
      if (!holds(ring, at) || holes.some((hole) => holds(hole, at))) continue;
      const deep = farFrom([ring, ...holes], at);
      if (!best || deep > best.deep) best = { at, deep };
    }
  }
  return best;
}
