// Which samples of a recording are looked at, and what is asked for to draw them.
// Pure arithmetic, no DOM.

import { reviewWindowWords as W } from "../words.js";

/** The narrowest window, in samples. */
const LEAST_SAMPLES = 16;
/** The server gives no more columns than this. */
export const MOST_COLUMNS = 4000;

/**
 * A piece of a recording in columns of lowest and highest values, NaN for none.
 * @typedef {object} Piece
 * @property {number} from
 * @property {number} to
 * @property {number} columns
 * @property {boolean} exact false while the server still works on it
 * @property {number} share of that work that is done
 * @property {Float32Array[]} low by channel
 * @property {Float32Array[]} high
 */

/** A window [from, to) on a recording of so many samples. */
export class Window {
  /** @param {number} length */
  constructor(length) {
    this.length = Math.max(1, length);
    this.from = 0;
    this.to = this.length;
  }

  get span() {
    return this.to - this.from;
  }

  /**
   * @param {number} from
   * @param {number} to
   */
  set(from, to) {
    const span = Math.min(this.length, Math.max(LEAST_SAMPLES, to - from));
    const at = Math.min(Math.max(0, from), this.length - span);
    this.from = at;
    this.to = at + span;
  }

  /** @param {number} samples to the right */
  pan(samples) {
    const by = Math.max(-this.length, Math.min(this.length, samples));
    this.set(this.from + by, this.to + by);
  }

  /**
   * Shows `factor` times as much; the sample `about` keeps its place.
   * @param {number} factor
   * @param {number} [about]
   */
  zoom(factor, about = (this.from + this.to) / 2) {
    const span = Math.min(this.length, Math.max(LEAST_SAMPLES, this.span * factor));
    const share = (about - this.from) / this.span;
    this.set(about - share * span, about + (1 - share) * span);
  }

  /**
   * So that a sample is in the middle, unless it is well inside already.
   * @param {number} sample
   */
  reveal(sample) {
    if (sample > this.from + 0.1 * this.span && sample < this.to - 0.1 * this.span) return;
    const half = this.span / 2;
    this.set(sample - half, sample + half);
  }
}

/**
 * What to ask for: the window with a margin to either side, in columns that hang on
 * the sample index, so that panning does not make peaks flicker.
 * @param {{from: number, to: number, length: number}} w
 * @param {number} widthPx
 * @returns {{from: number, to: number, columns: number}}
 */
export function wanted(w, widthPx) {
  const span = w.to - w.from;
  // A page to either side, so that turning one needs no waiting.
  const margin = Math.min(1.02, Math.max(0.4, (MOST_COLUMNS / Math.max(1, widthPx) - 1) / 2));
  const whole = span * (1 + 2 * margin);
  const per = Math.max(1, Math.floor(span / Math.max(1, widthPx)), Math.ceil(whole / (MOST_COLUMNS - 2)));
  const from = Math.max(0, Math.floor((w.from - margin * span) / per) * per);
  const last = Math.min(w.length, w.to + margin * span + per);
  const columns = Math.max(1, Math.min(MOST_COLUMNS, Math.ceil((last - from) / per)));
  return { from, to: Math.min(w.length, from + columns * per), columns };
}

/**
 * Whether a piece shows a window as finely as its pixels and lies all around it.
 * @param {Piece|null} piece
 * @param {{from: number, to: number, length: number}} w
 * @param {number} widthPx
 */
export function suffices(piece, w, widthPx) {
  if (!piece || !piece.exact || piece.from > w.from || piece.to < Math.min(w.to, w.length)) return false;
  const have = (piece.to - piece.from) / piece.columns;
  const best = wanted(w, widthPx);
  const need = (best.to - best.from) / best.columns;
  return have <= need * 1.02 && have > need / 4;
}

/**
 * Whether a window has come so near the end of a piece that the next should be had.
 * @param {Piece} piece
 * @param {{from: number, to: number, length: number}} w
 */
export function runsOut(piece, w) {
  const least = 0.3 * (w.to - w.from);
  return (piece.from > 0 && w.from - piece.from < least) || (piece.to < w.length && piece.to - w.to < least);
}

/**
 * The server's answer to a view.
 * @param {ArrayBuffer} buffer
 * @returns {Piece}
 */
export function decodePiece(buffer) {
  const head = new DataView(buffer);
  if (buffer.byteLength < 32) throw new Error(W.theViewOfTheRecording);
  const channels = head.getUint32(0, true);
  const columns = head.getUint32(4, true);
  if (buffer.byteLength !== 32 + 8 * channels * columns) throw new Error(W.theViewOfTheRecording);
  /** @type {Piece} */
  const piece = { from: Number(head.getBigInt64(8, true)), to: Number(head.getBigInt64(16, true)), columns, share: head.getFloat32(24, true), exact: head.getUint32(28, true) === 1, low: [], high: [] };
  for (let c = 0; c < channels; c++) {
    piece.low.push(new Float32Array(buffer, 32 + 8 * c * columns, columns));
    piece.high.push(new Float32Array(buffer, 32 + (8 * c + 4) * columns, columns));
  }
  return piece;
}

