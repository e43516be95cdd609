// Strokes of the trace on a canvas; nothing here allocates in a frame.

/** @import {Lane} from "./lanes.js" */
/** @import {View} from "./view.js" */
/** @import {Rings} from "../rings.js" */
/** @import {ColumnCache} from "../columns.js" */
/** @import {LineStyle} from "../theme.js" */

/** Samples so far apart are shown as dots too. */
const DOT_SPACING_PX = 9;

/**
 * Notes in the lane the extent of its columns in the window.
 * @param {Lane} lane
 * @param {View} view
 * @param {ColumnCache} cache
 */
export function see(lane, view, cache) {
  const to = view.originColumns;
  let low = Infinity;
  let high = -Infinity;
  for (let k = Math.max(0, to - view.widthPx); k < to; k++) {
    const slot = k % cache.size;
    if (cache.low[slot] < low) low = cache.low[slot];
    if (cache.high[slot] > high) high = cache.high[slot];
  }
  const from = Math.max(0, to - view.widthPx);
  [lane.seenLow, lane.seenHigh] = withoutLone(low, high, from, to, (k) => cache.low[k % cache.size], (k) => cache.high[k % cache.size]);
}

/** A lone value so many times beyond all others is taken for a corrupt number. */
const LONE_TIMES = 8;
/** Neighbours of it that may belong to it. */
const LONE_WIDTH = 1;

/**
 * The extent of all, but for one lone value far beyond all others: it is drawn at the
 * lane's edge and does not flatten the trace.
 * @param {number} low of all
 * @param {number} high
 * @param {number} from
 * @param {number} to
 * @param {(k: number) => number} lowAt
 * @param {(k: number) => number} highAt
 * @returns {[number, number]}
 */
export function withoutLone(low, high, from, to, lowAt, highAt) {
  if (!(low < high)) return [low, high];
  let most = from;
  let least = from;
  for (let k = from; k < to; k++) {
    if (highAt(k) === high) most = k;
    if (lowAt(k) === low) least = k;
  }
  /** @param {number} except @returns {[number, number]} */
  const rest = (except) => {
    let a = Infinity;
    let b = -Infinity;
    for (let k = from; k < to; k++) {
      if (Math.abs(k - except) <= LONE_WIDTH) continue;
      if (lowAt(k) < a) a = lowAt(k);
      if (highAt(k) > b) b = highAt(k);
    }
    return [a, b];
  };
  for (const k of [most, least]) {
    const [a, b] = rest(k);
    if (b > a && high - low > LONE_TIMES * (b - a)) return [a, b];
  }
  return [low, high];
}

/**
 * Strokes one trace in the columns [from, right edge).
 * @param {CanvasRenderingContext2D} ctx of the plot area alone
 * @param {Lane} lane
 * @param {View} view
 * @param {ColumnCache} cache
 * @param {number} from absolute column
 * @param {LineStyle} style
 */
export function strokeColumns(ctx, lane, view, cache, from, style) {
  const origin = view.originColumns;
  const scale = lane.heightPx / (lane.high - lane.low);
  const bottom = lane.topPx + lane.heightPx;
  const top = lane.topPx;
  const base = lane.low;
  const period = style.on + style.off;
  let lastY = NaN;
  ctx.beginPath();
  for (let k = from; k < origin; k++) {
    const slot = k % cache.size;
    const low = cache.low[slot];
    const high = cache.high[slot];
    if (low > high) {
      lastY = NaN;
      continue;
    }
    if (style.off > 0 && k % period >= style.on) {
      lastY = NaN;
      continue;
    }
    const x = view.widthPx + (k - origin) + 0.5;
    let y1 = bottom - (low - base) * scale;
    let y2 = bottom - (high - base) * scale;
    if (y1 > bottom) y1 = bottom;
    if (y1 < top) y1 = top;
    if (y2 < top) y2 = top;
    if (y2 > bottom) y2 = bottom;
    lastY = column(ctx, x, y1, y2, lastY);
  }
  ctx.stroke();
}

