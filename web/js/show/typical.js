// The typical beat of a stretch: the mean of the last good beats about their marks, and how
// far they reach. Pure.

/** @import {Beat} from "../types.js" */
/** @import {Rings} from "../rings.js" */
/** @import {Typical} from "../scene/show.js" */

/** So many of the newest beats. */
const MOST_BEATS = 12;
const LEAST_BEATS = 3;
const GOOD = 0.4;
/** Before and after the mark, as shares of the middle interval. */
const BEFORE = 0.35;
const AFTER = 0.65;

/**
 * @param {Rings} rings
 * @param {{channel: number, point: number}} probe
 * @param {Beat[]} beats in order
 * @param {{rateHz: number, end: number}} on end: no sample from there on
 * @returns {Typical|null} null for too few beats
 */
export function typicalBeat(rings, probe, beats, on) {
  const newest = beats.filter((b) => b.sample < on.end).slice(-MOST_BEATS - 1);
  const gaps = newest.slice(1).map((b, i) => b.sample - newest[i].sample).sort((a, b) => a - b);
  if (gaps.length === 0) return null;
  const interval = gaps[gaps.length >> 1];
  const before = Math.round(BEFORE * interval);
  const n = before + Math.round(AFTER * interval) + 1;
  const whole = newest.filter((b) => b.quality >= GOOD && b.sample - before >= rings.start && b.sample - before + n <= Math.min(rings.end, on.end));
  if (whole.length < LEAST_BEATS) return null;
  const mean = new Array(n).fill(0);
  const low = new Array(n).fill(Infinity);
  const high = new Array(n).fill(-Infinity);
  for (const b of whole) {
    for (let i = 0; i < n; i++) {
      const v = rings.at(probe.channel, probe.point, b.sample - before + i);
      mean[i] += v / whole.length;
      if (v < low[i]) low[i] = v;
      if (v > high[i]) high[i] = v;
    }
  }
  return mean.every(Number.isFinite) ? { mean, low, high, seconds: n / on.rateHz, beats: whole.length } : null;
}
