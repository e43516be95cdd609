// A small plot for drawers and blocks. It draws when told to, not by itself.

import { h } from "./dom.js";
import { fit, paint } from "./scene/canvas.js";
import { chartNumbers, chartScene } from "./scene/chart.js";
import { PAPER_CSS, register } from "./scene/picture.js";
import { theme } from "./theme.js";
import { plotWords as W } from "./words.js";

/** @import {Axis, Curve, Rule} from "./scene/chart.js" */

export class Plot {
  /**
   * @param {HTMLElement} root gets a canvas that fills it; give it a height
   * @param {{label: string, bare?: boolean}} options bare: no axes, for a thumbnail
   */
  constructor(root, options) {
    this.root = root;
    this.canvas = h("canvas", { class: "plot", role: "img", "aria-label": options.label });
    root.append(this.canvas);
    const ctx = this.canvas.getContext("2d");
    if (!ctx) throw new Error(W.thisBrowserCannotDrawOn);
    this.ctx = ctx;
    /** @type {import("./scene/chart.js").Chart} */
    this.chart = { x: { low: 0, high: 1 }, y: { low: 0, high: 1 }, curves: [], rules: [], bare: options.bare === true };
    this.resizer = new ResizeObserver(() => this.draw());
    this.resizer.observe(root);
    register(this.canvas, {
      draw: () => this.draw(), paper: () => this.scene(Math.min(PAPER_CSS, root.clientWidth), root.clientHeight),
      seen: () => this.scene(root.clientWidth, root.clientHeight), numbers: () => chartNumbers(this.chart),
    });
  }

  /**
   * @param {Axis} x
   * @param {Axis} y
   * @param {Curve[]} curves
   * @param {Rule[]} [rules]
   */
  set(x, y, curves, rules = []) {
    Object.assign(this.chart, { x, y, curves, rules });
    this.draw();
  }

  /** @param {number} width @param {number} height */
  scene(width, height) {
    return chartScene(this.chart, width, height);
  }

  draw() {
    if (!fit(this.canvas, this.root)) return;
    this.ctx.clearRect(0, 0, this.canvas.width, this.canvas.height);
    paint(this.ctx, this.scene(this.root.clientWidth, this.root.clientHeight).items, theme.palette);
  }

  destroy() {
    this.resizer.disconnect();
    this.canvas.remove();
  }
}
