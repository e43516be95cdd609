// The scene of a chart: curves over linear or logarithmic axes with units and a legend. Pure.

import { clockTime, fixed, prefixFor, stepDecimals } from "../format.js";
import { quoted } from "../trace/csv.js";
import { linearTicks, logTicks, timeStep } from "../scales.js";
import { widthOf } from "./scene.js";

/** @import {Item, Mark, Scene} from "./scene.js" */

/**
 * @typedef {object} Axis
 * @property {number} low
 * @property {number} high
 * @property {boolean} [log]
 * @property {boolean} [clock] seconds written as m:ss
 * @property {string} [unit]
 * @property {string} [label]
 */
/** `band`: shaded between y and it, without a line; `mark`: signs at the points instead of a line. @typedef {{x: ArrayLike<number>, y: ArrayLike<number>, band?: ArrayLike<number>, colour: string, width?: number, dash?: number[], label?: string, mark?: Mark}} Curve */
/** @typedef {{x?: number, y?: number, label?: string}} Rule a line across at x or y */
/** `bare`: without axes, for a thumbnail. @typedef {{x: Axis, y: Axis, curves: Curve[], rules: Rule[], bare: boolean}} Chart */
/** @typedef {{left: number, top: number, right: number, bottom: number}} Edges */

/** Beside the axes. */
export const LEFT_CSS = 54;
export const RIGHT_CSS = 8;
const TEXT = 11;
/** A line leaves the box so far and no further. */
const BEYOND = 50;

/**
 * @param {Chart} chart
 * @param {number} width
 * @param {number} height
 * @returns {Scene}
 */
export function chartScene(chart, width, height) {
  const e = chart.bare ? { left: 1, top: 2, right: width - 1, bottom: height - 2 } : { left: LEFT_CSS, top: 8, right: width - RIGHT_CSS, bottom: height - 36 };
  const px = mapping(chart.x, e.left, e.right);
  const py = mapping(chart.y, e.bottom, e.top);
  const inside = [...rules(chart.rules, e, px, py), ...chart.curves.map((c) => curve(c, e, px, py))];
  /** @type {Item} */
  const plot = { kind: "clip", x: e.left, y: e.top, width: e.right - e.left, height: e.bottom - e.top, items: inside };
  return { width, height, items: chart.bare ? [plot] : [...axes(chart, e, px, py, width), plot, ...legend(chart.curves, e)] };
}

/**
 * @param {Curve} c
 * @param {Edges} e
 * @param {(v: number) => number} px
 * @param {(v: number) => number} py
 * @returns {Item}
 */
function curve(c, e, px, py) {
  const x = Array.from(c.x, px);
  const { colour, dash } = c;
  if (c.band) return { kind: "path", x: [...x, ...x.toReversed()], y: [...Array.from(c.y, py), ...Array.from(c.band, py).reverse()], colour, fill: true, alpha: 0.16 };
  if (c.mark) return { kind: "marks", mark: c.mark, at: x.flatMap((v, i) => (Number.isFinite(v) && Number.isFinite(py(c.y[i])) ? [v, py(c.y[i])] : [])), size: c.width ?? 2, colour, width: 1.4, fill: c.mark === "dot" ? colour : undefined };
  return { kind: "path", x, y: Array.from(c.y, (v) => Math.min(e.bottom + BEYOND, Math.max(e.top - BEYOND, py(v)))), colour, width: c.width ?? 1.5, dash };
}

/**
 * @param {Chart} chart
 * @param {Edges} e
 * @param {(v: number) => number} px
 * @param {(v: number) => number} py
 * @param {number} width
 * @returns {Item[]}
 */
function axes(chart, e, px, py, width) {
  const tx = ticks(chart.x, (e.right - e.left) / 62);
  const ty = ticks(chart.y, (e.bottom - e.top) / 32);
  /** @type {(x: number, y: number, text: string, align: "left"|"center"|"right") => Item} */
  const words = (x, y, text, align) => ({ kind: "words", x, y, text, colour: "faint", size: TEXT, align });
  const below = e.bottom + 26;
  return [
    { kind: "lines", at: [...tx.values.flatMap((t) => [px(t), e.top, px(t), e.bottom]), ...ty.values.flatMap((t) => [e.left, py(t), e.right, py(t)])], colour: "grid" },
    ...tx.values.map((t) => words(Math.min(px(t), width - widthOf(tx.text(t), TEXT) / 2 - 1), e.bottom + 11, tx.text(t), "center")),
    ...ty.values.map((t) => words(e.left - 6, py(t), ty.text(t), "right")),
    { kind: "lines", at: [e.left, e.top, e.left, e.bottom], colour: "margin" },
    words(e.right, below, [chart.x.label, tx.unit].filter(Boolean).join(", "), "right"),
    words(2, below, [chart.y.label, ty.unit].filter(Boolean).join(", "), "left"),
  ];
}

