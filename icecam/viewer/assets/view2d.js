/** The block from above, shaded, for machines that cannot draw it in three dimensions. */
import { pointOf } from "./data.js";

const MOST_ACROSS = 900;

export class View2d {
  constructor(canvas, job, ice) {
    this.canvas = canvas;
    this.job = job;
    this.ice = ice;
    this.every = Math.max(1, Math.ceil(Math.max(ice.nx, ice.ny) / MOST_ACROSS));
    this.across = Math.floor(ice.nx / this.every);
    this.down = Math.floor(ice.ny / this.every);
    this.small = document.createElement("canvas");
    this.small.width = this.across;
    this.small.height = this.down;
  }

  /** Draw the ice, the paths near the moment and the bit as a circle. */
  draw(camera, scene) {
    const ratio = Math.min(window.devicePixelRatio || 1, 2);
    const { clientWidth: width, clientHeight: height } = this.canvas;
    this.canvas.width = Math.round(width * ratio);
    this.canvas.height = Math.round(height * ratio);
    const pen = this.canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    const [r, g, b] = scene.colours.paper.map((value) => Math.round(255 * value));
    pen.fillStyle = `rgb(${r} ${g} ${b})`;
    pen.fillRect(0, 0, width, height);
    this.shade(scene);
    const [x0, y1] = camera.project([0, this.job.head.block[1], 0]);
    const [x1, y0] = camera.project([this.job.head.block[0], 0, 0]);
    pen.drawImage(this.small, x0, y1, x1 - x0, y0 - y1);
    this.ice.clean();
    this.drawPaths(pen, camera, scene);
    if (scene.show.bit) this.drawBit(pen, camera, scene);
  }

  /** Drawn at once and in full. */
  whenDrawn() {}

  /** Light from the upper left, high ice pale; ice left on the sculpture tinted. */
  shade(scene) {
    const { ice, every, across, down } = this;
    const pen = this.small.getContext("2d");
    const image = pen.createImageData(across, down);
    const top = this.job.head.block[2];
    for (let row = 0; row < down; row++) {
      const j = (down - 1 - row) * every;
      for (let column = 0; column < across; column++) {
        const i = column * every;
        const z = ice.heights[j * ice.width + i];
        const dx = ice.heights[j * ice.width + Math.min(i + 1, ice.nx - 1)] - z;
        const dy = ice.heights[Math.min(j + 1, ice.ny - 1) * ice.width + i] - z;
        const steep = Math.hypot(dx, dy, ice.pitch);
        const lit = (0.5 * dx - 0.5 * dy + 0.7 * ice.pitch) / steep;
        const light = (0.3 + 0.7 * Math.max(lit, 0)) * (0.68 + (0.32 * z) / top);
        this.tint(image.data, 4 * (row * across + column), light, scene, { i, j, z });
      }
    }
    pen.putImageData(image, 0, 0);
  }

  /** One pixel. */
  tint(data, at, light, scene, { i, j, z }) {
    let [r, g, b] = [235 * light + 4, 246 * light + 22, 244 * light + 38];
    const goal = scene.show.left ? this.ice.wantedAt({ i, j }) : null;
    if (goal !== null && z - goal > 2 * this.job.head.detail) {
      const n = j * this.ice.nx + i;
      const hand = (this.job.unreached[n >> 3] >> (n & 7)) & 1;
      [r, g, b] = hand ? [115, 51, 128] : [0.4 * r + 142, 0.4 * g + 95, 0.4 * b + 25];
    }
    data[at] = r;
    data[at + 1] = g;
    data[at + 2] = b;
    data[at + 3] = 255;
  }

  /** Just cut whole, next dashed, rapids dotted. */
  drawPaths(pen, camera, scene) {
    if (!scene.show.near) return;
    const stage = this.job.stages[scene.moment.nth];
    const { before, after } = scene.near;
    for (let n = before; n < after; n++) {
      const rapid = stage.kindOf[n] === 0;
      const look = n <= scene.moment.n ? scene.looks.cut : scene.looks.next;
      const [r, g, b] = look.cutting.map((value) => Math.round(255 * value));
      pen.strokeStyle = `rgb(${r} ${g} ${b})`;
      pen.lineWidth = rapid ? 1 : 2.5;
      pen.setLineDash(rapid ? [1, 4] : n <= scene.moment.n ? [] : [6, 4]);
      pen.beginPath();
      pen.moveTo(...camera.project(pointOf(stage, n)));
      pen.lineTo(...camera.project(pointOf(stage, n + 1)));
      pen.stroke();
    }
    pen.setLineDash([]);
  }

  /** Its width where it cuts. */
  drawBit(pen, camera, scene) {
    const stage = this.job.stages[scene.moment.nth];
    const [x, y] = camera.project(scene.tip);
    pen.strokeStyle = "#10212b";
    pen.lineWidth = 2;
    pen.beginPath();
    pen.arc(x, y, Math.max(4, stage.profile.radius / camera.scale), 0, 2 * Math.PI);
    pen.stroke();
    pen.beginPath();
    pen.arc(x, y, 2.5, 0, 2 * Math.PI);
    pen.fillStyle = "#10212b";
    pen.fill();
  }
}
