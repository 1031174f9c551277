/** The block, the bit and the paths in three dimensions. */
import { bodyOf, outlineOf } from "./bit.js";
import { buffer, fieldTexture, program, sendBox } from "./gl.js";
import { Paths } from "./paths3d.js";
import {
  BED_FRAGMENT,
  BED_VERTEX,
  ICE_FRAGMENT,
  ICE_VERTEX,
  SOLID_FRAGMENT,
  SOLID_VERTEX,
  WALL_FRAGMENT,
  WALL_VERTEX,
} from "./shaders.js";

const HEIGHTS = 0;
const WANTED = 1;
const STEEP = 1.15;
const SEEN_THROUGH = 0.3;

/** How much is drawn: every so many-th cell, fine shading, share of the screen's pixels. */
export const DETAILS = [
  { stride: 1, fine: true, pixels: 1 },
  { stride: 2, fine: true, pixels: 1 },
  { stride: 2, fine: false, pixels: 1 },
  { stride: 4, fine: false, pixels: 0.7 },
  { stride: 8, fine: false, pixels: 0.5 },
];

export class View3d {
  constructor(gl, canvas, job, ice) {
    this.gl = gl;
    this.canvas = canvas;
    this.job = job;
    this.ice = ice;
    this.surface = program(gl, ICE_VERTEX, ICE_FRAGMENT);
    this.wall = program(gl, WALL_VERTEX, WALL_FRAGMENT);
    this.bed = program(gl, BED_VERTEX, BED_FRAGMENT);
    this.solid = program(gl, SOLID_VERTEX, SOLID_FRAGMENT);
    this.paths = new Paths(gl, job);
    const rows = ice.heights.length / ice.width;
    this.texture = fieldTexture(gl, HEIGHTS, ice.width, rows, ice.heights);
    fieldTexture(gl, WANTED, ice.nx, ice.ny, this.wantedField());
    ice.clean();
    this.bits = new Map();
    this.empty = gl.createVertexArray();
    this.full = gl.createVertexArray();
  }

  /** Sculpture a cell plus one, 0 beside it, below zero where no bit brings the ice near it. */
  wantedField() {
    const { wanted, unreached, head } = this.job;
    const field = new Float32Array(wanted.length);
    for (let n = 0; n < wanted.length; n++) {
      if (wanted[n] === 0) continue;
      const value = (wanted[n] - 1) * head.wanted_step + 1;
      field[n] = (unreached[n >> 3] >> (n & 7)) & 1 ? -value : value;
    }
    return field;
  }

  /** Send what has changed in the ice. */
  update() {
    const { dirty } = this.ice;
    if (dirty.i1 < 0) return;
    sendBox(this.gl, HEIGHTS, this.texture, this.ice.width, this.ice.heights, dirty);
    this.ice.clean();
  }

