// Arithmetic of the Spectrum drawer: axes, lines of hum, the path's gain at a point. No DOM.

/** @typedef {{freqHz: number[], densityVoltsPerRootHz: number[], unit: string, bandwidthHz: number, averages: number, seconds: number, humHz: number, densityLimitVoltsPerRootHz: number}} Spectrum */
/** @import {PathResponse} from "../types.js" */

/**
 * The gain in dB from scale to a point; at scale itself that of the whole path,
 * which still lies ahead.
 * @param {PathResponse} r
 * @param {number} point 0 scale, 1 drift, 2 hum, 3 smooth
 */
export function gainAt(r, point) {
  if (point === 0 || point >= 3) return r.whole.gainDb;
  return r.drift.gainDb.map((g, i) => g + (point === 2 ? r.hum.gainDb[i] : 0));
}

/**
 * Hum and its harmonics below half the rate.
 * @param {number} humHz 0: unknown
 * @param {number} highestHz
 * @param {number} [most]
 */
export function humLines(humHz, highestHz, most = 6) {
  /** @type {number[]} */
  const lines = [];
  for (let k = 1; humHz > 0 && k <= most && k * humHz <= highestHz; k++) lines.push(k * humHz);
  return lines;
}

/**
 * The bin nearest to a frequency.
 * @param {number[]} freqHz equally spaced from 0
 * @param {number} hz
 */
export function binAt(freqHz, hz) {
  if (freqHz.length < 2) return 0;
  return Math.min(freqHz.length - 1, Math.max(0, Math.round(hz / (freqHz[1] - freqHz[0]))));
}

/**
 * Range of the level axis; the bin at 0 Hz is left out. Logarithmic: whole decades.
 * @param {ArrayLike<number>[]} curves
 * @param {boolean} log
 */
export function levelRange(curves, log) {
  let low = Infinity;
  let high = 0;
  for (const c of curves) {
    for (let i = 1; i < c.length; i++) {
      if (!(c[i] > 0)) continue;
      low = Math.min(low, c[i]);
      high = Math.max(high, c[i]);
    }
  }
  if (!(high > 0)) return { low: log ? 1e-6 : 0, high: 1 };
  if (!log) return { low: 0, high: high * 1.1 };
  const top = 10 ** Math.ceil(Math.log10(high) - 1e-9);
  return { low: Math.max(10 ** Math.floor(Math.log10(low / 2) + 1e-9), top * 1e-8), high: top };
}
