/** The numbers of a moment, beside the picture. */
import { lineText, litresAt, loadAt, timeOf } from "./clock.js";
import { pointOf } from "./data.js";
import { partOf } from "./ice.js";
import { clockWords, wattWords } from "./words.js";

const ROWS = ["Stage", "Bit", "File", "Tip", "Feed", "Load", "Chip", "Gone", "Left", "Ice off"];

/** Where the tip is, block coordinates, mm. */
export function tipAt(job, moment) {
  const stage = job.stages[moment.nth];
  const a = pointOf(stage, moment.n);
  return moment.share > 0 ? partOf(a, pointOf(stage, moment.n + 1), moment.share) : a;
}

/** Feed that the machine reaches on average over a move, mm/min. */
function reachedFeed(stage, n) {
  const a = pointOf(stage, n);
  const b = pointOf(stage, n + 1);
  const seconds = (stage.clock[n] - (n ? stage.clock[n - 1] : 0)) / 1000;
  const length = Math.hypot(b[0] - a[0], b[1] - a[1], b[2] - a[2]);
  return seconds > 0 ? (length / seconds) * 60 : null;
}

export class Readout {
  constructor(root, job) {
    this.job = job;
    this.root = root;
    this.cells = {};
    const list = root.querySelector("#dr-readout");
    for (const name of ROWS) {
      const row = list.appendChild(document.createElement("div"));
      row.appendChild(document.createElement("dt")).textContent = name;
      this.cells[name] = row.appendChild(document.createElement("dd"));
    }
    this.nextWords = root.querySelector("#dr-next-words");
    this.nextTime = root.querySelector("#dr-next-time");
    this.lineNumber = root.querySelector("#dr-line-number");
    this.lineText = root.querySelector("#dr-line-text");
  }

  /** Show a moment. */
  show(moment) {
    const { job, cells } = this;
    const stage = job.stages[moment.nth];
    const load = loadAt(stage, moment.n);
    const rapid = stage.kindOf[moment.n] === 0;
    const kind = stage.kind === "rough" ? "roughing" : "finishing";
    this.showNext(moment, stage);
    const told = {
      Stage: `${moment.nth + 1} of ${job.stages.length}, ${kind}`,
      Bit: stage.told,
      File: stage.file,
      Tip: this.tipWords(moment, stage),
      Feed: this.feedWords(moment, stage, rapid),
      Load: this.loadWords(moment, stage, load),
      Chip: load.cutting && !moment.waiting ? `${load.chip.toFixed(3)} mm` : "none",
      Gone: clockWords(moment.time),
      Left: clockWords(job.head.seconds - moment.time),
      "Ice off": `${litresAt(job, moment).toFixed(2)} L of ${this.allLitres().toFixed(2)} L`,
    };
    for (const name of ROWS) cells[name].textContent = told[name];
    const line = stage.line[moment.n];
    this.lineNumber.textContent = `Line ${line}`;
    this.lineText.textContent = lineText(stage, line);
  }

  /** What asks for the sculptor's hands next, and when. */
  showNext(moment, stage) {
    const { job } = this;
    const last = moment.nth + 1 === job.stages.length;
    const begins = timeOf(job, moment.nth, 0);
    if (moment.waiting && stage.change > 0) {
      this.nextWords.textContent = "Bit change, cuts again in";
      this.nextTime.textContent = clockWords(begins - moment.time);
      return;
    }
    this.nextWords.textContent = last ? "Carving is done in" : "Bit change in";
    this.nextTime.textContent = clockWords(stage.start + stage.seconds - moment.time);
  }

  allLitres() {
    return this.job.stages.reduce((sum, stage) => sum + stage.litres, 0);
  }

  /** As the machine shows it: from the work zero, in the unit of the file. */
  tipWords(moment, stage) {
    const tip = tipAt(this.job, moment);
    const inches = stage.unit !== 1;
    const words = tip.map((value, k) => ((value - stage.zero[k]) / stage.unit).toFixed(inches ? 3 : 2));
    return `X ${words[0]}  Y ${words[1]}  Z ${words[2]} ${inches ? "in" : "mm"}`;
  }

  feedWords(moment, stage, rapid) {
    if (moment.waiting) return "stands";
    const reached = reachedFeed(stage, moment.n);
    if (reached === null) return "stands";
    const words = `${Math.round(reached)} mm/min`;
    return rapid ? `${words}, rapid` : `${words}, file says ${stage.feed[moment.n]}`;
  }

  loadWords(moment, stage, load) {
    if (moment.waiting || !load.cutting) return "none, not in ice";
    const [low, best, high] = stage.load;
    if (!(best > 0)) return wattWords(load.power);
    const from = wattWords((load.power * low) / best);
    const to = wattWords((load.power * high) / best);
    return `${wattWords(load.power)} (${from} to ${to})`;
  }
}
