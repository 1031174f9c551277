/** The block at any moment: a key frame, and the moves since it. */
import { pointOf } from "./data.js";
import { leftAt, sweep, wayOf } from "./sweep.js";

/** First n with values[n] > wanted, among the first `count`. */
export function firstAbove(values, wanted, count = values.length) {
  let low = 0;
  let high = count;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (values[middle] > wanted) high = middle;
    else low = middle + 1;
  }
  return low;
}

const TAKES = 1;
/** Both ends of the move in hand; made once, for there are millions. */
const moveBegin = [0, 0, 0];
const moveEnd = [0, 0, 0];

export class Ice {
  constructor(job) {
    const { grid, tile, across, step } = job.head;
    this.job = job;
    this.x0 = grid.x0;
    this.y0 = grid.y0;
    this.pitch = grid.pitch;
    this.nx = grid.nx;
    this.ny = grid.ny;
    this.tile = tile;
    this.across = across;
    this.step = step;
    this.width = across * tile;
    this.down = Math.ceil(grid.ny / tile);
    this.heights = new Float32Array(this.width * this.down * tile);
    this.readVersions();
    const tiles = across * this.down;
    this.shown = new Int32Array(tiles).fill(-1);
    this.touched = new Uint8Array(tiles);
    this.tops = new Float32Array(tiles);
    this.frame = -1;
    this.move = 0;
    this.share = 0;
    this.clean();
  }

  /** Undo the differences: absolute steps of every version of every tile, by tile. */
  readVersions() {
    const { frames } = this.job;
    const count = frames.tiles.length;
    const cells = this.tile * this.tile;
    this.lost = new Uint16Array(cells);
    const tiles = this.across * this.down;
    this.pool = new Uint16Array(count * cells);
    this.poolTop = new Uint16Array(count);
    this.frameOf = new Int32Array(count);
    const full = Math.round(this.job.head.block[2] / this.step);
    const last = new Int32Array(tiles).fill(-1);
    this.begin = new Int32Array(tiles + 1);
    let frame = 0;
    let until = frames.counts[0];
    for (let v = 0; v < count; v++) {
      while (v >= until) until += frames.counts[++frame];
      this.frameOf[v] = frame;
      const t = frames.tiles[v];
      this.begin[t + 1]++;
      this.poolTop[v] = this.readTile(v, last[t], full);
      last[t] = v;
    }
    for (let t = 0; t < tiles; t++) this.begin[t + 1] += this.begin[t];
    this.versions = new Int32Array(count);
    const next = this.begin.slice();
    for (let v = 0; v < count; v++) this.versions[next[frames.tiles[v]]++] = v;
  }

  /**
   * One version of a tile from the one before it (-1: the full block): the sums of what is stored,
   * along rows and then across them, are what each cell lost. Returns the highest step left.
   */
  readTile(v, before, full) {
    const { tile, pool } = this;
    const { low, high } = this.job.frames;
    const cells = tile * tile;
    const to = v * cells;
    const from = before * cells;
    let top = 0;
    for (let c = 0; c < cells; c += tile) {
      let along = 0;
      for (let i = 0; i < tile; i++) {
        const folded = low[to + c + i] | (high[to + c + i] << 8);
        along += (folded >>> 1) ^ -(folded & 1);
        this.lost[c + i] = along + (c ? this.lost[c + i - tile] : 0);
        const now = (before < 0 ? full : pool[from + c + i]) - this.lost[c + i];
        pool[to + c + i] = now;
        if (now > top) top = now;
      }
    }
    return top;
  }

  /** Forget what has changed since the picture was last brought up to date. */
  clean() {
    this.dirty = { i0: Infinity, j0: Infinity, i1: -1, j1: -1 };
  }

  /** Note that cells i0 to i1 of a row have changed. */
  touchRow(j, i0, i1) {
    const row = Math.floor(j / this.tile) * this.across;
    const last = row + Math.floor(i1 / this.tile);
    for (let t = row + Math.floor(i0 / this.tile); t <= last; t++) this.touched[t] = 1;
    const dirty = this.dirty;
    if (i0 < dirty.i0) dirty.i0 = i0;
    if (i1 > dirty.i1) dirty.i1 = i1;
    if (j < dirty.j0) dirty.j0 = j;
    if (j > dirty.j1) dirty.j1 = j;
  }

  /** No ice stands higher within `reach` of the move's box. */
  highestNear(a, b, reach) {
    const side = this.tile * this.pitch;
    const west = this.x0 - this.pitch / 2;
    const south = this.y0 - this.pitch / 2;
    const i0 = Math.max(0, Math.floor((Math.min(a[0], b[0]) - reach - west) / side));
    const i1 = Math.min(this.across - 1, Math.floor((Math.max(a[0], b[0]) + reach - west) / side));
    const j0 = Math.max(0, Math.floor((Math.min(a[1], b[1]) - reach - south) / side));
    const j1 = Math.min(this.down - 1, Math.floor((Math.max(a[1], b[1]) + reach - south) / side));
    let top = -Infinity;
    for (let j = j0; j <= j1; j++) {
      for (let i = i0; i <= i1; i++) top = Math.max(top, this.tops[j * this.across + i]);
    }
    return top;
  }

  /** Stage that a move of the whole job belongs to. */
  stageOf(move) {
    const { stages } = this.job;
    let nth = stages.length - 1;
    while (nth > 0 && stages[nth].before > move) nth--;
    return stages[nth];
  }

