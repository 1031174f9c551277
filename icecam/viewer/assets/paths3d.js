/** Paths of the bit as lines: whole stages thin, what was just cut and comes next as bands. */
import { pointOf } from "./data.js";
import { buffer, program } from "./gl.js";
import { BAND_VERTEX, LINE_FRAGMENT, LINE_VERTEX } from "./shaders.js";

const MOST_LINES = 1_500_000;

export class Paths {
  constructor(gl, job) {
    this.gl = gl;
    this.job = job;
    this.line = program(gl, LINE_VERTEX, LINE_FRAGMENT);
    this.band = program(gl, BAND_VERTEX, LINE_FRAGMENT);
    this.buffers = new Map();
  }

  /** Points and kinds of a stage on the graphics card; made when first shown. */
  buffersOf(stage) {
    let made = this.buffers.get(stage.nth);
    if (made) return made;
    const points = new Float32Array(3 * (stage.count + 1));
    const kinds = new Float32Array(stage.count + 1);
    for (let n = 0; n <= stage.count; n++) points.set(pointOf(stage, n), 3 * n);
    let length = 0;
    for (let n = 0; n < stage.count; n++) {
      kinds[n + 1] = Math.min(stage.kindOf[n], 1);
      const [dx, dy] = [points[3 * n + 3] - points[3 * n], points[3 * n + 4] - points[3 * n + 1]];
      if (kinds[n + 1]) length += Math.sqrt(dx * dx + dy * dy);
    }
    const [x, y] = this.job.head.block;
    const spacing = (x * y) / Math.max(length, 1);
    made = { points: buffer(this.gl, points), kinds: buffer(this.gl, kinds), spacing };
    this.buffers.set(stage.nth, made);
    return made;
  }

  /** Bind one attribute from point n on. */
  feed(shader, name, held, size, n, divisor) {
    const { gl } = this;
    const at = gl.getAttribLocation(shader.made, name);
    gl.bindBuffer(gl.ARRAY_BUFFER, held);
    gl.enableVertexAttribArray(at);
    gl.vertexAttribPointer(at, size, gl.FLOAT, false, 0, n * size * 4);
    gl.vertexAttribDivisor(at, divisor);
    return at;
  }

  /** Set what lines and bands share. */
  use(shader, look, camera) {
    const { gl } = this;
    gl.useProgram(shader.made);
    gl.uniformMatrix4fv(shader.at.view, false, camera.matrix());
    gl.uniform4fv(shader.at.section, look.section);
    gl.uniform1f(shader.at.raise, look.raise ?? 0);
    gl.uniform4fv(shader.at.cutting, look.cutting);
    gl.uniform4fv(shader.at.travel, look.travel);
    gl.uniform1f(shader.at.dash, (look.dash ?? 0) * camera.scale);
    gl.uniform1f(shader.at.dots, 5 * camera.scale);
  }

  /** How much lines cover: less where they would lie so close that they hide the ice. */
  coverOf(stage, camera) {
    const apart = this.buffersOf(stage).spacing / camera.scale;
    return Math.min(0.5, Math.max(0.025, apart / 8));
  }

  /** Moves [from, to) of a stage as thin lines. */
  drawLines(stage, from, to, look, camera) {
    const { gl, line } = this;
    const count = Math.min(to - from, MOST_LINES);
    if (count < 1) return;
    const held = this.buffersOf(stage);
    this.use(line, look, camera);
    const used = [
      this.feed(line, "a", held.points, 3, to - count, 0),
      this.feed(line, "kind", held.kinds, 1, to - count, 0),
    ];
    gl.drawArrays(gl.LINE_STRIP, 0, count + 1);
    used.forEach((at) => gl.disableVertexAttribArray(at));
  }

  /** Moves [from, to) of a stage as bands some px wide. */
  drawBand(stage, from, to, look, camera) {
    const { gl, band } = this;
    if (to - from < 1) return;
    const held = this.buffersOf(stage);
    this.use(band, look, camera);
    gl.uniform2f(band.at.screen, gl.drawingBufferWidth, gl.drawingBufferHeight);
    gl.uniform1f(band.at.thick, look.thick);
    const used = [
      this.feed(band, "a", held.points, 3, from, 1),
      this.feed(band, "b", held.points, 3, from + 1, 1),
      this.feed(band, "kind", held.kinds, 1, from + 1, 1),
    ];
    gl.drawArraysInstanced(gl.TRIANGLES, 0, 6, to - from);
    used.forEach((at) => {
      gl.vertexAttribDivisor(at, 0);
      gl.disableVertexAttribArray(at);
    });
  }
}
