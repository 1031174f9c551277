/** A straight move of a bit over cells: each takes the lowest point of the moving profile. */
import { peak, profileHeight, radiusAt } from "./profile.js";

/** The move from a to b as seen from above: direction, length, height where it starts, slope. */
export function wayOf(a, b, way = {}) {
  const dx = b[0] - a[0];
  const dy = b[1] - a[1];
  const length = Math.sqrt(dx * dx + dy * dy);
  const upright = length < 1e-9;
  way.low = Math.min(a[2], b[2]);
  way.length = upright ? 0 : length;
  way.ux = upright ? 1 : dx / length;
  way.uy = upright ? 0 : dy / length;
  way.z = upright ? way.low : a[2];
  way.slope = upright ? 0 : (b[2] - a[2]) / length;
  return way;
}

/** The way of the move in hand; made once, for there are millions. */
const _way = wayOf([0, 0, 0], [1, 0, 0]);

/** Height at which the move leaves the ice at (x, y); Infinity where it does not pass over. */
export function leftAt(profile, a, way, x, y) {
  const along = (x - a[0]) * way.ux + (y - a[1]) * way.uy;
  const across = (y - a[1]) * way.ux - (x - a[0]) * way.uy;
  const beside = Math.max(along - way.length, -along, 0);
  const d2 = across * across;
  if (d2 + beside * beside > profile.radius * profile.radius) return Infinity;
  const best = peak(profile, d2, way.slope, along - way.length, along);
  return best === -Infinity ? Infinity : way.z + way.slope * along - best;
}

/** Whether the profile is `rise` high or higher at squared distance r2; no root if it is round. */
function standsOver(p, r2, rise) {
  if (rise <= 0) return true;
  if (p.flat > 0 || p.corner === 0 || r2 > p.rim * p.rim) {
    return profileHeight(p, Math.sqrt(r2)) >= rise;
  }
  const short = p.corner - rise;
  return short >= 0 && p.corner * p.corner - r2 <= short * short;
}

/**
 * Carve a field of cells by one move.
 * @param {import("./ice.js").Ice} ice
 * @param {import("./profile.js").Profile} profile
 * @param {number[]} a
 * @param {number[]} b
 */
export function sweep(ice, profile, a, b) {
  const { x0, y0, pitch, nx, ny } = ice;
  const way = wayOf(a, b, _way);
  const top = ice.highestNear(a, b, profile.radius);
  if (top <= way.low) return;
  const reach = radiusAt(profile, top - way.low) + 1e-9;
  const j0 = Math.max(0, Math.ceil((Math.min(a[1], b[1]) - reach - y0) / pitch));
  const j1 = Math.min(ny - 1, Math.floor((Math.max(a[1], b[1]) + reach - y0) / pitch));
  for (let j = j0; j <= j1; j++) {
    const [west, east] = spanOf(y0 + j * pitch, a, b, way, reach);
    const i0 = Math.max(0, Math.ceil((west - x0) / pitch));
    const i1 = Math.min(nx - 1, Math.floor((east - x0) / pitch));
    if (i0 <= i1) sweepRow(ice, profile, a, way, j, i0, i1);
  }
}

/** Cells i0 to i1 of a row; most are seen to be free without working out the profile. */
function sweepRow(ice, profile, a, way, j, i0, i1) {
  const { x0, pitch, heights } = ice;
  const { ux, uy, length, z, slope, low } = way;
  const widest = profile.radius * profile.radius;
  const row = j * ice.width;
  const dy = ice.y0 + j * pitch - a[1];
  let first = -1;
  let last = -1;
  for (let i = i0; i <= i1; i++) {
    const now = heights[row + i];
    if (now <= low) continue;
    const dx = x0 + i * pitch - a[0];
    const along = dx * ux + dy * uy;
    const across = dy * ux - dx * uy;
    const beside = along > length ? along - length : along < 0 ? -along : 0;
    const d2 = across * across;
    const r2 = d2 + beside * beside;
    if (r2 > widest || standsOver(profile, r2, now - low)) continue;
    const left =
      slope === 0
        ? z + profileHeight(profile, Math.sqrt(r2))
        : z + slope * along - peak(profile, d2, slope, along - length, along);
    if (left < now) {
      heights[row + i] = left;
      if (first < 0) first = i;
      last = i;
    }
  }
  if (first >= 0) ice.touchRow(j, first, last);
}

const _span = [0, 0];

/** First and last x within `reach` of the move on the line y = const; low > high for none. */
function spanOf(y, a, b, way, reach) {
  let low = Infinity;
  let high = -Infinity;
  for (let k = 0; k < 2; k++) {
    const end = k ? b : a;
    const room = reach * reach - (y - end[1]) * (y - end[1]);
    if (room >= 0) {
      const half = Math.sqrt(room);
      low = Math.min(low, end[0] - half);
      high = Math.max(high, end[0] + half);
    }
  }
  if (way.length > 0) {
    const sides = sidesOf(y, a, b, way, reach);
    low = Math.min(low, sides[0]);
    high = Math.max(high, sides[1]);
  }
  _span[0] = low;
  _span[1] = high;
  return _span;
}

const _sides = [0, 0];

/** The part of the line y = const inside the rectangle beside the move. */
function sidesOf(y, a, b, way, reach) {
  const { ux, uy, length } = way;
  const dy = y - a[1];
  let west = -Infinity;
  let east = Infinity;
  if (Math.abs(uy) > 1e-12) {
    const one = a[0] + (dy * ux - reach) / uy;
    const other = a[0] + (dy * ux + reach) / uy;
    west = Math.min(one, other);
    east = Math.max(one, other);
  } else if (Math.abs(dy) > reach) {
    west = Infinity;
  }
  if (Math.abs(ux) > 1e-12) {
    const one = a[0] - (dy * uy) / ux;
    const other = a[0] + (length - dy * uy) / ux;
    west = Math.max(west, Math.min(one, other));
    east = Math.min(east, Math.max(one, other));
  } else if (dy * uy < 0 || dy * uy > length) {
    west = Infinity;
  }
  _sides[0] = west <= east ? west : Infinity;
  _sides[1] = west <= east ? east : -Infinity;
  return _sides;
}
