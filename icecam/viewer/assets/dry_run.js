/** The dry run: one moment of the job, shown everywhere at once. */
import { Camera } from "./camera.js";
import { firstAbove, Ice } from "./ice.js";
import { lineText, momentAt, timeAfter, timeOf } from "./clock.js";
import { readColours } from "./colours.js";
import { Detail } from "./detail.js";
import { webgl } from "./gl.js";
import { drawMarks, markUnder, timedMarks } from "./marks.js";
import { Readout, tipAt } from "./readout.js";
import { maximum, Ribbon } from "./ribbon.js";
import { View2d } from "./view2d.js";
import { DETAILS, View3d } from "./view3d.js";
import { spokenTime } from "./words.js";

export const SPEEDS = [1, 3, 10, 30, 100, 300, 1000];
const NEAR_BEFORE_MS = 15_000;
const NEAR_AFTER_MS = 8_000;
const MOST_NEAR = 400;
const REST_MS = 220;

export class DryRun {
  constructor(root, job) {
    this.root = root;
    this.job = job;
    this.ice = new Ice(job);
    this.camera = new Camera(job.head.block);
    this.marks = timedMarks(job);
    this.chosen = null;
    this.detail = new Detail(DETAILS.length);
    this.speed = 3;
    this.playing = false;
    this.show = { bit: true, near: true, left: false, marks: true, current: true };
    this.show.paths = job.stages.map(() => false);
    this.section = { on: false, axis: "y", at: job.head.block[1] / 2 };
    this.heard = [];
    this.turn = 0;
    const find = (id) => root.querySelector(`#dr-${id}`);
    this.picture = find("picture");
    this.overlay = find("overlay");
    this.readout = new Readout(root, job);
    const moments = this.marks.filter((mark) => mark.moment || mark.kind === "warning");
    const go = (time) => this.toTime(time);
    this.ribbon = new Ribbon(find("ribbon"), find("ribbon-canvas"), job, moments, go);
    this.openView(find("ice"), find("note"));
    this.recolour();
    this.toMoment({ time: 0, nth: 0, n: 0, share: 0, waiting: job.stages[0].pause > 0 });
  }

  /** Three dimensions if the machine can, else from above. */
  openView(canvas, note) {
    const { gl, why } = webgl(canvas);
    if (gl) {
      this.view = new View3d(gl, canvas, this.job, this.ice);
      note.hidden = true;
      canvas.addEventListener("webglcontextlost", () => {
        const fresh = canvas.cloneNode();
        canvas.replaceWith(fresh);
        this.openFlat(fresh, note, "the graphics card stopped answering");
      });
    } else {
      this.openFlat(canvas, note, why);
    }
  }

  openFlat(canvas, note, why) {
    this.flat = true;
    this.view = new View2d(canvas, this.job, this.ice);
    this.camera.look("above");
    note.textContent = `Shown from above only: ${why}. Time, numbers and places are all there.`;
    note.hidden = false;
    note.classList.add("dr-note-stays");
    this.root.querySelector(".dr-head").append(note);
    this.root.classList.add("dr-flat");
    this.tell();
    this.redraw();
  }

  /** Call `heard` whenever something other than the camera changes. */
  listen(heard) {
    this.heard.push(heard);
  }

  tell() {
    this.heard.forEach((heard) => heard(this));
  }

  recolour() {
    this.colours = readColours(this.job.stages.length);
    this.ribbon.paint(this.colours);
    this.redraw();
  }

  resize() {
    const { clientWidth, clientHeight } = this.picture;
    if (!clientWidth || !clientHeight) return;
    this.camera.resize(clientWidth, clientHeight);
    this.ribbon.paint(this.colours);
    this.redraw();
  }

  /** Go to a moment. */
  toMoment(moment) {
    this.moment = moment;
    const stage = this.job.stages[moment.nth];
    this.ice.seek(stage.before + moment.n, moment.share);
    this.readout.show(moment);
    const line = moment.waiting ? "bit change" : `line ${stage.line[moment.n]}`;
    this.ribbon.show(moment.time, `${spokenTime(moment.time)}, stage ${moment.nth + 1}, ${line}`);
    this.tell();
    this.redraw();
  }

  toTime(seconds) {
    this.toMoment(momentAt(this.job, seconds));
  }

