// The scene of a sheet: lanes of curves over one time axis, with scales, gaps, beats, notes and
// cursors. Live trace and Review are drawn from it, on the screen and on paper. Pure.

import { clockTime, fixed, prefixFor, stepDecimals } from "../format.js";
import { linearTicks, timeStep } from "../scales.js";
import { HATCH_CSS, widthOf, withDots } from "./scene.js";

/** @import {Item, Scene, Trace} from "./scene.js" */

/** Where a curve's values lie, see Trace. @typedef {Pick<Trace, "low"|"high"|"size"|"from"|"to"|"x0"|"dx">} Curve */
/** `value`: of the curve there, for a ring; `foot`: where a pulse rises; `text`: the interval before, `more`: the same where it has room for more words. @typedef {{sample: number, good: boolean, value?: number, foot?: {sample: number, value: number}, text?: string, more?: string}} BeatMark */
/**
 * @typedef {object} SheetLane
 * @property {string} name "" on a screen that has labels of its own
 * @property {string} unit
 * @property {string} colour
 * @property {{width: number, on: number, off: number}} style
 * @property {number} top
 * @property {number} height
 * @property {number} low
 * @property {number} high NaN: not known yet
 * @property {Curve|null} curve
 * @property {BeatMark[]} beats in order
 * @property {boolean} signs beats are signs, not just ticks
 * @property {number} mmVolts volts of a millimetre, 0 for a scale in numbers
 */
/**
 * The place of sample i is x0 + i·perSample.
 * @typedef {object} Sheet
 * @property {number} width
 * @property {number} height
 * @property {number} left of the plot
 * @property {number} x0
 * @property {number} perSample
 * @property {number} rateHz
 * @property {SheetLane[]} lanes
 * @property {boolean} overlaid the lanes share one place
 * @property {number} mmSamples samples of a millimetre, 0 for a grid in seconds
 * @property {{index: number, samples: number, text: string}[]} gaps
 * @property {{index: number, text: string}[]} notes
 * @property {{a: number, b: number}|null} cursors
 * @property {number} [zeroSeconds] of the clock that the axis shows, at sample 0
 * @property {(seconds: number, step: number) => string} [timeText] how it shows them
 * @property {Item[]} [over] over the traces
 * @property {number} [clear] room at the left that names take on a screen
 * @property {(n: number) => string} [unwritten] on paper, where nobody can zoom: says how many intervals have no room; smaller letters come before
 */

export const AXIS = 24;
/** Room above each lane for its name and marks. */
export const HEAD = 24;
const TEXT = 11.5;
/** Millimetre lines nearer than this are left out. */
const LEAST_MM = 3.5;
/** Beats closer than this are ticks, without rings and intervals; still closer they are left out. */
const DENSE_BEATS = 9;
const LEAST_BEATS = 3.5;
const LEAST_INTERVAL = 52;
/** An interval's letters, and the smaller ones of a sheet of paper where it has no room else. */
const INTERVAL_TEXT = 10.5;
const INTERVAL_SMALL = 8;
const MOST_NOTE = 42;

/**
 * Divides a height among lanes; lanes that share one place all get the whole.
 * @param {number} n
 * @param {number} height of the sheet
 * @param {boolean} overlaid
 * @returns {{top: number, height: number}[]}
 */
export function places(n, height, overlaid) {
  const each = (height - AXIS - 6) / (overlaid ? 1 : Math.max(1, n));
  return Array.from({ length: n }, (_, i) => ({ top: Math.round(2 + (overlaid ? 0 : i * each) + HEAD), height: Math.max(4, Math.round(each - HEAD)) }));
}

/**
 * What stands still, what travels with the paper, and what lies over it.
 * @param {Sheet} s
 * @returns {Scene}
 */
export function sheetScene(s) {
  const plot = { x: s.left, y: 0, width: s.width - s.left, height: s.height };
  return { width: s.width, height: s.height, items: [...baseItems(s), { kind: "clip", ...plot, items: [...inkItems(s), ...topItems(s)] }] };
}

/** @param {Sheet} s */
function axisOf(s) {
  return s.height - AXIS;
}

