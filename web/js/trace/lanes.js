// The vertical scales of the traces: automatic or a fixed span about a middle.

import { AutoRange, nextStep, niceStep } from "../scales.js";

/** @import {Probe} from "../types.js" */

/** Time constant of the glide to a new automatic range. */
const GLIDE_SECONDS = 0.12;
/** A channel with a known step is never magnified beyond so many counts. */
const LEAST_STEPS = 8;

/** One trace's scale. Lanes may lie above each other or share one place. */
export class Lane {
  /**
   * @param {Probe} probe
   * @param {string} unit
   * @param {number} stepVolts one count, 0 when unknown
   */
  constructor(probe, unit, stepVolts) {
    this.probe = probe;
    this.unit = unit;
    this.auto = new AutoRange({ least: stepVolts > 0 ? LEAST_STEPS * stepVolts : unit === "counts" ? LEAST_STEPS : 1e-6 });
    /** Fixed span in units, 0 for automatic. */
    this.span = 0;
    this.middle = 0;
    /** A span that true millimetres ask for, about the middle of what is seen; 0 for none. */
    this.trueSpan = 0;
    /** What is drawn now. */
    this.low = NaN;
    this.high = NaN;
    /** Extent of what was drawn last. */
    this.seenLow = Infinity;
    this.seenHigh = -Infinity;
    // Where it lies, CSS pixels.
    this.top = 0;
    this.height = 0;
  }

  /** @param {number} span 0 for automatic */
  setSpan(span) {
    if (span > 0) {
      if (Number.isFinite(this.low)) this.middle = this.seenLow <= this.seenHigh ? (this.seenLow + this.seenHigh) / 2 : (this.low + this.high) / 2;
      this.span = span;
    } else {
      this.span = 0;
      this.auto.reset();
    }
  }

  /**
   * The next span in 1-2-5 steps from what is shown now.
   * @param {1|-1} direction
   */
  stepSpan(direction) {
    const now = this.span > 0 ? this.span : Number.isFinite(this.low) ? this.high - this.low : 1;
    this.setSpan(this.span > 0 ? nextStep(now, direction) : direction > 0 ? niceStep(now) : nextStep(now, -1));
  }

  /**
   * Moves a fixed middle by a share of the span.
   * @param {number} share
   */
  shift(share) {
    if (!(this.span > 0)) this.setSpan(niceStep(this.high - this.low));
    this.middle += share * this.span;
  }

  /**
   * Takes the extent of the last drawing and moves the range drawn.
   * @param {number} elapsedSeconds
   * @param {boolean} jump no gliding
   * @returns {boolean} whether the range moved
   */
  settle(elapsedSeconds, jump) {
    let low;
    let high;
    if (this.span > 0) {
      low = this.middle - this.span / 2;
      high = this.middle + this.span / 2;
    } else {
      this.auto.update(this.seenLow, this.seenHigh);
      low = this.auto.low;
      high = this.auto.high;
      if (this.trueSpan > 0) {
        const middle = (low + high) / 2;
        low = middle - this.trueSpan / 2;
        high = middle + this.trueSpan / 2;
      }
    }
    if (!(low < high)) {
      if (Number.isFinite(this.low)) return false;
      low = 0;
      high = 1;
    }
    if (low === this.low && high === this.high) return false;
    const share = jump || !Number.isFinite(this.low) ? 1 : 1 - Math.exp(-elapsedSeconds / GLIDE_SECONDS);
    const near = (high - low) * 0.002;
    this.low = share === 1 || Math.abs(low - this.low) < near ? low : this.low + (low - this.low) * share;
    this.high = share === 1 || Math.abs(high - this.high) < near ? high : this.high + (high - this.high) * share;
    return true;
  }
}

/**
 * Gives lanes of one unit in one place one span, each about its own middle, so
 * that before and after can be compared.
 * @param {Lane[]} lanes
 */
export function shareSpan(lanes) {
  for (const unit of new Set(lanes.map((l) => l.unit))) {
    const group = lanes.filter((l) => l.unit === unit);
    let span = 0;
    for (const l of group) span = Math.max(span, l.high - l.low);
    if (!(span > 0)) continue;
    for (const l of group) {
      const middle = (l.low + l.high) / 2;
      l.low = middle - span / 2;
      l.high = middle + span / 2;
    }
  }
}
