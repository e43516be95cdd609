// The scene of the Show view: up to three lanes, each with its name and an I-bar of true
// length that says its volts; seconds as hairlines and as a bar. Words are greyer and lie
// behind the traces, so that they can be large. Pure.

import { fixed, quantity } from "../format.js";
import { nextStep, niceStep } from "../scales.js";

/** @import {Item, Scene} from "./scene.js" */
/** @import {Curve} from "./sheet.js" */

/** @typedef {{name: string, unit: string, curve: Curve|null, low: number, high: number}} ShowLane low not below high: not known yet */
/** The mean of some beats, and how far they reach: as many values each, `seconds` in all. @typedef {{mean: number[], low: number[], high: number[], seconds: number, beats: number}} Typical */
/**
 * @typedef {object} ShowPicture
 * @property {number} width
 * @property {number} height
 * @property {number} text size of its words
 * @property {number} line width of the traces
 * @property {number} hair width of the grid
 * @property {ShowLane[]} lanes from above
 * @property {number} from first sample seen
 * @property {number} to
 * @property {number} rateHz
 * @property {number} every seconds between lines
 * @property {{index: number, samples: number}[]} gaps
 * @property {number[]} beats
 * @property {{title: string, typical: Typical|null}} [inset]
 */

/** The share of the width that the typical beat takes. */
const INSET_SHARE = 0.28;
/** Most of a lane's height that an I-bar takes. */
const BAR_SHARE = 0.75;

/**
 * Where the traces lie: between the typical beat, if there is one, and the I-bars with their volts.
 * @param {{width: number, text: number, inset?: unknown, lanes: {unit: string, low: number, high: number}[]}} p
 * @returns {{left: number, right: number}}
 */
export function showPlot(p) {
  const longest = Math.max(0, ...p.lanes.map((l) => voltsOf(l).length));
  return { left: p.inset ? Math.round(p.width * INSET_SHARE) : 0, right: Math.round(Math.max(p.width * 0.5, p.width - p.text * (0.75 + 0.55 * longest))) };
}

/**
 * What an I-bar says: "0.5 V", "20 mV".
 * @param {{unit: string, low: number, high: number}} lane
 */
function voltsOf(lane) {
  if (!(lane.low < lane.high) || lane.unit === "") return "";
  const step = barOf(lane.high - lane.low);
  return lane.unit === "V" && step >= 0.1 && step < 1 ? `${fixed(step, 1)}\u00a0V` : quantity(step, lane.unit, 1);
}

/**
 * @param {ShowPicture} p
 * @returns {Scene}
 */
export function showScene(p) {
  const { width, height, text, lanes } = p;
  const { left, right } = showPlot(p);
  const top = Math.round(text * 0.62);
  const each = (height - top) / Math.max(1, lanes.length);
  const px = (right - left) / (p.to - p.from);
  const x = (/** @type {number} */ i) => left + (i - p.from) * px;
  const second = p.every * p.rateHz;
  /** @type {number[]} */
  const grid = [];
  for (let k = Math.ceil(p.from / second); k * second <= p.to; k++) grid.push(x(k * second), top, x(k * second), height);
  /** @type {Item[]} */
  const items = [{ kind: "lines", at: grid, colour: "grid", width: p.hair }];
  for (const g of p.gaps) {
    const from = Math.max(left, x(g.index));
    const to = Math.min(right, x(g.index + g.samples));
    if (to > from) items.push({ kind: "box", x: from, y: top, width: to - from, height: height - top, colour: "paper", hatch: "gap" });
  }
  lanes.forEach((lane, i) => items.push(...laneItems(lane, { top: Math.round(top + i * each), bottom: Math.round(top + (i + 1) * each) }, p)));
  items.push(...secondsItems(p, second * px));
  if (p.inset) items.push(...insetItems(p, { x: 0, y: top, width: left - text * 0.3, height: height - top }));
  items.push({ kind: "marks", mark: "down", at: p.beats.flatMap((b) => [x(b), text * 0.12]), size: text * 0.24, colour: "mark", fill: "mark" });
  return { width, height, items };
}

/**
 * The longest I-bar of a round value that fits.
 * @param {number} range
 */
export function barOf(range) {
  const step = niceStep(range * BAR_SHARE);
  return step > range * BAR_SHARE * 1.0001 ? nextStep(step, -1) : step;
}

/**
 * @param {ShowLane} lane
 * @param {{top: number, bottom: number}} place
 * @param {ShowPicture} p
 * @returns {Item[]}
 */
