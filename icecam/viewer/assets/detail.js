/** How much detail the picture has: less when frames come late, all of it at rest. */

const LATE_MS = 45;
const EARLY_MS = 22;
const PATIENCE_MS = 350;

export class Detail {
  /** @param {number} levels how many there are; 0 is the finest */
  constructor(levels) {
    this.last = levels - 1;
    this.moving = 2;
    this.lates = 0;
    this.earlies = 0;
  }

  /** A frame came this long after the one before it, while things move. */
  frameTook(ms) {
    this.lates = ms > LATE_MS ? this.lates + 1 : 0;
    this.earlies = ms < EARLY_MS ? this.earlies + 1 : 0;
    if (this.lates >= 2 && this.moving < this.last) {
      this.moving++;
      this.lates = 0;
    } else if (this.earlies >= 90 && this.moving > 0) {
      this.moving--;
      this.earlies = 0;
    }
  }

  /**
   * Next finer level of a picture at rest, after one that took so long; -1 if that is enough.
   * Each level takes about four times as long as the one before it.
   */
  finer(level, ms) {
    return ms < PATIENCE_MS ? level - 1 : -1;
  }
}
