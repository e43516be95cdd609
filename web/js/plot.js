// A small canvas plot for drawers and blocks: curves over linear or logarithmic
// axes with units and a legend. It draws when told to, not by itself.

import { linearTicks, logTicks, timeStep } from "./scales.js";
import { clockTime, fixed, prefixFor, stepDecimals } from "./format.js";
import { plotWords as W } from "./words.js";

/** @import {Palette} from "./theme.js" */

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
/** @typedef {"dot"|"ring"|"triangle"|"cross"} Mark */
/** @typedef {{x?: number, y?: number, label?: string}} Rule a line across at x or y */

const FONT = 'system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif';

export class Plot {
  /**
   * @param {HTMLElement} root gets a canvas that fills it; give it a height
   * @param {{palette: Palette, label: string, bare?: boolean}} options bare: no axes, for a thumbnail
   */
  constructor(root, options) {
    this.root = root;
    this.palette = options.palette;
    this.bare = options.bare === true;
    this.canvas = document.createElement("canvas");
    this.canvas.className = "plot";
    this.canvas.setAttribute("role", "img");
    this.canvas.setAttribute("aria-label", options.label);
    root.append(this.canvas);
    const ctx = this.canvas.getContext("2d");
    if (!ctx) throw new Error(W.thisBrowserCannotDrawOn);
    this.ctx = ctx;
    /** @type {Axis} */
    this.x = { low: 0, high: 1 };
    /** @type {Axis} */
    this.y = { low: 0, high: 1 };
    /** @type {Curve[]} */
    this.curves = [];
    /** @type {Rule[]} */
    this.rules = [];
    this.resizer = new ResizeObserver(() => this.draw());
    this.resizer.observe(root);
  }

  /**
   * @param {Axis} x
   * @param {Axis} y
   * @param {Curve[]} curves
   * @param {Rule[]} [rules]
   */
  set(x, y, curves, rules = []) {
    this.x = x;
    this.y = y;
    this.curves = curves;
    this.rules = rules;
    this.draw();
  }

  /** @param {Palette} palette */
  setPalette(palette) {
    this.palette = palette;
    this.draw();
  }

  draw() {
    const ratio = Math.min(2, window.devicePixelRatio || 1);
    const width = Math.round(this.root.clientWidth * ratio);
    const height = Math.round(this.root.clientHeight * ratio);
    if (width < 2 || height < 2) return;
    if (this.canvas.width !== width) this.canvas.width = width;
    if (this.canvas.height !== height) this.canvas.height = height;
    const ctx = this.ctx;
    ctx.clearRect(0, 0, width, height);
    const box = this.bare ? { left: 1, top: 2, right: width - 1, bottom: height - 2 } : { left: 54 * ratio, top: 8 * ratio, right: width - 8 * ratio, bottom: height - 36 * ratio };
    const px = mapping(this.x, box.left, box.right);
    const py = mapping(this.y, box.bottom, box.top);
    if (!this.bare) this.#axes(ctx, box, px, py, ratio);
    ctx.save();
    ctx.beginPath();
    ctx.rect(box.left, box.top, box.right - box.left, box.bottom - box.top);
    ctx.clip();
    /** @type {[number, number][]} */
    const taken = [];
    for (const r of this.rules) this.#rule(ctx, r, box, px, py, ratio, taken);
    for (const c of this.curves) {
      if (c.band) {
        shade(ctx, c, c.band, px, py);
        continue;
      }
      ctx.strokeStyle = c.colour;
      ctx.lineWidth = (c.width ?? 1.5) * ratio;
      ctx.setLineDash((c.dash ?? []).map((d) => d * ratio));
      if (c.mark) {
        marks(ctx, c, c.mark, px, py, ratio);
        continue;
      }
      ctx.beginPath();
      let pen = false;
      for (let i = 0; i < c.x.length; i++) {
        const x = px(c.x[i]);
        const y = py(c.y[i]);
        if (!Number.isFinite(x) || !Number.isFinite(y)) {
          pen = false;
          continue;
        }
        const clamped = Math.min(box.bottom + 50, Math.max(box.top - 50, y));
        if (pen) ctx.lineTo(x, clamped);
        else ctx.moveTo(x, clamped);
        pen = true;
      }
      ctx.stroke();
    }
    ctx.setLineDash([]);
    ctx.restore();
    if (!this.bare) this.#legend(ctx, box, ratio);
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {{left: number, top: number, right: number, bottom: number}} box
   * @param {(v: number) => number} px
   * @param {(v: number) => number} py
   * @param {number} ratio
   */
  #axes(ctx, box, px, py, ratio) {
    const { palette } = this;
    ctx.lineWidth = Math.max(1, Math.round(ratio));
    ctx.font = `${11 * ratio}px ${FONT}`;
    ctx.textBaseline = "middle";
    const tx = ticks(this.x, (box.right - box.left) / ratio / 62);
    const ty = ticks(this.y, (box.bottom - box.top) / ratio / 32);
    ctx.strokeStyle = palette.grid;
    ctx.fillStyle = palette.faint;
    ctx.textAlign = "center";
    for (const t of tx.values) {
      const x = Math.round(px(t)) + 0.5;
      line(ctx, x, box.top, x, box.bottom);
      const text = tx.text(t);
      ctx.fillText(text, Math.min(x, this.canvas.width - ctx.measureText(text).width / 2 - 1), box.bottom + 11 * ratio);
    }
    ctx.textAlign = "right";
    for (const t of ty.values) {
      const y = Math.round(py(t)) + 0.5;
      line(ctx, box.left, y, box.right, y);
      ctx.fillText(ty.text(t), box.left - 6 * ratio, y);
    }
    ctx.strokeStyle = palette.margin;
    line(ctx, box.left, box.top, box.left, box.bottom);
    ctx.textAlign = "right";
    ctx.fillText([this.x.label, tx.unit].filter(Boolean).join(", "), box.right, box.bottom + 26 * ratio);
    ctx.textAlign = "left";
    ctx.fillText([this.y.label, ty.unit].filter(Boolean).join(", "), 2, box.bottom + 26 * ratio);
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {Rule} rule
   * @param {{left: number, top: number, right: number, bottom: number}} box
   * @param {(v: number) => number} px
   * @param {(v: number) => number} py
   * @param {number} ratio
   * @param {[number, number][]} taken where labels stand already, from and to
   */
  #rule(ctx, rule, box, px, py, ratio, taken) {
    ctx.strokeStyle = this.palette.faint;
    ctx.fillStyle = this.palette.ink;
    ctx.lineWidth = ratio;
    ctx.setLineDash([3 * ratio, 3 * ratio]);
    ctx.font = `${11 * ratio}px ${FONT}`;
    ctx.textAlign = "left";
    ctx.textBaseline = "top";
    if (rule.x !== undefined) {
      line(ctx, px(rule.x), box.top, px(rule.x), box.bottom);
      if (rule.label) {
        // To the left of a line too near the right edge.
        const width = ctx.measureText(rule.label).width;
        const right = px(rule.x) + 4 * ratio;
        const left = right + width + 2 * ratio <= box.right ? right : px(rule.x) - 4 * ratio - width;
        if (taken.every(([from, to]) => left > to || left + width < from)) {
          taken.push([left - 3 * ratio, left + width + 3 * ratio]);
          ctx.fillText(rule.label, left, box.top + 2 * ratio);
        }
      }
    }
    if (rule.y !== undefined) {
      line(ctx, box.left, py(rule.y), box.right, py(rule.y));
      if (rule.label) ctx.fillText(rule.label, box.left + 4 * ratio, py(rule.y) + 2 * ratio);
    }
    ctx.setLineDash([]);
  }