/** @param {Sheet} s @returns {[number, number]} samples seen */
function seen(s) {
  return [Math.max(0, (s.left - s.x0) / s.perSample), (s.width - s.x0) / s.perSample];
}

/** Multiples of a step in a range. @param {number} low @param {number} high @param {number} step @returns {number[]} */
function multiples(low, high, step) {
  const first = Math.ceil(low / step);
  return Array.from({ length: Math.max(0, Math.floor(high / step) - first + 1) }, (_, i) => first + i);
}

/**
 * @param {SheetLane} l
 * @param {number} value
 */
function yOf(l, value) {
  return l.top + l.height * (1 - (value - l.low) / (l.high - l.low));
}

/**
 * Numbers beside a lane: at least one. Of lanes in one place about the middle.
 * @param {SheetLane} l
 * @param {boolean} relative
 */
function ticksOf(l, relative) {
  const most = Math.min(Math.max(l.height < 34 ? 1 : 2, Math.floor(l.height / 21)), Math.max(3, Math.floor(l.height / 32)));
  const shift = relative ? (l.low + l.high) / 2 : 0;
  const [low, high] = [l.low - shift, l.high - shift];
  let t = linearTicks(low, high, most);
  for (let more = 2; t.count === 0 && more <= 8; more *= 2) t = linearTicks(low, high, most * more);
  const prefix = prefixFor(Math.max(Math.abs(low), Math.abs(high)), l.unit);
  const decimals = stepDecimals(t.step / prefix.factor);
  const values = Array.from({ length: t.count }, (_, i) => t.first + i * t.step);
  return { unit: prefix.unit, list: values.map((v) => ({ y: yOf(l, v + shift), text: (relative && v > t.step / 2 ? "+" : "") + fixed(v / prefix.factor, decimals) })) };
}

/**
 * Lines of a grid in millimetres, the fifth stronger; `at` makes the ends of one.
 * @param {number[]} list
 * @param {boolean} fine all, not the fifth alone
 * @param {(k: number) => number[]} at
 * @returns {Item[]}
 */
function millimetres(list, fine, at) {
  return [
    { kind: "lines", at: fine ? list.filter((k) => k % 5 !== 0).flatMap(at) : [], colour: "grid" },
    { kind: "lines", at: list.filter((k) => k % 5 === 0).flatMap(at), colour: "gridStrong" },
  ];
}

/** @param {Sheet} s @returns {Item[]} scales, names and the lines between lanes */
export function baseItems(s) {
  /** @type {Item[]} */
  const items = [];
  const words = (/** @type {number} */ y, /** @type {string} */ text, italic = false) => items.push({ kind: "words", x: s.left - 8, y, text, colour: "faint", size: TEXT, align: "right", italic, most: s.left - 10 });
  const across = (/** @type {number} */ y) => [s.left, y, s.width, y];
  (s.overlaid ? s.lanes.slice(0, 1) : s.lanes).forEach((l, i) => {
    if (i > 0) items.push({ kind: "lines", at: across(l.top - HEAD), colour: "gridStrong" });
    if (!(l.low < l.high)) return;
    const t = ticksOf(l, s.overlaid);
    if (l.mmVolts > 0) items.push(...millimetres(multiples(l.low, l.high, l.mmVolts), (l.height * l.mmVolts) / (l.high - l.low) >= LEAST_MM, (k) => across(yOf(l, k * l.mmVolts))));
    else items.push({ kind: "lines", at: t.list.flatMap((k) => across(k.y)), colour: "grid" });
    for (const k of t.list) if (k.y >= l.top + 3) words(Math.min(k.y, l.top + l.height - 6), k.text);
    words(l.top - 12, t.unit, true);
  });
  items.push({ kind: "lines", at: across(axisOf(s)), colour: "gridStrong" }, { kind: "lines", at: [s.left, 0, s.left, s.height], colour: "margin" });
  let x = s.left + 8;
  for (const l of s.lanes) {
    if (!l.name) continue;
    const y = s.overlaid ? 14 : l.top - 12;
    items.push({ kind: "lines", at: [x, y, x + 22, y], colour: l.colour, width: l.style.width, dash: l.style.off > 0 ? [l.style.on, l.style.off] : undefined });
    items.push({ kind: "words", x: x + 28, y, text: l.name, colour: "ink", size: 12 });
    if (s.overlaid) x += 44 + widthOf(l.name, 12);
  }
  return items;
}

