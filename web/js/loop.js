// One requestAnimationFrame loop for the whole page. Panels mark themselves dirty;
// nothing is drawn in a hidden tab.

/** @typedef {{draw(nowMs: number): boolean|void}} Drawable draw returns true to be drawn again next frame */

const KEPT = 600;

export class FrameLoop {
  constructor() {
    /** @type {Map<Drawable, boolean>} */
    this.panels = new Map();
    this.requested = false;
    this.frames = 0;
    this.costs = new Float64Array(KEPT);
    this.intervals = new Float64Array(KEPT);
    this.last = 0;
    /** @param {number} now */
    this.tick = (now) => this.#tick(now);
    document.addEventListener("visibilitychange", () => {
      this.last = 0;
      if (!document.hidden) this.#request();
    });
  }

  /** @param {Drawable} panel */
  add(panel) {
    this.panels.set(panel, true);
    this.#request();
  }

  /** @param {Drawable} panel */
  remove(panel) {
    this.panels.delete(panel);
  }

  /** @param {Drawable} panel */
  dirty(panel) {
    if (this.panels.has(panel)) this.panels.set(panel, true);
    this.#request();
  }

  allDirty() {
    for (const p of this.panels.keys()) this.panels.set(p, true);
    this.#request();
  }

  #request() {
    if (this.requested || document.hidden) return;
    this.requested = true;
    requestAnimationFrame(this.tick);
  }

  /** @param {number} now */
  #tick(now) {
    this.requested = false;
    if (document.hidden) return;
    const begun = performance.now();
    let again = false;
    for (const [panel, dirty] of this.panels) {
      if (!dirty) continue;
      const more = panel.draw(now) === true;
      this.panels.set(panel, more);
      again = again || more;
    }
    const slot = this.frames % KEPT;
    this.costs[slot] = performance.now() - begun;
    this.intervals[slot] = this.last ? now - this.last : NaN;
    this.last = now;
    this.frames++;
    if (again) this.#request();
  }

  /** Paint cost and frame spacing over the last ten seconds or so, milliseconds. */
  stats() {
    const n = Math.min(this.frames, KEPT);
    const costs = Array.from(this.costs.subarray(0, n)).sort((a, b) => a - b);
    const intervals = Array.from(this.intervals.subarray(0, n)).filter((x) => x > 0).sort((a, b) => a - b);
    return { frames: this.frames, paintMedianMs: quantile(costs, 0.5), paintP99Ms: quantile(costs, 0.99), intervalMedianMs: quantile(intervals, 0.5), intervalP99Ms: quantile(intervals, 0.99) };
  }
}

/**
 * @param {number[]} sorted
 * @param {number} q
 */
export function quantile(sorted, q) {
  return sorted.length === 0 ? NaN : sorted[Math.min(sorted.length - 1, Math.floor(q * sorted.length))];
}
