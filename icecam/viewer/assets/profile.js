/**
 * The profile of a bit in closed form: flat, arc, flank. All five shapes are that.
 * @typedef {object} Profile mm
 * @property {number} flat
 * @property {number} corner
 * @property {number} flank rise over run of the straight part, Infinity if there is none
 * @property {number} radius
 * @property {number} rim axis distance at which the arc ends
 * @property {number} rim_height
 */

/** Height of the profile at axis distance r. */
export function profileHeight(p, r) {
  if (r <= p.flat) return 0;
  if (r <= p.rim || p.flank === Infinity) {
    const off = Math.min(r - p.flat, p.corner);
    return p.corner - Math.sqrt(p.corner * p.corner - off * off);
  }
  return p.rim_height + (r - p.rim) * p.flank;
}

/** Axis distance beyond which the profile is higher than `rise`. */
export function radiusAt(p, rise) {
  if (rise < 0) return 0;
  if (rise < p.rim_height || p.flank === Infinity) {
    const short = Math.max(p.corner - rise, 0);
    const off = Math.sqrt(p.corner * p.corner - short * short);
    return Math.min(p.flat + off, p.radius);
  }
  return Math.min(p.rim + (rise - p.rim_height) / p.flank, p.radius);
}

/** Where m v - h(sqrt(d2 + v v)) is greatest if that lies on the flank; m > 0. */
function onFlank(p, d2, m, reach) {
  if (m >= p.flank) return reach;
  let v = m * Math.sqrt(d2 / (p.flank * p.flank - m * m));
  const inside = p.rim * p.rim - d2;
  if (inside > v * v) v = Math.sqrt(inside);
  return Math.min(v, reach);
}

/** The same on the arc of a bit with flat and arc: a root held between two bounds. */
function onArc(p, d2, m, reach) {
  const { flat, corner, rim } = p;
  let low = flat * flat > d2 ? Math.sqrt(flat * flat - d2) : 0;
  let high = rim * rim > d2 ? Math.sqrt(rim * rim - d2) : 0;
  if (high <= low) return onFlank(p, d2, m, reach);
  const rate = (v) => {
    const r = Math.sqrt(d2 + v * v);
    const off = r - flat;
    return m * r * Math.sqrt(Math.max(corner * corner - off * off, 0)) - off * v;
  };
  if (rate(high) > 0) return onFlank(p, d2, m, reach);
  for (let turn = 0; turn < 60 && high - low > 1e-9; turn++) {
    const middle = (low + high) / 2;
    if (rate(middle) > 0) low = middle;
    else high = middle;
  }
  return Math.min((low + high) / 2, reach);
}

/** Where m v - h(sqrt(d2 + v v)) is greatest over 0 <= v <= reach; m > 0. */
function greatest(p, d2, m, reach) {
  const { flat, corner, flank, rim } = p;
  if (corner > 0 && flat > 0) return onArc(p, d2, m, reach);
  if (corner > 0) {
    const c2 = corner * corner;
    if (d2 < c2) {
      const v = m * Math.sqrt((c2 - d2) / (1 + m * m));
      if (flank === Infinity || d2 + v * v <= rim * rim) return Math.min(v, reach);
    }
  } else if (flat * flat > d2) {
    const edge = Math.sqrt(flat * flat - d2);
    if (flank === Infinity || m * flat <= flank * edge) return Math.min(edge, reach);
  }
  return onFlank(p, d2, m, reach);
}

/**
 * Greatest m v - h(sqrt(d2 + v v)) for low <= v <= high within the profile; -Infinity outside.
 * The lowest ice under a straight move is the height of its line less this.
 */
export function peak(p, d2, m, low, high) {
  const room = p.radius * p.radius - d2;
  if (room < 0) return -Infinity;
  const reach = Math.sqrt(room);
  const from = Math.max(low, -reach);
  const to = Math.min(high, reach);
  if (from > to) return -Infinity;
  let v = 0;
  if (m > 0) v = greatest(p, d2, m, reach);
  else if (m < 0) v = -greatest(p, d2, -m, reach);
  v = Math.min(Math.max(v, from), to);
  return m * v - profileHeight(p, Math.min(Math.sqrt(d2 + v * v), p.radius));
}