/**
 * @param {Rule[]} list
 * @param {Edges} e
 * @param {(v: number) => number} px
 * @param {(v: number) => number} py
 * @returns {Item[]}
 */
function rules(list, e, px, py) {
  /** Where labels stand already, from and to. @type {[number, number][]} */
  const taken = [];
  return list.flatMap((r) => {
    const across = r.y !== undefined;
    const at = across ? py(r.y ?? 0) : px(r.x ?? 0);
    /** @type {Item[]} */
    const items = [{ kind: "lines", at: across ? [e.left, at, e.right, at] : [at, e.top, at, e.bottom], colour: "faint", dash: [3, 3] }];
    if (!r.label) return items;
    const width = widthOf(r.label, TEXT);
    // To the left of a line too near the right edge.
    const x = across ? e.left + 4 : at + 6 + width <= e.right ? at + 4 : at - 4 - width;
    if (!across && !taken.every(([from, to]) => x > to || x + width < from)) return items;
    if (!across) taken.push([x - 3, x + width + 3]);
    return [...items, { kind: "words", x, y: (across ? at : e.top) + 8, text: r.label, colour: "ink", size: TEXT }];
  });
}

/**
 * @param {Curve[]} curves
 * @param {Edges} e
 * @returns {Item[]}
 */
function legend(curves, e) {
  return curves.filter((c) => c.label).flatMap((c, i) => {
    const y = e.top + 10 + 15 * i;
    return /** @type {Item[]} */ ([
      { kind: "words", x: e.right - 30, y, text: c.label, colour: "ink", size: TEXT, align: "right" },
      { kind: "lines", at: [e.right - 26, y, e.right - 4, y], colour: c.colour, width: c.width ?? 1.5, dash: c.dash },
    ]);
  });
}

/**
 * The points of a chart's curves as lines of CSV: name of the curve, place, value; of a band both edges.
 * @param {Chart} chart
 */
export function chartNumbers(chart) {
  const head = (/** @type {Axis} */ a) => quoted([a.label, a.unit && `[${a.unit}]`].filter(Boolean).join(" "));
  const bands = chart.curves.some((c) => c.band);
  const rows = chart.curves.flatMap((c, i) => Array.from(c.x, (x, k) => [quoted(c.label ?? String(i + 1)), x, c.y[k], ...(bands ? [c.band?.[k] ?? ""] : [])].join(",")));
  return [["curve", head(chart.x), head(chart.y), ...(bands ? ["upper"] : [])].join(","), ...rows].join("\r\n");
}

/**
 * @param {Axis} axis
 * @param {number} from
 * @param {number} to
 * @returns {(v: number) => number}
 */
export function mapping(axis, from, to) {
  if (axis.log) {
    const low = Math.log(axis.low);
    const k = (to - from) / (Math.log(axis.high) - low);
    return (v) => (v > 0 ? from + (Math.log(v) - low) * k : NaN);
  }
  const k = (to - from) / (axis.high - axis.low);
  return (v) => from + (v - axis.low) * k;
}

/**
 * @param {Axis} axis
 * @param {number} most
 * @returns {{values: number[], text: (v: number) => string, unit: string}}
 */
function ticks(axis, most) {
  const unit = axis.unit ?? "";
  if (axis.log) {
    const values = logTicks(axis.low, axis.high, most);
    if (axis.high / axis.low < 1e3) return { values, unit, text: (v) => String(Number(v.toPrecision(6))) };
    // Over many decades each mark has its own prefix: 1, 100 m, 10 m, 1 m, 100 µ.
    return {
      values, unit, text: (v) => {
        const p = prefixFor(v * (1 + 1e-9), unit);
        const sign = p.unit.slice(0, p.unit.length - unit.length);
        return String(Number((v / p.factor).toPrecision(6))) + (sign ? "\u00a0" + sign : "");
      },
    };
  }
  if (axis.clock) {
    const step = timeStep((axis.high - axis.low) / Math.max(1, most));
    const first = Math.ceil(axis.low / step);
    return { values: Array.from({ length: Math.max(0, Math.floor(axis.high / step) - first + 1) }, (_, i) => (first + i) * step), unit: "", text: (v) => clockTime(v, step) };
  }
  const t = linearTicks(axis.low, axis.high, most);
  const p = prefixFor(Math.max(Math.abs(axis.low), Math.abs(axis.high)), unit);
  const decimals = stepDecimals(t.step / p.factor);
  const values = Array.from({ length: t.count }, (_, i) => t.first + i * t.step);
  return { values, unit: p.unit, text: (v) => fixed(v / p.factor, decimals) };
}