  by(seconds) {
    this.toTime(this.moment.time + seconds);
  }

  /** The begin of move n of a stage; its end if it is the last and n lies behind it. */
  toMove(nth, n) {
    const { count } = this.job.stages[nth];
    const time = timeOf(this.job, nth, Math.min(n, count));
    if (n < count) this.toMoment({ time, nth, n, share: 0, waiting: false });
    else this.toMoment({ time, nth, n: count - 1, share: 1, waiting: false });
  }

  /** One move on or back. */
  step(way) {
    const { nth, n, share, waiting } = this.moment;
    const { count } = this.job.stages[nth];
    if (way > 0) {
      if (waiting) this.toMove(nth, 0);
      else if (share < 1 || n + 1 < count) this.toMove(nth, n + 1);
      else if (nth + 1 < this.job.stages.length) this.toMove(nth + 1, 0);
    } else if (share > 0) this.toMove(nth, n);
    else if (n > 0) this.toMove(nth, n - 1);
    else if (nth > 0) this.toMove(nth - 1, this.job.stages[nth - 1].count - 1);
  }

  toStage(nth) {
    if (nth >= 0 && nth < this.job.stages.length) this.toTime(this.job.stages[nth].start);
  }

  /** A stage on; back to the begin of this one first. */
  byStage(way) {
    const { nth, time } = this.moment;
    const begun = time > this.job.stages[nth].start + 1;
    if (way > 0 && nth + 1 === this.job.stages.length) this.toTime(this.job.head.seconds);
    else this.toStage(Math.max(0, way < 0 && begun ? nth : nth + way));
  }

  /** The moment just after a line of a stage's file is done. */
  toLine(nth, line) {
    this.toMove(nth, firstAbove(this.job.stages[nth].line, line));
  }

  /** A line of a stage's file. */
  lineText(nth, line) {
    return lineText(this.job.stages[nth], line);
  }

  /** To the time of a mark, with its place in the picture. */
  toMark(mark) {
    this.chosen = mark;
    if (mark.kind === "left") this.show.left = true;
    if (mark.moment) this.toMoment(this.endOf(mark));
    else this.toTime(mark.time);
  }

  /** The moment at which the move of a mark is done. */
  endOf({ stage, move }) {
    const time = timeAfter(this.job, stage, move);
    return { time, nth: stage, n: move, share: 1, waiting: false };
  }

  deepest() {
    this.toMark(this.marks.find((mark) => mark.kind === "deepest"));
  }

  /** The stretch of greatest power of the whole job. */
  highest() {
    const most = this.job.stages.map((stage) => maximum(stage.power));
    const nth = most.indexOf(maximum(most));
    const mark = this.marks.find((one) => one.kind === "load" && one.stage === nth);
    if (mark) this.toMark(mark);
  }

  /** Next or last fault or warning in time. */
  warning(way) {
    const some = this.marks
      .filter((mark) => mark.kind === "warning" || mark.kind === "fault")
      .sort((a, b) => a.time - b.time);
    if (!some.length) return;
    const at = some.indexOf(this.chosen);
    const { time } = this.moment;
    const here = at >= 0 && Math.abs(this.chosen.time - time) < 1e-3;
    let next = some.findIndex((mark) => mark.time > time);
    if (way < 0) next = some.findLastIndex((mark) => mark.time < time);
    if (here) next = at + way;
    this.toMark(some[(next + some.length) % some.length]);
  }

  faster(way) {
    this.speed = Math.min(SPEEDS.length - 1, Math.max(0, this.speed + way));
    this.tell();
  }

  play() {
    this.playing = !this.playing;
    if (this.playing && this.moment.time >= this.job.head.seconds - 1e-3) this.toTime(0);
    this.frameAt = null;
    this.tell();
    this.redraw();
  }

  look(name) {
    if (this.flat && name !== "above") return;
    this.camera.look(name);
    this.redraw();
  }

  orbit(dx, dy) {
    if (this.flat) return;
    this.camera.orbit(dx, dy);
    this.redraw();
  }

  pan(dx, dy) {
    this.camera.pan(dx, dy);
    this.redraw();
  }

  zoom(factor) {
    this.camera.zoom(factor);
    this.redraw();
  }

