// True millimetres: the seconds across and the ranges of chest signals that they ask for.

import { GUESS_MM_PER_CSS, heightFor, HEIGHTS, secondsFor, spanFor } from "./paper.js";
import { LEAST_SECONDS } from "./view.js";
import { traceMillimetresWords as W } from "../words.js";

/** @import {Lane} from "./lanes.js" */
/** @import {TracePanel} from "./trace.js" */

export class Millimetres {
  /** @param {TracePanel} trace */
  constructor(trace) {
    this.trace = trace;
    /** Of a device pixel; 0 until the screen is measured. */
    this.perDevicePx = 0;
    this.before = 10;
  }

  /** Of a CSS pixel of the screen, as good as is known. */
  get perCss() {
    return this.perDevicePx > 0 ? this.perDevicePx * (window.devicePixelRatio || 1) : GUESS_MM_PER_CSS;
  }

  /** @param {{on?: boolean, mmPerSecond?: number, mmPerVolt?: number}} what */
  set(what) {
    const { trace } = this;
    const { paper } = trace;
    const was = paper.on;
    Object.assign(paper, what);
    if (paper.on && !was) {
      this.before = trace.view.secondsAcross;
      if (this.perDevicePx === 0) trace.options.calibrate();
    }
    this.settle();
    for (const l of trace.lanes) {
      l.trueSpan = 0;
      l.auto.reset();
    }
    this.#show();
    if (!paper.on && was) trace.setAcross(this.before);
    trace.options.paperChanged({ ...paper });
    trace.repaint();
  }

  off() {
    if (this.trace.paper.on) this.set({ on: false });
  }

  /** Gives the height a value that suits what is seen, until one is chosen. */
  settle() {
    const { paper, lanes } = this.trace;
    if (paper.mmPerVolt > 0) return;
    const chest = lanes.find((l) => this.trace.isChest(l));
    paper.mmPerVolt = chest ? heightFor(chest.seenHigh - chest.seenLow) : 10000;
  }

  /** @param {number} mmPerDevicePx 0 for unknown */
  setScreen(mmPerDevicePx) {
    this.perDevicePx = mmPerDevicePx;
    this.#show();
    this.trace.repaint();
  }

  #show() {
    this.trace.toolbar.showPaper();
    this.trace.root.classList.toggle("uncalibrated", this.trace.paper.on && this.perDevicePx === 0);
  }

  /** The scale in words. @param {boolean} [printed] on paper a millimetre is one */
  text(printed = false) {
    const { paper, lanes } = this.trace;
    const height = lanes.some((l) => this.trace.isChest(l)) && !this.trace.overlaid ? W.and(HEIGHTS.find((v) => v.mmPerVolt === paper.mmPerVolt)?.text ?? "") : "";
    return `${paper.mmPerSecond} mm/s${height}${printed || this.perDevicePx > 0 ? "" : W.screenNotMeasured}`;
  }

  /** Seconds across a plot so wide. @param {number} widthMm */
  across(widthMm) {
    return Math.max(LEAST_SECONDS, Number(secondsFor(widthMm, this.trace.paper.mmPerSecond).toPrecision(6)));
  }

  /** Volts up a lane so high, 0 where they are not true. @param {Lane} lane @param {number} heightMm */
  span(lane, heightMm) {
    return this.trace.isChest(lane) && !this.trace.overlaid ? spanFor(heightMm, this.trace.paper.mmPerVolt) : 0;
  }
}
