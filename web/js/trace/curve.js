// The curve of a probe as a view shows it: samples, or columns of lowest and highest where
// several share a pixel; and how far it reaches.

/** @import {Probe} from "../types.js" */
/** @import {Rings} from "../rings.js" */
/** @import {ColumnCache} from "../columns.js" */
/** @import {Curve} from "../scene/sheet.js" */
/** @import {View} from "./view.js" */

/** A lone value so many times beyond all others is taken for a corrupt number. */
const LONE_TIMES = 8;
/** Neighbours of it that may belong to it. */
const LONE_WIDTH = 1;

/**
 * @param {Rings} rings
 * @param {Probe} probe
 * @param {View} view
 * @param {{cache: ColumnCache, ratio: number, left: number}} on ratio: pixels of the view for one of CSS; left of the plot, CSS
 * @returns {Curve}
 */
export function curveOf(rings, probe, view, on) {
  const { cache, ratio, left } = on;
  if (view.inColumns) {
    const to = view.originColumns;
    const from = Math.max(0, to - view.widthPx);
    cache.update(rings, probe.channel, probe.point, view.samplesPerPx, from, to);
    return { low: cache.low, high: cache.high, size: cache.size, from, to, x0: left + (view.xPx(0) + 0.5) / ratio, dx: 1 / ratio };
  }
  const ring = rings.ring(probe.channel, probe.point);
  const from = Math.max(rings.start, Math.ceil(view.indexAt(0)));
  const to = Math.min(rings.end, Math.floor(view.end) + 1);
  return { low: ring, high: ring, size: rings.capacity, from, to, x0: left + view.xPx(0) / ratio, dx: 1 / (view.samplesPerPx * ratio) };
}

/**
 * Lowest and highest of a curve, but for one lone value far beyond all others: it is drawn at
 * the lane's edge and does not flatten the trace. Low > high for nothing.
 * @param {Pick<Curve, "low"|"high"|"size"|"from"|"to">} c
 * @returns {[number, number]}
 */
export function reach(c) {
  const { low: lows, high: highs, size, from, to } = c;
  let low = Infinity;
  let high = -Infinity;
  let least = from;
  let most = from;
  for (let k = from, slot = from % size; k < to; k++) {
    if (lows[slot] < low) {
      low = lows[slot];
      least = k;
    }
    if (highs[slot] > high) {
      high = highs[slot];
      most = k;
    }
    if (++slot === size) slot = 0;
  }
  if (!(low < high)) return [low, high];
  for (const lone of [most, least]) {
    let a = Infinity;
    let b = -Infinity;
    for (let k = from, slot = from % size; k < to; k++) {
      if (k < lone - LONE_WIDTH || k > lone + LONE_WIDTH) {
        if (lows[slot] < a) a = lows[slot];
        if (highs[slot] > b) b = highs[slot];
      }
      if (++slot === size) slot = 0;
    }
    if (b > a && high - low > LONE_TIMES * (b - a)) return [a, b];
  }
  return [low, high];
}