function laneItems(lane, place, p) {
  const { text } = p;
  const { left, right } = showPlot(p);
  /** @type {Item[]} */
  const items = [];
  if (place.top > text * 0.62 + 1) items.push({ kind: "lines", at: [left, place.top, p.width, place.top], colour: "ink", width: p.hair * 1.5 });
  const name = (/** @type {number} */ most) => items.push({ kind: "words", x: left + text * 0.25, y: place.top + text * 0.6, text: lane.name, colour: "faint", size: text, most });
  const pad = Math.min(text * 0.2, (place.bottom - place.top) * 0.06);
  const [top, bottom] = [place.top + pad, place.bottom - pad];
  if (!(lane.low < lane.high)) {
    name(right - left);
    return items;
  }
  const scale = (bottom - top) / (lane.high - lane.low);
  const step = barOf(lane.high - lane.low);
  if (p.lanes.length === 1) for (let k = Math.ceil(lane.low / step); k * step <= lane.high; k++) items.push({ kind: "lines", at: [left, bottom - (k * step - lane.low) * scale, right, bottom - (k * step - lane.low) * scale], colour: "grid", width: p.hair });
  const [at, half] = [right + text * 0.35, text * 0.22];
  const foot = bottom - step * scale;
  name((right - left) * 0.6);
  items.push({ kind: "words", x: at + text * 0.35, y: (foot + bottom) / 2, text: voltsOf(lane), colour: "ink", size: text, most: p.width - at - text * 0.4 });
  if (lane.curve) items.push({ kind: "trace", ...lane.curve, top, bottom, base: lane.low, scale, colour: "trace0", width: p.line });
  items.push({ kind: "lines", at: [at, foot, at, bottom, at - half, foot, at + half, foot, at - half, bottom, at + half, bottom], colour: "ink", width: Math.max(3, text * 0.07) });
  return items;
}

/**
 * A bar as long as the seconds it says, at the foot beside the I-bars.
 * @param {ShowPicture} p
 * @param {number} long
 * @returns {Item[]}
 */
function secondsItems(p, long) {
  const { text } = p;
  const from = showPlot(p).right - text * 0.15 - long;
  const y = p.height - text * 0.35;
  const half = text * 0.2;
  return [
    { kind: "lines", at: [from, y, from + long, y, from, y - half, from, y + half, from + long, y - half, from + long, y + half], colour: "ink", width: Math.max(3, text * 0.07) },
    { kind: "words", x: from - text * 0.25, y: p.height - text * 0.55, text: `${p.every}\u00a0s`, colour: "faint", size: text, align: "right" },
  ];
}

/**
 * The typical beat of the first lane, its band of single beats behind.
 * @param {ShowPicture} p
 * @param {{x: number, y: number, width: number, height: number}} box
 * @returns {Item[]}
 */
function insetItems(p, box) {
  const { text } = p;
  const edge = box.x + box.width;
  const t = p.inset?.typical ?? null;
  /** @type {Item[]} */
  const items = [
    { kind: "lines", at: [edge, box.y, edge, p.height], colour: "ink", width: p.hair * 1.5 },
    { kind: "words", x: box.x + text * 0.25, y: box.y + text * 0.6, text: p.inset?.title ?? "", colour: "faint", size: text, most: box.width - text * 0.5 },
  ];
  if (!t) return items;
  const long = `${t.seconds.toFixed(1)}\u00a0s`;
  items.push({ kind: "words", x: box.x + text * 0.25, y: p.height - text * 0.55, text: long, colour: "faint", size: text, most: box.width - text * 0.5 });
  const [low, high] = [Math.min(...t.low), Math.max(...t.high)];
  if (!(low < high)) return items;
  // Between its words or, where that leaves little, before them.
  const pad = box.height > text * 4 ? text * 1.2 : text * 0.2;
  const [top, bottom] = [box.y + pad, p.height - pad];
  const y = (/** @type {number} */ v) => bottom - ((v - low) * (bottom - top)) / (high - low);
  const xs = t.mean.map((_, i) => box.x + text * 0.2 + (i * (box.width - text * 0.4)) / (t.mean.length - 1));
  items.push({ kind: "path", x: [...xs, ...xs.toReversed()], y: [...t.high.map(y), ...t.low.map(y).toReversed()], colour: "grid", fill: true, alpha: 0.6 });
  items.push({ kind: "path", x: xs, y: t.mean.map(y), colour: "ink", width: p.line });
  return items;
}
