// The scene of the Show view: up to three lanes; on the right of each its name and an I-bar of
// true length that says its volts; seconds as hairlines and, at the foot, as a bar. No word
// lies across a trace. Pure.

import { fixed, quantity } from "../format.js";
import { nextStep, niceStep } from "../scales.js";
import { widthOf } from "./scene.js";

/** @import {Item, Scene} from "./scene.js" */
/** @import {Curve} from "./sheet.js" */

/** @typedef {{name: string, unit: string, curve: Curve|null, low: number, high: number}} ShowLane low not below high: not known yet */
/** @typedef {{width: number, text: number, inset?: ""|"beside"|"under", lanes: {name: string, unit: string, low: number, high: number}[]}} ShowSize inset: where the typical beat is */
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
 * @property {""|"beside"|"under"} [inset] where the typical beat is
 * @property {{title: string, typical: Typical|null}} [typical]
 */

/** The share of the width that the typical beat takes beside the traces, and of the height under them. */
const INSET_SHARE = 0.28;
const UNDER_SHARE = 0.3;
/** Most of a lane's height that an I-bar takes. */
const BAR_SHARE = 0.75;
/** A name of more letters than this stands in two lines, and is written smaller where its room is too narrow. */
const SHORT_NAME = 8;
/** A line's height, as a share of the size. */
const LINE = 1.05;

/**
 * Where the traces lie: between the typical beat, if it is beside them, and the I-bars with their volts and names.
 * @param {ShowSize} p
 * @returns {{left: number, right: number}}
 */
export function showPlot(p) {
  const longest = Math.max(0, ...p.lanes.flatMap((l) => [...nameLines(l.name), voltsOf(l)].map((line) => Math.min(line.length, SHORT_NAME))));
  return { left: p.inset === "beside" ? Math.round(p.width * INSET_SHARE) : 0, right: Math.round(Math.max(p.width * 0.5, p.width - p.text * (0.75 + 0.55 * longest))) };
}

/**
 * A long name in two lines as even as they go.
 * @param {string} name
 */
function nameLines(name) {
  if (name.length <= SHORT_NAME) return [name];
  const cuts = [...name.matchAll(/ /g)].map(({ index }) => [name.slice(0, index), name.slice(index + 1)]);
  const longest = (/** @type {string[]} */ lines) => Math.max(...lines.map((l) => l.length));
  return cuts.sort((a, b) => longest(a) - longest(b))[0] ?? [name];
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
  const under = p.inset === "under" ? Math.round(height * UNDER_SHARE) : 0;
  const strip = Math.round(text * 0.95);
  const foot = height - under - strip;
  const each = (foot - top) / Math.max(1, lanes.length);
  const px = (right - left) / (p.to - p.from);
  const x = (/** @type {number} */ i) => left + (i - p.from) * px;
  const second = p.every * p.rateHz;
  /** @type {number[]} */
  const grid = [];
  for (let k = Math.ceil(p.from / second); k * second <= p.to; k++) grid.push(x(k * second), top, x(k * second), foot);
  /** @type {Item[]} */
  const items = [{ kind: "lines", at: grid, colour: "grid", width: p.hair }];
  for (const g of p.gaps) {
    const from = Math.max(left, x(g.index));
    const to = Math.min(right, x(g.index + g.samples));
    if (to > from) items.push({ kind: "box", x: from, y: top, width: to - from, height: foot - top, colour: "paper", hatch: "gap" });
  }
  lanes.forEach((lane, i) => items.push(...laneItems(lane, { top: Math.round(top + i * each), bottom: Math.round(top + (i + 1) * each) }, p)));
  items.push(...secondsItems(p, { long: second * px, y: foot + strip / 2 }));
  if (p.inset === "beside") items.push(...besideItems(p, { x: 0, y: 0, width: left - text * 0.3, height: foot }));
  if (under) items.push(...underItems(p, { x: 0, y: height - under, width: right, height: under }));
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
  const pad = Math.min(text * 0.2, (place.bottom - place.top) * 0.06);
  const [top, bottom] = [place.top + pad, place.bottom - pad];
  const volts = voltsOf(lane);
  const says = sideWords([...nameLines(lane.name), volts], { top, bottom }, p);
  if (!(lane.low < lane.high)) return [...items, ...says];
  const scale = (bottom - top) / (lane.high - lane.low);
  const step = barOf(lane.high - lane.low);
  if (p.lanes.length === 1) for (let k = Math.ceil(lane.low / step); k * step <= lane.high; k++) items.push({ kind: "lines", at: [left, bottom - (k * step - lane.low) * scale, right, bottom - (k * step - lane.low) * scale], colour: "grid", width: p.hair });
  const [at, half] = [right + text * 0.35, text * 0.22];
  const foot = bottom - step * scale;
  if (volts) {
    // Beside the middle of the bar, below the name.
    const last = says[says.length - 1];
    last.y = Math.max(last.y, Math.min((foot + bottom) / 2, bottom - last.size / 2));
    last.colour = "ink";
  }
  items.push(...says);
  if (lane.curve) items.push({ kind: "trace", ...lane.curve, top, bottom, base: lane.low, scale, colour: "trace0", width: p.line });
  items.push({ kind: "lines", at: [at, foot, at, bottom, at - half, foot, at + half, foot, at - half, bottom, at + half, bottom], colour: "ink", width: Math.max(3, text * 0.07) });
  return items;
}