  /**
   * @param {CanvasRenderingContext2D} ctx
   * @param {{left: number, top: number, right: number, bottom: number}} box
   * @param {number} ratio
   */
  #legend(ctx, box, ratio) {
    let y = box.top + 10 * ratio;
    ctx.font = `${11 * ratio}px ${FONT}`;
    ctx.textAlign = "right";
    ctx.textBaseline = "middle";
    for (const c of this.curves) {
      if (!c.label) continue;
      ctx.fillStyle = this.palette.ink;
      ctx.fillText(c.label, box.right - 30 * ratio, y);
      ctx.strokeStyle = c.colour;
      ctx.lineWidth = (c.width ?? 1.5) * ratio;
      ctx.setLineDash((c.dash ?? []).map((d) => d * ratio));
      line(ctx, box.right - 26 * ratio, y, box.right - 4 * ratio, y);
      ctx.setLineDash([]);
      y += 15 * ratio;
    }
  }

  destroy() {
    this.resizer.disconnect();
    this.canvas.remove();
  }
}

/**
 * Signs at a curve's points: filled dots, the others in outline.
 * @param {CanvasRenderingContext2D} ctx with the curve's stroke set
 * @param {Curve} c
 * @param {Mark} mark
 * @param {(v: number) => number} px
 * @param {(v: number) => number} py
 * @param {number} ratio
 */
function marks(ctx, c, mark, px, py, ratio) {
  const r = (c.width ?? 2) * ratio;
  ctx.fillStyle = c.colour;
  ctx.lineWidth = 1.4 * ratio;
  ctx.beginPath();
  for (let i = 0; i < c.x.length; i++) {
    const x = px(c.x[i]);
    const y = py(c.y[i]);
    if (!Number.isFinite(x) || !Number.isFinite(y)) continue;
    if (mark === "triangle") {
      ctx.moveTo(x, y - 1.15 * r);
      ctx.lineTo(x + r, y + 0.85 * r);
      ctx.lineTo(x - r, y + 0.85 * r);
      ctx.closePath();
    } else if (mark === "cross") {
      ctx.moveTo(x - r, y - r);
      ctx.lineTo(x + r, y + r);
      ctx.moveTo(x + r, y - r);
      ctx.lineTo(x - r, y + r);
    } else {
      ctx.moveTo(x + r, y);
      ctx.arc(x, y, r, 0, 2 * Math.PI);
    }
  }
  if (mark === "dot") ctx.fill();
  else ctx.stroke();
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {number} x1
 * @param {number} y1
 * @param {number} x2
 * @param {number} y2
 */
function line(ctx, x1, y1, x2, y2) {
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.stroke();
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Curve} c
 * @param {ArrayLike<number>} band
 * @param {(v: number) => number} px
 * @param {(v: number) => number} py
 */
function shade(ctx, c, band, px, py) {
  ctx.fillStyle = c.colour;
  ctx.globalAlpha = 0.16;
  ctx.beginPath();
  for (let i = 0; i < c.x.length; i++) ctx.lineTo(px(c.x[i]), py(c.y[i]));
  for (let i = c.x.length - 1; i >= 0; i--) ctx.lineTo(px(c.x[i]), py(band[i]));
  ctx.fill();
  ctx.globalAlpha = 1;
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
