/** A camera without perspective: what is parallel stays parallel, lengths can be compared. */

const LOWEST = 0;
const HIGHEST = Math.PI / 2;

/** Directions of view: around the block and up, radians. */
const VIEWS = {
  corner: [-0.6, 0.75],
  above: [0, HIGHEST],
  front: [0, 0],
  right: [Math.PI / 2, 0],
  back: [Math.PI, 0],
  left: [-Math.PI / 2, 0],
};

export class Camera {
  /** @param {number[]} block size in mm */
  constructor(block) {
    this.block = block;
    this.size = [1, 1];
    this.range = 2 * Math.hypot(...block);
    this.look("corner");
  }

  /** Turn to one of the views and show the whole block. */
  look(name) {
    [this.around, this.up] = VIEWS[name];
    this.fit();
  }

  /** Show the whole block. */
  fit() {
    const [x, y, z] = this.block;
    this.target = [x / 2, y / 2, z / 2];
    const { right, up } = this.axes();
    const wide = Math.abs(right[0]) * x + Math.abs(right[1]) * y;
    const high = Math.abs(up[0]) * x + Math.abs(up[1]) * y + Math.abs(up[2]) * z;
    this.scale = Math.max(wide / this.size[0], high / this.size[1]) * 1.18;
    this.widest = 2 * this.scale;
  }

  /** Room for the picture, px. Keeps what fills it. */
  resize(width, height) {
    const whole = Math.abs(this.scale * 2 - this.widest) < 1e-9;
    const share = this.size[0] / width;
    this.size = [width, height];
    if (whole) this.fit();
    else this.scale *= share;
  }

  /** Unit vectors of the picture: to the right, up, towards the eye. */
  axes() {
    const [s, c] = [Math.sin(this.around), Math.cos(this.around)];
    const [se, ce] = [Math.sin(this.up), Math.cos(this.up)];
    return { right: [c, s, 0], up: [-s * se, c * se, ce], eye: [s * ce, -c * ce, se] };
  }

  orbit(dx, dy) {
    this.around -= dx;
    this.up = Math.min(HIGHEST, Math.max(LOWEST, this.up + dy));
  }

  /** Move the picture by px. */
  pan(dx, dy) {
    const { right, up } = this.axes();
    for (let k = 0; k < 3; k++) {
      this.target[k] += (-dx * right[k] + dy * up[k]) * this.scale;
      this.target[k] = Math.min(Math.max(this.target[k], -this.block[k]), 2 * this.block[k]);
    }
  }

  /** Magnify about a place of the picture, px from its middle to the right and up. */
  zoom(factor, x = 0, y = 0) {
    const before = this.scale;
    this.scale = Math.min(this.widest, Math.max(0.005, before / factor));
    const moved = before - this.scale;
    const { right, up } = this.axes();
    for (let k = 0; k < 3; k++) this.target[k] += (x * right[k] + y * up[k]) * moved;
  }

  /** Column-major matrix from mm to the picture, -1 to 1. */
  matrix() {
    const { right, up, eye } = this.axes();
    const [w, h] = this.size;
    const rows = [
      [right, 2 / (w * this.scale)],
      [up, 2 / (h * this.scale)],
      [eye, -1 / this.range],
    ];
    const m = new Float32Array(16);
    rows.forEach(([axis, by], row) => {
      for (let k = 0; k < 3; k++) m[4 * k + row] = axis[k] * by;
      m[12 + row] = -by * axis.reduce((sum, value, k) => sum + value * this.target[k], 0);
    });
    m[15] = 1;
    return m;
  }

  /** Place of a point in the picture, px from the upper left corner. */
  project(point) {
    const { right, up } = this.axes();
    let x = 0;
    let y = 0;
    for (let k = 0; k < 3; k++) {
      const off = point[k] - this.target[k];
      x += off * right[k];
      y += off * up[k];
    }
    return [this.size[0] / 2 + x / this.scale, this.size[1] / 2 - y / this.scale];
  }

  /** Line of sight through a place of the picture: a point far in front, direction away. */
  ray(px, py) {
    const { right, up, eye } = this.axes();
    const x = (px - this.size[0] / 2) * this.scale;
    const y = (this.size[1] / 2 - py) * this.scale;
    const from = this.target.map(
      (value, k) => value + x * right[k] + y * up[k] + this.range * eye[k],
    );
    return { from, way: eye.map((value) => -value) };
  }
}
