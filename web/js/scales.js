// Axis arithmetic: ticks in 1-2-5 steps, automatic ranges, logarithmic decades.

/**
 * The step of the series 1-2-5 × 10ⁿ that is at least x.
 * @param {number} x above 0
 */
export function niceStep(x) {
  if (!(x > 0) || !Number.isFinite(x)) return 1;
  const exponent = Math.floor(Math.log10(x));
  for (let e = exponent - 1; ; e++) {
    for (const m of [1, 2, 5]) {
      const step = fromParts(m, e);
      if (step >= x * (1 - 1e-9)) return step;
    }
  }
}

/**
 * The neighbour of x in the series, upwards or downwards.
 * @param {number} x
 * @param {1|-1} direction
 */
export function nextStep(x, direction) {
  if (direction > 0) return niceStep(x * 1.01);
  const up = niceStep(x);
  const exponent = Math.floor(Math.log10(up) + 1e-9);
  const mantissa = Math.round(up / 10 ** exponent);
  if (up > x * (1 + 1e-9)) {
    return mantissa === 1 ? fromParts(5, exponent - 1) : fromParts(mantissa === 5 ? 2 : 1, exponent);
  }
  if (mantissa === 1) return fromParts(5, exponent - 1);
  return fromParts(mantissa === 5 ? 2 : 1, exponent);
}

/**
 * @param {number} mantissa
 * @param {number} exponent
 */
function fromParts(mantissa, exponent) {
  return exponent < 0 ? mantissa / 10 ** -exponent : mantissa * 10 ** exponent;
}

/**
 * Ticks of a linear axis: at most about `most`, in 1-2-5 steps.
 * @param {number} low
 * @param {number} high
 * @param {number} most
 * @returns {{step: number, first: number, count: number}} tick i is at first + i × step
 */
export function linearTicks(low, high, most) {
  const step = niceStep((high - low) / Math.max(1, most));
  const k = Math.ceil(low / step - 1e-9);
  const count = Math.max(0, Math.floor(high / step + 1e-9) - k + 1);
  return { step, first: k * step, count };
}

/**
 * Ticks of a logarithmic axis: decades, with 2 and 5 where there is room.
 * @param {number} low above 0
 * @param {number} high
 * @param {number} most
 * @returns {number[]}
 */
export function logTicks(low, high, most) {
  const decades = Math.log10(high / low);
  const mantissas = decades * 3 <= most ? [1, 2, 5] : decades * 2 <= most ? [1, 3] : [1];
  const every = Math.max(1, Math.ceil(decades / Math.max(1, most)));
  /** @type {number[]} */
  const ticks = [];
  const from = Math.floor(Math.log10(low));
  for (let e = from; e <= Math.ceil(Math.log10(high)); e++) {
    if (((e % every) + every) % every !== 0) continue;
    for (const m of mantissas) {
      const v = fromParts(m, e);
      if (v >= low * (1 - 1e-9) && v <= high * (1 + 1e-9)) ticks.push(v);
    }
  }
  return ticks;
}

/**
 * A range that follows data without fidgeting: it widens at once when data
 * leave it, and narrows only when they fill less than `fill` of it.
 */
export class AutoRange {
  /** @param {{fill?: number, padding?: number, least?: number}} [options] least: narrowest span */
  constructor({ fill = 0.5, padding = 0.12, least = 1e-9 } = {}) {
    this.fill = fill;
    this.padding = padding;
    this.least = least;
    this.low = NaN;
    this.high = NaN;
  }

  reset() {
    this.low = NaN;
    this.high = NaN;
  }

  /**
   * Takes the extent of what is in view; ignores an empty one.
   * @param {number} low
   * @param {number} high
   * @returns {boolean} whether the range changed
   */
  update(low, high) {
    if (!(low <= high)) return false;
    const span = this.high - this.low;
    const data = Math.max(high - low, this.least);
    const fits = low >= this.low && high <= this.high;
    if (fits && data > span * this.fill) return false;
    if (fits && span <= this.least * (1 + 2 * this.padding) * 1.001) return false;
    const middle = (low + high) / 2;
    const half = data * (0.5 + this.padding);
    this.low = middle - half;
    this.high = middle + half;
    return true;
  }
}

/** Seconds across the paper that can be chosen. */
export const SECONDS_ACROSS = [1, 2, 5, 10, 20, 30, 60, 120, 300, 600];

/**
 * The neighbouring choice of seconds across.
 * @param {number} seconds
 * @param {number} direction
 */
export function stepSeconds(seconds, direction) {
  const list = SECONDS_ACROSS;
  if (direction > 0) return list.find((s) => s > seconds + 1e-9) ?? list[list.length - 1];
  return list.findLast((s) => s < seconds - 1e-9) ?? list[0];
}

const TIME_STEPS = [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300, 600, 1200, 1800, 3600, 7200, 14400, 21600, 43200, 86400];

/**
 * Seconds between ticks of a time axis, at least so many.
 * @param {number} least
 */
export function timeStep(least) {
  return TIME_STEPS.find((s) => s >= least) ?? Math.ceil(least / 86400) * 86400;
}
