// What a stage took away: the difference of the points before and after it.

/** @import {Rings} from "../rings.js" */

/**
 * Mean and standard deviation of before − after over samples [from, to), the
 * after point read `delay` samples later, where the stage's own delay has put it.
 * Samples without a value are left out.
 * @param {Rings} rings
 * @param {number} channel
 * @param {number} point the one after the stage; the one before is point − 1
 * @param {number} from
 * @param {number} to
 * @param {number} delay whole samples, 0 or more
 * @returns {{mean: number, rms: number, count: number}} NaN without samples
 */
export function removed(rings, channel, point, from, to, delay) {
  const before = rings.ring(channel, point - 1);
  const after = rings.ring(channel, point);
  const c = rings.capacity;
  const a = Math.max(from, rings.start);
  const b = Math.min(to, rings.end - delay);
  let count = 0;
  let mean = 0;
  let square = 0;
  for (let i = a; i < b; i++) {
    const d = before[i % c] - after[(i + delay) % c];
    if (d !== d) continue;
    count++;
    const step = d - mean;
    mean += step / count;
    square += step * (d - mean);
  }
  if (count === 0) return { mean: NaN, rms: NaN, count };
  return { mean, rms: Math.sqrt(square / count), count };
}

/**
 * Delay at a frequency, by the nearest frequency of a response.
 * @param {number[]} freqHz rising
 * @param {number[]} delaySeconds
 * @param {number} atHz
 */
export function delayAt(freqHz, delaySeconds, atHz) {
  let at = 0;
  for (let i = 1; i < freqHz.length; i++) if (Math.abs(freqHz[i] - atHz) < Math.abs(freqHz[at] - atHz)) at = i;
  return delaySeconds[at] ?? 0;
}
