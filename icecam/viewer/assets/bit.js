/** The bit as it turns: its profile as a body of revolution, with shank and collet nut. */
import { profileHeight } from "./profile.js";

const SIDES = 36;
const ARC = 14;

/** Outline of a bit from the tip up: axis distance, height, brightness. */
export function outlineOf(stage) {
  const p = stage.profile;
  const parts = stage.parts.filter((part) => part.name !== "spindle");
  const shank = parts[0];
  const points = [[0, 0, 0.95]];
  for (let k = 0; k <= ARC; k++) {
    const r = p.flat + ((p.rim - p.flat) * k) / ARC;
    points.push([r, profileHeight(p, Math.min(r, p.radius)), 0.95]);
  }
  points.push([p.radius, profileHeight(p, p.radius), 0.95]);
  points.push([p.radius, shank.base, 0.95]);
  const nut = parts[1];
  points.push([shank.radius, shank.base, 0.6], [shank.radius, nut.base, 0.6]);
  const end = nut.base + Math.min(20, nut.radius);
  points.push([nut.radius * 0.8, nut.base, 0.15], [nut.radius, nut.base + nut.radius * 0.2, 0.15]);
  points.push([nut.radius, end, 0.15], [0, end, 0.15]);
  return points;
}

/** Triangles of the body: place, normal and brightness of each corner, seven numbers. */
export function bodyOf(outline) {
  const corners = [];
  for (let k = 0; k + 1 < outline.length; k++) {
    const [r0, z0] = outline[k];
    const [r1, z1, tone] = outline[k + 1];
    const [dr, dz] = [r1 - r0, z1 - z0];
    const long = Math.hypot(dr, dz);
    if (long < 1e-9) continue;
    for (let s = 0; s < SIDES; s++) {
      const ring = [s, s + 1].map((n) => (2 * Math.PI * n) / SIDES);
      const corner = (r, z, angle) => [
        r * Math.cos(angle), r * Math.sin(angle), z,
        (dz / long) * Math.cos(angle), (dz / long) * Math.sin(angle), -dr / long, tone,
      ];
      const [a, b] = [corner(r0, z0, ring[0]), corner(r0, z0, ring[1])];
      const [c, d] = [corner(r1, z1, ring[0]), corner(r1, z1, ring[1])];
      corners.push(...a, ...b, ...c, ...c, ...b, ...d);
    }
  }
  return new Float32Array(corners);
}
