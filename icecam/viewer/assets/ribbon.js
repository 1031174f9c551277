/** The ribbon of time: stages dark to pale, hours, load, marks, and a handle to drag. */
import { spokenTime } from "./words.js";

const HOURS = 22;
const MARKS_ROOM = 16;

export class Ribbon {
  /**
   * @param {HTMLElement} root takes focus and pointer
   * @param {HTMLCanvasElement} canvas
   * @param {object} job
   * @param {{time: number, words: string, kind: string}[]} marks those with a moment
   * @param {(seconds: number) => void} go
   */
  constructor(root, canvas, job, marks, go) {
    this.root = root;
    this.canvas = canvas;
    this.job = job;
    this.marks = marks;
    this.now = 0;
    root.setAttribute("aria-valuemin", "0");
    root.setAttribute("aria-valuemax", String(Math.round(job.head.seconds)));
    const drag = (event) => go(this.timeAt(event.clientX));
    root.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      root.setPointerCapture(event.pointerId);
      root.focus({ preventScroll: true });
      drag(event);
    });
    root.addEventListener("pointermove", (event) => {
      if (root.hasPointerCapture(event.pointerId)) drag(event);
    });
  }

  /** Time under a place of the window. */
  timeAt(clientX) {
    const box = this.canvas.getBoundingClientRect();
    const share = (clientX - box.left) / box.width;
    return Math.min(1, Math.max(0, share)) * this.job.head.seconds;
  }

  /** Draw anew all that does not move; needed when size or colours change. */
  paint(colours) {
    this.colours = colours;
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const { clientWidth: width, clientHeight: height } = this.canvas;
    if (!width || !height) return;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    this.size = [width, height, ratio];
    this.still = document.createElement("canvas");
    this.still.width = this.canvas.width;
    this.still.height = this.canvas.height;
    const pen = this.still.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const band = [HOURS, height - HOURS - MARKS_ROOM];
    this.paintStages(pen, width, band);
    this.paintHours(pen, width, band);
    this.paintMarks(pen, width, height);
    this.show(this.now, this.words ?? "");
  }

  paintStages(pen, width, [top, high]) {
    const { job, colours } = this;
    const per = width / job.head.seconds;
    for (const stage of job.stages) {
      const x = stage.start * per;
      const wide = Math.max(1, stage.seconds * per);
      pen.fillStyle = colours.stages[stage.nth];
      pen.fillRect(x, top, wide, high);
      pen.fillStyle = colours.page;
      pen.fillRect(x, top, Math.max(stage.nth ? 1 : 0, stage.change * per * 0.999), high);
      this.paintLoad(pen, stage, x, wide, [top, high]);
      const at = x + Math.max(1, stage.change * per) + 8;
      if (x + wide - at < 14) continue;
      pen.fillStyle = colours.onStages[stage.nth];
      pen.font = `600 ${x + wide - at > 90 ? 15 : 13}px ${colours.font}`;
      pen.textBaseline = "top";
      pen.fillText(fitting(pen, [`${stage.nth + 1} `, ...stage.bit.split(" ")], x + wide - 4 - at), at, top + 6);
    }
  }

  /** The load of a stage, highest in each px, over the highest of the job. */
  paintLoad(pen, stage, x, wide, [top, high]) {
    const most = Math.max(...this.job.stages.map((one) => maximum(one.power)), 1);
    const peaks = new Float32Array(Math.ceil(wide) + 1);
    for (let k = 0; k < stage.first.length; k++) {
      const seconds = stage.pause + stage.clock[stage.first[k]] / 1000;
      const px = Math.min(peaks.length - 1, Math.floor((seconds / stage.seconds) * wide));
      peaks[px] = Math.max(peaks[px], stage.power[k]);
    }
    pen.fillStyle = this.colours.onStages[stage.nth];
    pen.globalAlpha = 0.34;
    for (let px = 0; px < peaks.length; px++) {
      const tall = 0.55 * high * Math.sqrt(peaks[px] / most);
      if (tall > 0) pen.fillRect(x + px, top + high - tall, 1, tall);
    }
    pen.globalAlpha = 1;
  }

  paintHours(pen, width, [top, high]) {
    const { job, colours } = this;
    const per = width / job.head.seconds;
    const steps = [300, 900, 1800, 3600, 7200, 14400, 28800, 86400];
    const step = steps.find((seconds) => seconds * per > 96) ?? 86400;
    pen.font = `13px ${colours.font}`;
    pen.textBaseline = "middle";
    for (let at = 0; at <= job.head.seconds; at += step) {
      const x = Math.min(at * per, width - 1);
      pen.fillStyle = colours.edge;
      pen.fillRect(x, HOURS - 6, 1, 6);
      const words = step < 3600 ? spokenTime(at) : `${Math.round(at / 3600)} h`;
      pen.fillStyle = colours.quiet;
      const room = pen.measureText(words).width;
      if (x + room + 4 < width) pen.fillText(at ? words : "0", x + 4, HOURS / 2);
    }
    pen.fillStyle = colours.edge;
    for (let at = 3600; at < job.head.seconds; at += 3600) {
      pen.fillRect(at * per, top + high - 4, 1, 8);
    }
  }

  /** Shapes tell kinds apart, not colours alone. */
  paintMarks(pen, width, height) {
    const per = width / this.job.head.seconds;
    const y = height - MARKS_ROOM / 2;
    for (const seconds of this.job.head.snow) {
      pen.fillStyle = this.colours.quiet;
      pen.fillRect(seconds * per - 1, y - 6, 2, 12);
    }
    for (const mark of this.marks) {
      drawMark(pen, mark.kind, Math.min(width - 7, Math.max(7, mark.time * per)), y, this.colours);
    }
  }

  /** Show a moment. */
  show(seconds, words) {
    this.now = seconds;
    this.words = words;
    this.root.setAttribute("aria-valuenow", String(Math.round(seconds)));
    this.root.setAttribute("aria-valuetext", words);
    if (!this.still) return;
    const [width, height, ratio] = this.size;
    const pen = this.canvas.getContext("2d");
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.clearRect(0, 0, this.canvas.width, this.canvas.height);
    pen.drawImage(this.still, 0, 0);
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const x = Math.min(width - 2, Math.max(2, (seconds / this.job.head.seconds) * width));
    pen.globalAlpha = 0.16;
    pen.fillStyle = this.colours.page;
    pen.fillRect(x, HOURS, width - x, height - HOURS - MARKS_ROOM);
    pen.globalAlpha = 1;
    pen.fillStyle = this.colours.page;
    pen.fillRect(x - 4, HOURS - 6, 8, height - HOURS - MARKS_ROOM + 12);
    pen.fillStyle = this.colours.accent;
    pen.fillRect(x - 2, HOURS - 8, 4, height - HOURS - MARKS_ROOM + 16);
    pen.beginPath();
    pen.arc(x, HOURS - 6, 8, 0, 2 * Math.PI);
    pen.fill();
  }
}