/**
 * Lines of words beside a lane, from its top, as large as they fit.
 * @param {string[]} lines
 * @param {{top: number, bottom: number}} place
 * @param {ShowPicture} p
 */
function sideWords(lines, place, p) {
  const x = showPlot(p).right + p.text * 0.7;
  const most = p.width - x - p.text * 0.05;
  const high = (place.bottom - place.top) / (lines.length * LINE);
  return lines.map((text, i) => ({ kind: /** @type {const} */ ("words"), x, y: place.top + Math.min(p.text, high) * LINE * (i + 0.5), text, colour: /** @type {"faint"|"ink"} */ ("faint"), size: Math.min(p.text, high, most / widthOf(text, 1)), most }));
}

/**
 * A bar as long as the seconds it says, at the foot of the traces.
 * @param {ShowPicture} p
 * @param {{long: number, y: number}} bar
 * @returns {Item[]}
 */
function secondsItems(p, { long, y }) {
  const { text } = p;
  const from = showPlot(p).right - text * 0.15 - long;
  const half = text * 0.2;
  return [
    { kind: "lines", at: [from, y, from + long, y, from, y - half, from, y + half, from + long, y - half, from + long, y + half], colour: "ink", width: Math.max(3, text * 0.07) },
    { kind: "words", x: from - text * 0.25, y, text: `${p.every}\u00a0s`, colour: "faint", size: Math.min(text, from / widthOf(`${p.every} s `, 1)), align: "right" },
  ];
}

/**
 * The typical beat beside the traces, its words under it.
 * @param {ShowPicture} p
 * @param {{x: number, y: number, width: number, height: number}} box
 * @returns {Item[]}
 */
function besideItems(p, box) {
  const { text } = p;
  const edge = box.x + box.width;
  const says = typicalSays(p).join(" ");
  const most = box.width - text * 0.5;
  return [
    { kind: "lines", at: [edge, box.y, edge, p.height], colour: "ink", width: p.hair * 1.5 },
    { kind: "words", x: box.x + text * 0.25, y: (box.height + p.height) / 2, text: says, colour: "faint", size: Math.min(text, most / widthOf(says, 1)), most },
    ...typicalItems(p, box),
  ];
}

/**
 * The typical beat under the traces, its words beside it.
 * @param {ShowPicture} p
 * @param {{x: number, y: number, width: number, height: number}} box
 * @returns {Item[]}
 */
function underItems(p, box) {
  const rule = { kind: /** @type {const} */ ("lines"), at: [0, box.y, p.width, box.y], colour: /** @type {const} */ ("ink"), width: p.hair * 1.5 };
  return [rule, ...sideWords(typicalSays(p), { top: box.y + p.text * 0.2, bottom: p.height }, p), ...typicalItems(p, box)];
}

/** @param {ShowPicture} p */
function typicalSays(p) {
  const t = p.typical?.typical;
  return [p.typical?.title ?? "", ...(t ? [`${t.seconds.toFixed(1)}\u00a0s`] : [])];
}

/**
 * The typical beat of the first lane, its band of single beats behind.
 * @param {ShowPicture} p
 * @param {{x: number, y: number, width: number, height: number}} box
 * @returns {Item[]}
 */
function typicalItems(p, box) {
  const t = p.typical?.typical;
  if (!t) return [];
  const { text } = p;
  const [low, high] = [Math.min(...t.low), Math.max(...t.high)];
  if (!(low < high)) return [];
  const [top, bottom] = [box.y + text * 0.2, box.y + box.height - text * 0.2];
  const y = (/** @type {number} */ v) => bottom - ((v - low) * (bottom - top)) / (high - low);
  const xs = t.mean.map((_, i) => box.x + text * 0.2 + (i * (box.width - text * 0.4)) / (t.mean.length - 1));
  return [
    { kind: "path", x: [...xs, ...xs.toReversed()], y: [...t.high.map(y), ...t.low.map(y).toReversed()], colour: "grid", fill: true, alpha: 0.6 },
    { kind: "path", x: xs, y: t.mean.map(y), colour: "ink", width: p.line },
  ];
}