/** Seconds between lines of the grid. @param {Sheet} s */
function stepOf(s) {
  return timeStep(92 / (s.perSample * s.rateHz));
}

/** @param {Sheet} s @returns {Item[]} grid in time, gaps and curves */
export function inkItems(s) {
  const axis = axisOf(s);
  const [from, to] = seen(s);
  const x = (/** @type {number} */ i) => s.x0 + i * s.perSample;
  const step = stepOf(s) * s.rateHz;
  const zero = (s.zeroSeconds ?? 0) * s.rateHz;
  /** @type {Item[]} */
  const items = s.mmSamples > 0
    ? millimetres(multiples(from, to, s.mmSamples), s.mmSamples * s.perSample >= LEAST_MM, (k) => [x(k * s.mmSamples), 0, x(k * s.mmSamples), axis + (k % 5 === 0 ? 4 : 0)])
    : [{ kind: "lines", at: multiples(from + zero, to + zero, step).flatMap((k) => [x(k * step - zero), 0, x(k * step - zero), axis + 4]), colour: "grid" }];
  for (const g of s.gaps) {
    if (g.index > to || g.index + g.samples < from) continue;
    // Cut to what is seen; the hatching stays where it was.
    const start = x(g.index) + HATCH_CSS * Math.max(0, Math.floor((s.left - x(g.index)) / HATCH_CSS));
    items.push({ kind: "box", x: start, y: 0, width: Math.max(2, Math.min(s.width, x(g.index + g.samples)) - start), height: axis, colour: "gap", hatch: "gridStrong" });
  }
  for (const l of s.lanes) {
    if (!l.curve || !(l.low < l.high)) continue;
    const { width, on, off } = l.style;
    items.push(...withDots({ kind: "trace", ...l.curve, top: l.top, bottom: l.top + l.height, base: l.low, scale: l.height / (l.high - l.low), colour: l.colour, width, on, off }));
  }
  return items;
}

/** @param {Sheet} s @returns {Item[]} times, words of gaps, beats, notes, cursors */
export function topItems(s) {
  const axis = axisOf(s);
  const [from, to] = seen(s);
  const x = (/** @type {number} */ i) => s.x0 + i * s.perSample;
  const seconds = stepOf(s);
  /** @type {Item[]} */
  const items = [];
  const zero = s.zeroSeconds ?? 0;
  for (const k of multiples(from / s.rateHz + zero, to / s.rateHz + zero, seconds)) {
    const at = x((k * seconds - zero) * s.rateHz);
    if (at > s.left + 14 && at < s.width - 14) items.push({ kind: "words", x: at, y: axis + 14, text: (s.timeText ?? clockTime)(k * seconds, seconds), colour: "faint", size: TEXT, align: "center" });
  }
  let free = 0;
  for (const g of s.gaps) {
    if (g.index > to || g.index + g.samples < from) continue;
    const at = Math.max(s.left + 4, x(g.index) + 6);
    if (at < free) continue; // over the words of the gap before; the Link drawer lists all
    free = at + widthOf(g.text, 12) + 8;
    items.push({ kind: "words", x: at, y: axis - 13.5, text: g.text, colour: "ink", size: 12, italic: true, halo: true });
  }
  for (const l of s.lanes) items.push(...beatItems(s, l, x, from, to));
  items.push(...noteItems(s, x, from, to), ...(s.over ?? []));
  if (s.cursors) {
    const [a, b] = [x(s.cursors.a), x(s.cursors.b)];
    items.push({ kind: "box", x: Math.min(a, b), y: 0, width: Math.abs(b - a), height: axis, colour: "mark", alpha: 0.06 });
    items.push({ kind: "lines", at: [a, 0, a, axis, b, 0, b, axis], colour: "mark" });
  }
  return items;
}

/**
 * Signs at the beats, rings on the trace, feet, and the intervals between.
 * @param {Sheet} s
 * @param {SheetLane} l
 * @param {(i: number) => number} x
 * @param {number} from
 * @param {number} to
 * @returns {Item[]}
 */