  /** Fit the drawing to the room it has. */
  fit(pixels) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2) * pixels;
    const width = Math.max(1, Math.round(this.canvas.clientWidth * ratio));
    const height = Math.max(1, Math.round(this.canvas.clientHeight * ratio));
    if (this.canvas.width !== width || this.canvas.height !== height) {
      this.canvas.width = width;
      this.canvas.height = height;
    }
    this.ratio = ratio;
  }

  /**
   * Draw.
   * @param {import("./camera.js").Camera} camera
   * @param {object} scene moment, what is shown, colours
   * @param {{stride: number, fine: boolean, pixels: number}} detail
   */
  draw(camera, scene, detail) {
    const { gl } = this;
    this.update();
    this.fit(detail.pixels);
    gl.viewport(0, 0, this.canvas.width, this.canvas.height);
    const [r, g, b] = scene.colours.paper;
    gl.clearColor(r, g, b, 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.depthFunc(gl.LEQUAL);
    gl.disable(gl.BLEND);
    gl.bindVertexArray(this.empty);
    const shared = this.sharedOf(camera, scene, detail);
    this.drawBed(shared, scene);
    this.drawIce(shared, camera, detail);
    this.drawWalls(shared, scene);
    gl.bindVertexArray(this.full);
    if (scene.show.bit) this.drawBit(shared, scene, camera.up > STEEP ? SEEN_THROUGH : 1);
    this.drawPaths(camera, scene, shared);
  }

  /** Call `done` when the graphics card has drawn what it was given. */
  whenDrawn(done) {
    const { gl } = this;
    const fence = gl.fenceSync(gl.SYNC_GPU_COMMANDS_COMPLETE, 0);
    gl.flush();
    const look = () => {
      if (gl.isContextLost()) return;
      if (gl.getSyncParameter(fence, gl.SYNC_STATUS) !== gl.SIGNALED) {
        setTimeout(look, 8);
        return;
      }
      gl.deleteSync(fence);
      done();
    };
    setTimeout(look, 0);
  }

  /** Uniforms that all programs of the ice take. */
  sharedOf(camera, scene, detail) {
    const { eye, right, up } = camera.axes();
    const light = [0, 1, 2].map((k) => -0.6 * right[k] + 0.1 * up[k] + 0.5 * eye[k]);
    light[2] = Math.max(light[2], 0.25) + 0.3;
    const long = Math.hypot(...light);
    return {
      view: camera.matrix(),
      eye,
      light: light.map((value) => value / long),
      section: sectionOf(scene.section, eye),
      layer: scene.show.left,
      fine: detail.fine,
    };
  }

  /** Hand them to a program. */
  use(shader, shared) {
    const { gl, ice } = this;
    const { at } = shader;
    gl.useProgram(shader.made);
    gl.uniform1i(at.heights, HEIGHTS);
    gl.uniform1i(at.wanted, WANTED);
    gl.uniformMatrix4fv(at.view, false, shared.view);
    gl.uniform3f(at.grid, ice.x0, ice.y0, ice.pitch);
    gl.uniform2i(at.size, ice.nx, ice.ny);
    gl.uniform3fv(at.block, this.job.head.block);
    gl.uniform3fv(at.eye, shared.eye);
    gl.uniform3fv(at.light, shared.light);
    gl.uniform4fv(at.section, shared.section);
    gl.uniform1f(at.detail, this.job.head.detail);
    gl.uniform1i(at.layer, shared.layer ? 1 : 0);
    gl.uniform1i(at.fine, shared.fine ? 1 : 0);
  }

  drawBed(shared, scene) {
    const { gl, bed } = this;
    this.use(bed, shared);
    gl.uniform3fv(bed.at.paper, scene.colours.paper);
    gl.uniform3fv(bed.at.ink, scene.colours.ink);
    gl.uniform1f(bed.at.spacing, Math.max(...this.job.head.block) > 400 ? 100 : 20);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }

  drawIce(shared, camera, detail) {
    const { gl, surface, ice } = this;
    this.use(surface, shared);
    const pixel = Math.floor(camera.scale / this.ratio / ice.pitch);
    const stride = Math.min(16, Math.max(detail.stride, pixel));
    gl.uniform1i(surface.at.stride, stride);
    gl.enable(gl.POLYGON_OFFSET_FILL);
    gl.polygonOffset(1, 1);
    const columns = Math.ceil((ice.nx - 1) / stride) + 1;
    const rows = Math.ceil((ice.ny - 1) / stride);
    gl.drawArraysInstanced(gl.TRIANGLE_STRIP, 0, 2 * columns, rows);
    gl.disable(gl.POLYGON_OFFSET_FILL);
  }

  /** The four sides, and the section if there is one. */
  drawWalls(shared, scene) {
    const { gl, wall } = this;
    const [x, y] = this.job.head.block;
    this.use(wall, shared);
    gl.uniform1i(wall.at.inside, 0);
    const side = (ends, normal) => {
      gl.uniform4fv(wall.at.ends, ends);
      gl.uniform3fv(wall.at.normal, normal);
      gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
    };
    side([0, 0, x, 0], [0, -1, 0]);
    side([0, y, x, y], [0, 1, 0]);
    side([0, 0, 0, y], [-1, 0, 0]);
    side([x, 0, x, y], [1, 0, 0]);
    if (!scene.section.on) return;
    gl.uniform1i(wall.at.inside, 1);
    const where = scene.section.at;
    side(scene.section.axis === "x" ? [where, 0, where, y] : [0, where, x, where], [0, 0, 1]);
  }

  /** The bit; from above it is seen through, or the nut would hide the cut. */
  drawBit(shared, scene, alpha) {
    const { gl, solid } = this;
    const stage = this.job.stages[scene.moment.nth];
    let body = this.bits.get(stage.nth);
    if (!body) {
      const corners = bodyOf(outlineOf(stage));
      body = { held: buffer(gl, corners), count: corners.length / 7 };
      this.bits.set(stage.nth, body);
    }
    gl.useProgram(solid.made);
    gl.uniformMatrix4fv(solid.at.view, false, shared.view);
    gl.uniform3fv(solid.at.light, shared.light);
    gl.uniform3fv(solid.at.eye, shared.eye);
    gl.uniform3fv(solid.at.tip, scene.tip);
    gl.uniform1f(solid.at.alpha, alpha);
    if (alpha < 1) gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(alpha === 1);
    gl.bindBuffer(gl.ARRAY_BUFFER, body.held);
    const used = [["place", 3, 0], ["normal", 3, 12], ["shade", 1, 24]].map(([name, size, at]) => {
      const place = gl.getAttribLocation(solid.made, name);
      gl.enableVertexAttribArray(place);
      gl.vertexAttribPointer(place, size, gl.FLOAT, false, 28, at);
      return place;
    });
    gl.drawArrays(gl.TRIANGLES, 0, body.count);
    gl.disable(gl.BLEND);
    gl.depthMask(true);
    used.forEach((place) => gl.disableVertexAttribArray(place));
  }

  /** Whole stages thin; just cut and next as bands, which nothing hides. */
  drawPaths(camera, scene, { section }) {
    const { gl, paths } = this;
    const common = { travel: scene.travel, section };
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.SRC_ALPHA, gl.ONE_MINUS_SRC_ALPHA);
    gl.depthMask(false);
    for (const stage of this.job.stages) {
      if (!scene.show.paths[stage.nth]) continue;
      const cover = paths.coverOf(stage, camera);
      const cutting = [...scene.colours.stages[stage.nth], cover];
      const travel = [...scene.travel.slice(0, 3), Math.max(cover, 0.15)];
      const look = { section, cutting, travel, raise: 0.1 };
      paths.drawLines(stage, 0, stage.count, look, camera);
    }
    const { nth, n } = scene.moment;
    if (scene.show.near) {
      const stage = this.job.stages[nth];
      const { before, after } = scene.near;
      gl.disable(gl.DEPTH_TEST);
      paths.drawBand(stage, n, after, { ...common, ...scene.looks.next }, camera);
      gl.enable(gl.DEPTH_TEST);
      const cut = { ...common, ...scene.looks.cut, raise: 2 * camera.scale };
      paths.drawBand(stage, before, n + 1, cut, camera);
    }
    gl.depthMask(true);
    gl.disable(gl.BLEND);
  }
}

/** The section as the shaders take it: what is nearer to the eye than the plane goes. */
export function sectionOf(section, eye) {
  if (!section.on) return [0, 0, 0, 0];
  const k = section.axis === "x" ? 0 : 1;
  const side = eye[k] >= 0 ? 1 : -1;
  const axis = [0, 0];
  axis[k] = side;
  return [...axis, side * section.at, 1];
}
