/** What lies under a place of the picture. */
import { sectionOf } from "./view3d.js";

/**
 * First place where a line of sight meets the ice; null if it misses.
 * @param {import("./ice.js").Ice} ice
 * @param {import("./camera.js").Camera} camera
 * @param {{on: boolean, axis: string, at: number}} section
 * @returns {number[] | null}
 */
export function placeUnder(ice, camera, section, px, py) {
  const { from, way } = camera.ray(px, py);
  const [x, y, z] = ice.job.head.block;
  const [sx, sy, where, on] = sectionOf(section, camera.axes().eye);
  let near = 0;
  let far = 4 * camera.range;
  [x, y, z].forEach((side, k) => {
    if (Math.abs(way[k]) < 1e-9) {
      if (from[k] < 0 || from[k] > side) far = -1;
      return;
    }
    const one = -from[k] / way[k];
    const other = (side - from[k]) / way[k];
    near = Math.max(near, Math.min(one, other));
    far = Math.min(far, Math.max(one, other));
  });
  const step = Math.min(ice.pitch / 2 / Math.max(Math.hypot(way[0], way[1]), 0.02), z / 4);
  const inIce = (t) => {
    const at = from.map((value, k) => value + t * way[k]);
    if (on && at[0] * sx + at[1] * sy > where) return null;
    return at[2] <= ice.heightAt(at[0], at[1]) + 1e-6 ? at : null;
  };
  for (let t = near + 1e-6; t <= far + step; t += step) {
    const here = inIce(Math.min(t, far));
    if (here) return refined(inIce, Math.max(near, t - step), Math.min(t, far), here);
  }
  return null;
}

/** Halve the way between the last free place and the first in ice. */
function refined(inIce, free, held, here) {
  let best = here;
  for (let turn = 0; turn < 12; turn++) {
    const middle = (free + held) / 2;
    const at = inIce(middle);
    if (at) {
      best = at;
      held = middle;
    } else {
      free = middle;
    }
  }
  return best;
}

/** What is known of a place of the ice, in words, and the move that cut it last. */
export function toldOf(job, ice, place, lineText) {
  const cell = ice.cellAt(place[0], place[1]);
  if (!cell) return null;
  const height = ice.heights[cell.at];
  const goal = ice.wantedAt(cell);
  const words = [
    `X ${place[0].toFixed(1)}, Y ${place[1].toFixed(1)} mm: the ice stands ${height.toFixed(2)} mm high`,
  ];
  if (goal === null) words.push(...(ice.job.head.bare ? [] : ["beside the sculpture"]));
  else if (height - goal > 0.005) words.push(`${(height - goal).toFixed(2)} mm above the sculpture`);
  else words.push("on the sculpture");
  const move = ice.lastCut(cell);
  if (move < 0) return { words: `${words.join(", ")}. Not cut yet.`, move, height };
  const stage = ice.stageOf(move);
  const line = stage.line[move - stage.before];
  words.push(`cut last by stage ${stage.nth + 1}, line ${line}: ${lineText(stage, line)}`);
  return { words: `${words.join(", ")}.`, move, line, stage: stage.nth, height };
}