/**
 * The server's compact answer of beats, by channel, and those annotated.
 * @param {ArrayBuffer} buffer
 * @returns {{channels: import("./library.js").Mark[][], annotated: {sample: number, type: string}[]}}
 */
export function decodeBeats(buffer) {
  const data = new DataView(buffer);
  const channels = [];
  let at = 4;
  for (let left = data.getUint32(0, true); left > 0; left--) {
    const n = data.getUint32(at, true);
    at += 4;
    const list = [];
    for (let i = 0; i < n; i++) {
      const kind = data.getUint8(at + 9 * n + i);
      list.push({ sample: data.getFloat64(at + 8 * i, true), kind: kind & 1 ? "ecg" : "pulse", quality: data.getUint8(at + 8 * n + i) / 100, ...(kind & 2 ? { byHand: true } : {}) });
    }
    channels.push(list);
    at += 10 * n;
  }
  const annotated = [];
  const n = data.getUint32(at, true);
  at += 4;
  for (let i = 0; i < n; i++) annotated.push({ sample: data.getFloat64(at + 8 * i, true), type: String.fromCharCode(data.getUint8(at + 8 * n + i)) });
  return { channels, annotated };
}

/**
 * Extent of what a piece shows of a channel in a window; low > high for nothing.
 * @param {Piece} piece
 * @param {number} channel
 * @param {number} from
 * @param {number} to
 * @returns {[number, number]}
 */
export function extentIn(piece, channel, from, to) {
  const per = (piece.to - piece.from) / piece.columns;
  const a = Math.max(0, Math.floor((from - piece.from) / per));
  const b = Math.min(piece.columns, Math.ceil((to - piece.from) / per));
  const { low, high } = { low: piece.low[channel], high: piece.high[channel] };
  let least = Infinity;
  let most = -Infinity;
  for (let i = a; i < b; i++) {
    if (low[i] < least) least = low[i];
    if (high[i] > most) most = high[i];
  }
  return [least, most];
}

/**
 * Place of the first mark at or after a sample in marks in order.
 * @param {{sample: number}[]} marks
 * @param {number} sample
 */
export function firstFrom(marks, sample) {
  let low = 0;
  let high = marks.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (marks[middle].sample < sample) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Over longer holes no interval is measured, seconds, as in the program (channel.BridgeSeconds). */
const BRIDGED = 0.1;

/**
 * Where beats do not follow one another: samples are missing there.
 * @param {{first: number, samples: number}[]} gaps in order
 * @param {number} rateHz
 */
export const breaksOf = (gaps, rateHz) => gaps.filter((g) => g.samples > BRIDGED * rateHz).map((g) => ({ sample: g.first }));

/**
 * Samples from the beat before to each of the beats [a, b): Infinity across a break, NaN of the first beat of all.
 * @param {{sample: number}[]} beats
 * @param {{sample: number}[]} breaks
 * @param {number} a
 * @param {number} b
 */
export function intervalsOf(beats, breaks, a, b) {
  return beats.slice(a, b).map(({ sample }, i) => {
    const before = beats[a + i - 1]?.sample;
    if (before === undefined) return NaN;
    return breaks[firstFrom(breaks, before)]?.sample <= sample ? Infinity : sample - before;
  });
}

/**
 * Median rate of intervals in samples, 0 with fewer than two.
 * @param {number[]} intervals
 * @param {number} rateHz
 */
export function medianRate(intervals, rateHz) {
  const list = intervals.filter(Number.isFinite).sort((x, y) => x - y);
  if (list.length < 2) return 0;
  const middle = (list[(list.length - 1) >> 1] + list[list.length >> 1]) / 2;
  return (60 * rateHz) / middle;
}

/** Intervals outside are no heartbeats in a row, seconds. */
const LEAST_INTERVAL = 0.2;
const MOST_INTERVAL = 3;

/**
 * The median rate of the beats in each of so many equal parts of a recording, NaN
 * where there are fewer than two beats in a row.
 * @param {{beats: {sample: number}[], breaks: {sample: number}[]}} marks in order
 * @param {number} length samples
 * @param {number} parts
 * @param {number} rateHz
 * @returns {Float32Array}
 */
export function rateTrend({ beats, breaks }, length, parts, rateHz) {
  const intervals = intervalsOf(beats, breaks, 0, beats.length);
  const trend = new Float32Array(parts).fill(NaN);
  /** @type {number[]} */
  let gaps = [];
  let part = 0;
  const close = () => {
    if (gaps.length > 0) {
      gaps.sort((a, b) => a - b);
      trend[part] = 120 / (gaps[(gaps.length - 1) >> 1] + gaps[gaps.length >> 1]);
    }
    gaps = [];
  };
  for (let i = 1; i < beats.length; i++) {
    const here = Math.min(parts - 1, Math.floor((beats[i].sample / length) * parts));
    if (here !== part) {
      close();
      part = here;
    }
    const seconds = intervals[i] / rateHz;
    if (seconds >= LEAST_INTERVAL && seconds <= MOST_INTERVAL) gaps.push(seconds);
  }
  close();
  return trend;
}