function beatItems(s, l, x, from, to) {
  const beats = l.beats.filter((b) => b.sample >= from && b.sample <= to);
  const each = beats.length > 1 ? ((beats[beats.length - 1].sample - beats[0].sample) / (beats.length - 1)) * s.perSample : Infinity;
  if (beats.length === 0 || each < LEAST_BEATS) return [];
  if (!l.signs || each < DENSE_BEATS) return [{ kind: "lines", at: beats.flatMap((b) => [x(b.sample), l.top, x(b.sample), l.top + 6]), colour: "mark", width: 1.2 }];
  const inside = (/** @type {number} */ y) => y >= l.top && y <= l.top + l.height;
  const signs = (/** @type {boolean} */ good) => beats.filter((b) => b.good === good).flatMap((b) => [x(b.sample), l.top]);
  const rings = beats.flatMap((b) => (b.value !== undefined && inside(yOf(l, b.value)) ? [x(b.sample), yOf(l, b.value)] : []));
  const feet = beats.flatMap(({ foot }) => (foot && inside(yOf(l, foot.value) + 2) ? [x(foot.sample), yOf(l, foot.value) + 2, x(foot.sample), yOf(l, foot.value) + 8] : []));
  /** @type {Item[]} */
  const items = [
    { kind: "marks", mark: "down", at: signs(true), size: 3.5, colour: "mark", width: 1.2, fill: "mark" },
    { kind: "marks", mark: "down", at: signs(false), size: 3.5, colour: "mark", width: 1.2 },
    { kind: "marks", mark: "ring", at: rings, size: 3.2, colour: "mark", width: 1.2, fill: "paper" },
    { kind: "lines", at: feet, colour: "mark", width: 1.2 },
  ];
  const clear = s.left + (l.name ? 36 + widthOf(l.name, 12) : s.clear ?? 0);
  const small = s.unwritten !== undefined && each < LEAST_INTERVAL;
  const size = small ? INTERVAL_SMALL : INTERVAL_TEXT;
  const intervals = beats.flatMap(({ sample, text, more }, i) => {
    if (!text || i === 0) return [];
    const [a, b] = [x(beats[i - 1].sample), x(sample)];
    const words = !more ? text : b - a >= widthOf(more, size) + 4 ? more : text + " ?";
    return [{ a, b, text: words, off: more !== undefined, room: s.unwritten ? widthOf(words, size) + 4 : LEAST_INTERVAL }];
  });
  let most = Infinity;
  const fit = () => intervals.filter(({ a, b, room }) => a >= clear && b - a >= room && (a + b + room) / 2 <= most);
  if (s.unwritten && fit().length < intervals.length) {
    // How many have no room stands at the end of their row, not over the trace.
    most = s.width - 8 - widthOf(s.unwritten(intervals.length), INTERVAL_TEXT);
    items.push({ kind: "words", x: s.width - 4, y: l.top - 9, text: s.unwritten(intervals.length - fit().length), colour: "faint", size: INTERVAL_TEXT, align: "right", halo: true });
  }
  for (const { a, b, text, off } of fit()) items.push({ kind: "words", x: (a + b) / 2, y: l.top - 9, text, colour: off ? "ink" : "faint", size, align: "center" });
  return items;
}

/**
 * @param {Sheet} s
 * @param {(i: number) => number} x
 * @param {number} from
 * @param {number} to
 * @returns {Item[]}
 */
function noteItems(s, x, from, to) {
  /** @type {Item[]} */
  const items = [];
  const axis = axisOf(s);
  let free = -Infinity;
  for (const n of s.notes) {
    if (n.index < from || n.index > to) continue;
    const at = x(n.index);
    items.push({ kind: "lines", at: [at, 0, at, axis], colour: "margin" });
    const text = n.text.length > MOST_NOTE ? n.text.slice(0, MOST_NOTE - 1) + "…" : n.text;
    const width = widthOf(text, 12.5);
    const left = Math.max(s.left, Math.min(at + 6, s.width - width - 4));
    if (left < free) continue;
    free = left + width + 10;
    items.push({ kind: "words", x: left, y: axis - 33, text, colour: "ink", size: 12.5, italic: true, halo: true });
  }
  return items;
}
