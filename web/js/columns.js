// Lowest and highest sample of every pixel column, kept from frame to frame.
//
// Column k covers the samples [ceil(k·spc), ceil((k+1)·spc)), spc samples per
// column: columns hang on the sample index, so that scrolling does not make
// peaks flicker, and only new columns are computed.

/** @import {Rings} from "./rings.js" */

/**
 * Extent of the samples [from, to) of a ring; out = [low, high], or
 * [Infinity, -Infinity] when none has a value.
 * @param {Float32Array} ring
 * @param {number} capacity
 * @param {number} from
 * @param {number} to at most from + capacity
 * @param {Float32Array} out
 */
export function extent(ring, capacity, from, to, out) {
  let low = Infinity;
  let high = -Infinity;
  let slot = from % capacity;
  for (let i = from; i < to; i++) {
    const v = ring[slot];
    if (v < low) low = v;
    if (v > high) high = v;
    if (++slot === capacity) slot = 0;
  }
  out[0] = low;
  out[1] = high;
}

export class ColumnCache {
  /** @param {number} columns most columns ever shown */
  constructor(columns) {
    this.size = columns + 8;
    this.low = new Float32Array(this.size);
    this.high = new Float32Array(this.size);
    this.from = 0; // cached, complete columns [from, to)
    this.to = 0;
    this.samplesPerColumn = 0;
    this.version = -1;
    this.pair = new Float32Array(2);
  }

  /**
   * Makes columns [from, to) ready; read them at index k mod size.
   * @param {Rings} rings
   * @param {number} channel
   * @param {number} point
   * @param {number} samplesPerColumn at least 1
   * @param {number} from
   * @param {number} to at most from + columns
   */
  update(rings, channel, point, samplesPerColumn, from, to) {
    if (samplesPerColumn !== this.samplesPerColumn || rings.version !== this.version || from < this.from || from > this.to) {
      this.samplesPerColumn = samplesPerColumn;
      this.version = rings.version;
      this.from = from;
      this.to = from;
    }
    const ring = rings.ring(channel, point);
    const { start, end, capacity } = rings;
    let complete = this.to;
    for (let k = this.to; k < to; k++) {
      const a = Math.max(start, Math.ceil(k * samplesPerColumn));
      const whole = Math.ceil((k + 1) * samplesPerColumn);
      const b = Math.min(end, whole);
      const slot = k % this.size;
      if (a < b) {
        extent(ring, capacity, a, b, this.pair);
        this.low[slot] = this.pair[0];
        this.high[slot] = this.pair[1];
      } else {
        this.low[slot] = Infinity;
        this.high[slot] = -Infinity;
      }
      if (whole <= end) complete = k + 1;
    }
    this.to = Math.max(this.to, complete);
    if (to - this.from > this.size) this.from = to - this.size;
  }
}
