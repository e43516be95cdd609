// The scene of the Show view: one trace, seconds and steps as hairlines, and below what a square
// of them measures. Pure.

import { quantity } from "../format.js";
import { niceStep } from "../scales.js";
import { widthOf } from "./scene.js";

/** @import {Item, Scene} from "./scene.js" */
/** @import {Curve} from "./sheet.js" */

/**
 * @typedef {object} ShowPicture
 * @property {number} width
 * @property {number} height
 * @property {number} text size of its words
 * @property {number} line width of the trace
 * @property {number} hair width of the grid
 * @property {Curve|null} curve
 * @property {number} low
 * @property {number} high NaN: not known yet
 * @property {string} unit
 * @property {number} from first sample seen
 * @property {number} to
 * @property {number} rateHz
 * @property {number} every seconds between lines
 * @property {{index: number, samples: number}[]} gaps
 * @property {number[]} beats
 */

/**
 * @param {ShowPicture} p
 * @returns {Scene}
 */
export function showScene(p) {
  const { width, height, text } = p;
  const top = Math.round(text * 1.15);
  const bottom = Math.max(top + 8, height - Math.round(text * 1.9));
  const px = width / (p.to - p.from);
  const x = (/** @type {number} */ i) => (i - p.from) * px;
  const known = p.low < p.high;
  const step = known ? niceStep((p.high - p.low) / 5) : 0;
  const scale = (bottom - top) / (p.high - p.low);
  const second = p.every * p.rateHz;
  /** @type {number[]} */
  const grid = [];
  for (let k = Math.ceil(p.from / second); k * second <= p.to; k++) grid.push(x(k * second), top, x(k * second), bottom);
  for (let k = Math.ceil(p.low / step); known && k * step <= p.high; k++) grid.push(0, bottom - (k * step - p.low) * scale, width, bottom - (k * step - p.low) * scale);
  /** @type {Item[]} */
  const items = [{ kind: "lines", at: grid, colour: "grid", width: p.hair }];
  for (const g of p.gaps) {
    const from = Math.max(0, x(g.index));
    const to = Math.min(width, x(g.index + g.samples));
    if (to > from) items.push({ kind: "box", x: from, y: top, width: to - from, height: bottom - top, colour: "paper", hatch: "gap" });
  }
  if (p.curve && known) items.push({ kind: "trace", ...p.curve, top, bottom, base: p.low, scale, colour: "trace0", width: p.line });
  items.push({ kind: "marks", mark: "down", at: p.beats.flatMap((b) => [x(b), text * 0.32]), size: text * 0.28, colour: "mark", fill: "mark" });
  return { width, height, items: [...items, ...measures(p, bottom + text * 0.95, second * px, step)] };
}

/**
 * What a square of the grid is across and up.
 * @param {ShowPicture} p
 * @param {number} y
 * @param {number} long
 * @param {number} step
 * @returns {Item[]}
 */
function measures(p, y, long, step) {
  const { text, width } = p;
  const left = text * 0.6;
  /** @type {Item[]} */
  const items = [
    { kind: "lines", at: [left, y, left + long, y, left, y - text * 0.22, left, y + text * 0.22, left + long, y - text * 0.22, left + long, y + text * 0.22], colour: "ink", width: 3 },
    { kind: "words", x: left + long + text * 0.4, y, text: `${p.every}\u00a0s`, colour: "ink", size: text },
  ];
  if (!(step > 0) || p.unit === "") return items;
  const label = quantity(step, p.unit, 1);
  const right = width - text * 0.5;
  // Between two lines: no measure itself, so it never runs into the trace.
  const at = right - widthOf(label, text) - text * 0.8;
  const [a, b, half] = [y - text * 0.5, y + text * 0.5, text * 0.3];
  items.push({ kind: "lines", at: [at, a, at, b, at - half, a, at + half, a, at - half, b, at + half, b], colour: "ink", width: 3 }, { kind: "words", x: right, y, text: label, colour: "ink", size: text, align: "right" });
  return items;
}