/** As many of the words as fit in so many px, but the first in any case. */
function fitting(pen, words, room) {
  let count = words.length;
  while (count > 1 && pen.measureText(words.slice(0, count).join(" ")).width > room) count -= 1;
  return words.slice(0, count).join(" ");
}

/** Greatest of many numbers. */
export function maximum(values) {
  let most = 0;
  for (const value of values) if (value > most) most = value;
  return most;
}

/** A mark: fault a cross, warning a triangle, wall two bars, load a drop, others a diamond. */
export function drawMark(pen, kind, x, y, colours) {
  pen.save();
  pen.translate(x, y);
  pen.fillStyle = kind === "fault" ? colours.refused : kind === "warning" ? colours.warning : colours.text;
  pen.strokeStyle = colours.surface;
  pen.lineWidth = 1.5;
  pen.beginPath();
  if (kind === "fault") {
    for (const turn of [1, -1]) {
      pen.moveTo(-6, -6 * turn + 2.5);
      pen.lineTo(-6 + 2.5, -6 * turn);
      pen.lineTo(6, 6 * turn - 2.5);
      pen.lineTo(6 - 2.5, 6 * turn);
      pen.closePath();
    }
  } else if (kind === "warning") {
    pen.moveTo(0, -7);
    pen.lineTo(7, 6);
    pen.lineTo(-7, 6);
    pen.closePath();
  } else if (kind === "wall") {
    pen.rect(-5, -6, 3.5, 12);
    pen.rect(1.5, -6, 3.5, 12);
  } else if (kind === "load") {
    pen.moveTo(0, -7);
    pen.lineTo(4.6, 1);
    pen.arc(0, 2, 4.6, 0, Math.PI);
    pen.closePath();
  } else {
    pen.moveTo(0, -6);
    pen.lineTo(6, 0);
    pen.lineTo(0, 6);
    pen.lineTo(-6, 0);
    pen.closePath();
  }
  pen.stroke();
  pen.fill();
  pen.restore();
}
