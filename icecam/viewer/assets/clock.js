/** The machine's clock: which move runs at a moment, and what stands in the file there. */
import { firstAbove } from "./ice.js";

/**
 * @typedef {object} Moment
 * @property {number} time s since the first stage began
 * @property {number} nth stage, from 0
 * @property {number} n move of the stage
 * @property {number} share of that move that is done
 * @property {boolean} waiting while the bit is changed or the spindle starts
 */

/**
 * The moment at a time of the clock. Within a move the tip runs evenly.
 * @returns {Moment}
 */
export function momentAt(job, seconds) {
  const time = Math.min(Math.max(seconds, 0), job.head.seconds);
  let nth = job.stages.length - 1;
  if (time === job.head.seconds) {
    return { time, nth, n: job.stages[nth].count - 1, share: 1, waiting: false };
  }
  while (nth > 0 && job.stages[nth].start > time) nth--;
  const stage = job.stages[nth];
  const into = (time - stage.start - stage.pause) * 1000;
  if (into < 0) return { time, nth, n: 0, share: 0, waiting: true };
  const n = firstAbove(stage.clock, into);
  if (n >= stage.count) return { time, nth, n: stage.count - 1, share: 1, waiting: false };
  const begin = n ? stage.clock[n - 1] : 0;
  const share = Math.max(0, (into - begin) / (stage.clock[n] - begin));
  return { time, nth, n, share, waiting: false };
}

/** Time at which a move of a stage begins. */
export function timeOf(job, nth, n) {
  const stage = job.stages[nth];
  return stage.start + stage.pause + (n > 0 ? stage.clock[n - 1] / 1000 : 0);
}

/** Time at which a move of a stage is done. */
export function timeAfter(job, nth, n) {
  return timeOf(job, nth, n + 1);
}

/**
 * What spindle and ice do during a move: W, mm, mm3 taken by the stage so far.
 * @returns {{power: number, chip: number, cutting: boolean, taken: number}}
 */
export function loadAt(stage, n) {
  const k = firstAbove(stage.first, n) - 1;
  const taken = k < 0 ? 0 : stage.taken[k];
  if (k < 0 || n >= stage.first[k] + stage.length[k]) {
    return { power: 0, chip: 0, cutting: false, taken };
  }
  return {
    power: stage.power[k] / 10,
    chip: stage.chip[k] / 1000,
    cutting: stage.chip[k] > 0,
    taken,
  };
}

/** Litres of ice that are off at a moment. */
export function litresAt(job, moment) {
  let litres = 0;
  for (let nth = 0; nth < moment.nth; nth++) litres += job.stages[nth].litres;
  if (moment.waiting) return litres;
  return litres + loadAt(job.stages[moment.nth], moment.n).taken / 1e6;
}

const MARKS = "XYZ";
const APART = 64;

/**
 * A line of a stage's file, with its coordinates.
 * @param {number} line counted from 1
 */
export function lineText(stage, line) {
  const { text } = stage;
  stage.lineBegins ??= everyManyLines(text);
  const block = Math.floor((line - 1) / APART);
  let at = stage.lineBegins[Math.min(block, stage.lineBegins.length - 1)];
  for (let left = (line - 1) % APART; left > 0 && at < text.length; left--) {
    at = text.indexOf(10, at) + 1 || text.length;
  }
  const end = text.indexOf(10, at);
  const bare = new TextDecoder().decode(text.subarray(at, end < 0 ? text.length : end));
  const point = firstAbove(stage.line, line);
  return bare.replace(/[\u0001-\u0003]/g, (mark) => {
    const axis = mark.charCodeAt(0) - 1;
    const ticks = [stage.x, stage.y, stage.z][axis][point];
    return MARKS[axis] + plainNumber(ticks, stage.decimals);
  });
}

/** Byte at which every so many-th line begins. */
function everyManyLines(text) {
  const begins = [0];
  let count = 0;
  for (let at = 0; at < text.length; at++) {
    if (text[at] === 10 && ++count % APART === 0) begins.push(at + 1);
  }
  return begins;
}

/** Whole ticks as the file writes them: no exponent, no trailing zeros. */
function plainNumber(ticks, decimals) {
  const text = String(Math.abs(ticks)).padStart(decimals + 1, "0");
  const whole = text.slice(0, text.length - decimals);
  const rest = text.slice(text.length - decimals).replace(/0+$/, "");
  return (ticks < 0 ? "-" : "") + whole + (rest ? `.${rest}` : "");
}
