// The last minutes of every point of every channel, addressed by sample index.

/** @import {Frame} from "./types.js" */

/** Seconds kept when memory allows. */
export const KEEP_SECONDS = 600;
/** Most samples kept over all points and channels: 128 MB of float32. */
export const MAX_SAMPLES = 32 * 1024 * 1024;

/**
 * Capacity in samples of each ring.
 * @param {number} rateHz
 * @param {number} traces channels × points
 */
export function ringCapacity(rateHz, traces) {
  const wanted = Math.ceil(KEEP_SECONDS * rateHz * 1.02);
  return Math.max(256, Math.min(wanted, Math.floor(MAX_SAMPLES / Math.max(1, traces))));
}

/**
 * Rings of equal length, sized once. Sample i lies in slot i mod capacity. All
 * samples in [start, end) are there, or NaN where nothing is known.
 */
export class Rings {
  /**
   * @param {number} channels
   * @param {number} points
   * @param {number} capacity samples
   */
  constructor(channels, points, capacity) {
    this.channels = channels;
    this.points = points;
    this.capacity = capacity;
    this.start = 0;
    this.end = 0;
    /** Grows when samples that were there before were overwritten. */
    this.version = 0;
    /** @type {Float32Array[]} */
    this.data = [];
    for (let i = 0; i < channels * points; i++) this.data.push(new Float32Array(capacity).fill(NaN));
  }

  /**
   * @param {number} channel
   * @param {number} point
   */
  ring(channel, point) {
    return this.data[channel * this.points + point];
  }

  /**
   * Value of a sample, NaN when it is not held.
   * @param {number} channel
   * @param {number} point
   * @param {number} index
   */
  at(channel, point, index) {
    if (index < this.start || index >= this.end) return NaN;
    return this.ring(channel, point)[index % this.capacity];
  }

  clear() {
    this.start = 0;
    this.end = 0;
    this.version++;
    for (const d of this.data) d.fill(NaN);
  }

  /**
   * Takes a frame in: appended, written into the past, or both. Indices skipped
   * become NaN.
   * @param {Frame} frame with this many channels and points
   */
  push(frame) {
    const { first, samples } = frame;
    if (samples === 0) return;
    const last = first + samples;
    if (this.end === this.start) {
      this.start = first;
      this.end = first;
    }
    if (first > this.end) this.#blank(this.end, first);
    if (first < this.end) this.version++;
    const end = Math.max(this.end, last);
    const lowest = end - this.capacity;
    if (last < this.start) {
      if (last <= lowest) return;
      this.#blank(last, this.start);
    }
    const from = Math.max(first, lowest);
    if (from < last) {
      for (let t = 0; t < this.data.length; t++) {
        this.#copy(this.data[t], frame.data, t * samples + (from - first), from, last - from);
      }
    }
    this.end = end;
    this.start = Math.max(Math.min(this.start, from), lowest, 0);
  }

  /**
   * @param {Float32Array} ring
   * @param {Float32Array} src
   * @param {number} offset in src
   * @param {number} index
   * @param {number} count
   */
  #copy(ring, src, offset, index, count) {
    let slot = index % this.capacity;
    while (count > 0) {
      const n = Math.min(count, this.capacity - slot);
      for (let i = 0; i < n; i++) ring[slot + i] = src[offset + i];
      offset += n;
      count -= n;
      slot = 0;
    }
  }

  /**
   * @param {number} from
   * @param {number} to
   */
  #blank(from, to) {
    from = Math.max(from, to - this.capacity);
    for (const ring of this.data) {
      for (let i = from; i < to; ) {
        const slot = i % this.capacity;
        const n = Math.min(to - i, this.capacity - slot);
        ring.fill(NaN, slot, slot + n);
        i += n;
      }
    }
    if (to > this.end) this.end = to;
    if (this.end - this.capacity > this.start) this.start = this.end - this.capacity;
  }
}