  /** Cut the picture open along an axis; the same again closes it. */
  open(axis) {
    const { section } = this;
    section.on = !(section.on && section.axis === axis);
    if (section.axis !== axis) {
      const [x, y] = this.job.head.block;
      section.at = axis === "x" ? x / 2 : y / 2;
    }
    section.axis = axis;
    this.tell();
    this.redraw();
  }

  /** Slide the section by a fiftieth of the block. */
  slide(way) {
    const side = this.job.head.block[this.section.axis === "x" ? 0 : 1];
    this.section.at = Math.min(side, Math.max(0, this.section.at + (way * side) / 50));
    this.tell();
    this.redraw();
  }

  toggle(name) {
    if (name === "path") this.show.current = !this.show.current;
    else this.show[name] = !this.show[name];
    this.tell();
    this.redraw();
  }

  /** Draw soon; at rest once more in full detail. */
  redraw() {
    if (this.asked) return;
    this.asked = requestAnimationFrame((now) => {
      this.asked = 0;
      this.frame(now);
    });
  }

  frame(now) {
    const since = this.frameAt === null || this.frameAt === undefined ? 16 : now - this.frameAt;
    this.frameAt = now;
    this.turn++;
    if (this.playing) {
      const time = this.moment.time + Math.min(since, 250) / 1000 * SPEEDS[this.speed];
      this.toTime(time);
      if (time >= this.job.head.seconds) this.play();
    }
    if (since < 400) this.detail.frameTook(since);
    this.draw(DETAILS[this.detail.moving]);
    clearTimeout(this.resting);
    if (!this.playing) this.resting = setTimeout(() => this.rest(), REST_MS);
  }

  /** Nothing moves: draw finer and finer, as long as that does not take long. */
  rest(level = Math.max(0, this.detail.moving - 1)) {
    const begun = performance.now();
    this.frameAt = null;
    const turn = ++this.turn;
    this.draw(DETAILS[level]);
    this.view.whenDrawn(() => {
      const next = this.detail.finer(level, performance.now() - begun);
      if (turn === this.turn && next >= 0 && !this.playing) this.rest(next);
    });
  }

  draw(detail) {
    if (!this.view || !this.picture.clientWidth) return;
    this.drawn = detail;
    this.view.draw(this.camera, this.scene(), detail);
    this.drawOverlay();
  }

  /** What the views need to know of the moment. */
  scene() {
    const { moment, show, section, colours, job } = this;
    const stage = job.stages[moment.nth];
    const clock = stage.clock;
    const now = (moment.n ? clock[moment.n - 1] : 0) + 1;
    const before = Math.max(firstAbove(clock, now - NEAR_BEFORE_MS), moment.n - MOST_NEAR, 0);
    const ahead = firstAbove(clock, now + NEAR_AFTER_MS) + 1;
    const after = Math.min(ahead, moment.n + MOST_NEAR, stage.count);
    const paths = show.paths.map((on, nth) => on || (show.current && nth === moment.nth));
    return {
      moment,
      tip: tipAt(job, moment),
      show: { ...show, paths },
      section,
      colours: { paper: colours.paper, ink: colours.ink, stages: colours.stageParts },
      travel: [...colours.rapid, 0.75],
      near: { before, after: Math.max(after, moment.n) },
      looks: {
        cut: { cutting: [...colours.cut, 1], thick: 5 },
        next: { cutting: [...colours.next, 1], thick: 3.5, dash: 9 },
      },
    };
  }

  /** Marks and the name of the front over the picture. */
  drawOverlay() {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const { clientWidth: width, clientHeight: height } = this.overlay;
    this.overlay.width = Math.round(width * ratio);
    this.overlay.height = Math.round(height * ratio);
    const pen = this.overlay.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.font = `14px ${this.colours.font}`;
    pen.fillStyle = this.colours.quiet;
    pen.textAlign = "center";
    const [x, y] = this.job.head.block;
    if (this.camera.up > 0.15) pen.fillText("front", ...this.camera.project([x / 2, -0.06 * Math.max(x, y), 0]));
    if (this.show.marks) drawMarks(pen, this.marks, this.camera, this.colours, this.chosen);
  }

  /** Mark at a place of the picture. */
  markAt(px, py) {
    return this.show.marks ? markUnder(this.marks, this.camera, px, py) : null;
  }
}