  /**
   * Bring the block to the moment at which `move` (of the whole job) is done to `share`.
   * @param {number} move
   * @param {number} share from 0 to 1
   */
  seek(move, share) {
    const frame = firstAbove(this.job.frames.moves, move) - 1;
    const onwards = this.move < move || (this.move === move && this.share <= share);
    if (frame !== this.frame || !onwards) this.load(frame);
    for (let n = this.move; n < move; n++) this.cut(n, 1);
    if (share > 0 && move < this.job.moves) this.cut(move, share);
    this.move = move;
    this.share = share;
  }

  /** Carve by a move of the whole job, as far as it is done. */
  cut(move, share) {
    const stage = this.stageOf(move);
    const n = move - stage.before;
    if (stage.kindOf[n] !== TAKES) return;
    pointOf(stage, n, moveBegin);
    pointOf(stage, n + 1, moveEnd);
    const end = share < 1 ? partOf(moveBegin, moveEnd, share) : moveEnd;
    sweep(this, stage.profile, moveBegin, end);
  }

  /** Copy a key frame: only tiles that differ from what is shown. */
  load(frame) {
    const { tile, across, width, step, pool } = this;
    const cells = tile * tile;
    for (let t = 0; t < this.shown.length; t++) {
      const version = this.versionOf(t, frame);
      if (version === this.shown[t] && !this.touched[t]) continue;
      const i0 = (t % across) * tile;
      const j0 = Math.floor(t / across) * tile;
      let from = version * cells;
      for (let j = j0; j < j0 + tile; j++) {
        const to = j * width + i0;
        for (let i = 0; i < tile; i++) this.heights[to + i] = pool[from++] * step;
      }
      this.touchRow(j0, i0, i0 + tile - 1);
      this.touchRow(j0 + tile - 1, i0, i0 + tile - 1);
      this.shown[t] = version;
      this.touched[t] = 0;
      this.tops[t] = this.poolTop[version] * step;
    }
    this.frame = frame;
    this.move = this.job.frames.moves[frame];
    this.share = 0;
  }

  /** Version of a tile at a key frame: the last one not younger. */
  versionOf(t, frame) {
    let low = this.begin[t];
    let high = this.begin[t + 1];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (this.frameOf[this.versions[middle]] <= frame) low = middle;
      else high = middle;
    }
    return this.versions[low];
  }

  /** Cell over which a place lies, or null beside the block. */
  cellAt(x, y) {
    const i = Math.round((x - this.x0) / this.pitch);
    const j = Math.round((y - this.y0) / this.pitch);
    if (i < 0 || j < 0 || i >= this.nx || j >= this.ny) return null;
    return { i, j, at: j * this.width + i };
  }

  /** Height at a place, mm; 0 beside the block. */
  heightAt(x, y) {
    const cell = this.cellAt(x, y);
    return cell ? this.heights[cell.at] : 0;
  }

  /** Sculpture at a cell, mm; null beside it. */
  wantedAt(cell) {
    const steps = this.job.wanted[cell.j * this.nx + cell.i];
    return steps > 0 ? (steps - 1) * this.job.head.wanted_step : null;
  }

  /**
   * Last move of the whole job, before the moment shown, that lowered a cell; -1 for none.
   * @param {{i: number, j: number}} cell
   */
  lastCut(cell) {
    const { moves } = this.job.frames;
    const found = this.lastLowering(cell, moves[this.frame], this.move, this.share);
    if (found >= 0) return found;
    const t = Math.floor(cell.j / this.tile) * this.across + Math.floor(cell.i / this.tile);
    const inTile = (cell.j % this.tile) * this.tile + (cell.i % this.tile);
    const cells = this.tile * this.tile;
    const last = this.versionOf(t, this.frame);
    let v = this.begin[t];
    while (this.versions[v] !== last) v++;
    for (; v > this.begin[t]; v--) {
      const now = this.pool[this.versions[v] * cells + inTile];
      const before = this.pool[this.versions[v - 1] * cells + inTile];
      const frame = this.frameOf[this.versions[v]];
      if (now < before) {
        return this.lastLowering(cell, moves[frame - 1], moves[frame], 0, before * this.step);
      }
    }
    return -1;
  }

  /** Last of some moves to lower a cell that stood `height` high before them; -1 for none. */
  lastLowering(cell, from, to, share, height = null) {
    const x = this.x0 + cell.i * this.pitch;
    const y = this.y0 + cell.j * this.pitch;
    let now = height ?? this.frameHeight(cell);
    let found = -1;
    for (let move = from; move < to + (share > 0 ? 1 : 0) && move < this.job.moves; move++) {
      const stage = this.stageOf(move);
      const n = move - stage.before;
      if (stage.kindOf[n] !== TAKES) continue;
      const a = pointOf(stage, n);
      const b = partOf(a, pointOf(stage, n + 1), move === to ? share : 1);
      const left = leftAt(stage.profile, a, wayOf(a, b), x, y);
      if (left < now - this.step / 2) {
        now = left;
        found = move;
      }
    }
    return found;
  }

  /** Height of a cell at the key frame below the moment shown. */
  frameHeight(cell) {
    const t = Math.floor(cell.j / this.tile) * this.across + Math.floor(cell.i / this.tile);
    const inTile = (cell.j % this.tile) * this.tile + (cell.i % this.tile);
    return this.pool[this.versionOf(t, this.frame) * this.tile * this.tile + inTile] * this.step;
  }
}

/** Point on the way from a to b. */
export function partOf(a, b, share) {
  if (share >= 1) return b;
  return a.map((value, axis) => value + (b[axis] - value) * share);
}