/**
 * Adds a column's stroke between its two ends to the path, joined to the column
 * before at the nearer end.
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x
 * @param {number} y1
 * @param {number} y2
 * @param {number} lastY where the column before ended; NaN: the pen is up
 * @returns {number} where this one ends
 */
export function column(ctx, x, y1, y2, lastY) {
  if (lastY !== lastY) {
    ctx.moveTo(x, y1 + 0.4);
    ctx.lineTo(x, y2);
    return y2;
  }
  if (Math.abs(y1 - lastY) <= Math.abs(y2 - lastY)) {
    ctx.lineTo(x, y1);
    if (y2 !== y1) ctx.lineTo(x, y2);
    return y2;
  }
  ctx.lineTo(x, y2);
  ctx.lineTo(x, y1);
  return y1;
}

/**
 * Strokes one trace sample by sample.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Lane} lane
 * @param {View} view
 * @param {Rings} rings
 * @param {LineStyle} style
 * @param {number} ratio device pixels per CSS pixel
 */
export function strokeSamples(ctx, lane, view, rings, style, ratio) {
  const per = view.samplesPerPx;
  const from = Math.max(rings.start, Math.ceil(view.indexAt(0)));
  const to = Math.min(rings.end, Math.floor(view.end) + 1);
  const ring = rings.ring(lane.probe.channel, lane.probe.point);
  const scale = lane.heightPx / (lane.high - lane.low);
  const bottom = lane.topPx + lane.heightPx;
  const top = lane.topPx;
  const base = lane.low;
  const period = style.on + style.off;
  let seenLow = Infinity;
  let seenHigh = -Infinity;
  let pen = false;
  ctx.beginPath();
  for (let i = from; i < to; i++) {
    const v = ring[i % rings.capacity];
    if (v !== v) {
      pen = false;
      continue;
    }
    if (v < seenLow) seenLow = v;
    if (v > seenHigh) seenHigh = v;
    if (style.off > 0 && Math.floor(i / per) % period >= style.on) {
      pen = false;
      continue;
    }
    const x = view.xPx(i);
    let y = bottom - (v - base) * scale;
    if (y > bottom) y = bottom;
    if (y < top) y = top;
    if (pen) ctx.lineTo(x, y);
    else ctx.moveTo(x, y);
    pen = true;
  }
  ctx.stroke();
  if (1 / per >= DOT_SPACING_PX * ratio) dots(ctx, lane, view, rings, from, to, ratio);
  const at = (/** @type {number} */ i) => ring[i % rings.capacity];
  [lane.seenLow, lane.seenHigh] = withoutLone(seenLow, seenHigh, from, to, at, at);
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Lane} lane
 * @param {View} view
 * @param {Rings} rings
 * @param {number} from
 * @param {number} to
 * @param {number} ratio
 */
function dots(ctx, lane, view, rings, from, to, ratio) {
  const side = 2.5 * ratio;
  for (let i = from; i < to; i++) {
    const v = rings.at(lane.probe.channel, lane.probe.point, i);
    if (v !== v) continue;
    const y = lane.yPx(v);
    if (y >= lane.topPx && y <= lane.topPx + lane.heightPx) ctx.fillRect(view.xPx(i) - side / 2, y - side / 2, side, side);
  }
}

/**
 * A pattern of thin slanted lines for stretches without samples.
 * @param {CanvasRenderingContext2D} ctx
 * @param {string} colour
 * @param {number} ratio
 */
export function hatch(ctx, colour, ratio) {
  const size = Math.round(8 * ratio);
  const tile = document.createElement("canvas");
  tile.width = size;
  tile.height = size;
  const t = tile.getContext("2d");
  if (!t) return colour;
  t.strokeStyle = colour;
  t.lineWidth = ratio;
  t.beginPath();
  for (const shift of [-size, 0, size]) {
    t.moveTo(shift - 1, size + 1);
    t.lineTo(shift + size + 1, -1);
  }
  t.stroke();
  return ctx.createPattern(tile, "repeat") ?? colour;
}
