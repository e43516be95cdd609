// The lanes' names on the screen, each with its line and its range to choose.

import { fill, h, select } from "../dom.js";
import { quantity } from "../format.js";
import { paint } from "../scene/canvas.js";
import { HEAD } from "../scene/sheet.js";
import { POINT_NAMES, theme } from "../theme.js";
import { traceLabelsWords as W } from "../words.js";

/** @import {Lane} from "./lanes.js" */
/** @import {TracePanel} from "./trace.js" */

const SPANS = [1e6, 1e5, 1e4, 5e3, 2e3, 1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001, 0.0005, 0.0002, 0.0001];

export class Labels {
  /** @param {TracePanel} trace */
  constructor(trace) {
    this.trace = trace;
    this.root = h("div", { class: "lane-labels" });
    /** CSS pixels. */
    this.width = 0;
  }

  build() {
    const { trace } = this;
    fill(this.root, ...trace.lanes.map((lane, i) => {
      const name = `${lane.probe.channel}-${POINT_NAMES[lane.probe.point]}`;
      const s = select("span-" + name, choices(lane), (v) => trace.setSpan(i, Number(v)), { class: "span", "aria-label": W.spanOf(trace.laneName(lane)), title: W.spanTheHeightOfThe });
      s.value = String(Math.max(0, lane.span));
      return h("div", { class: "lane-label" + (i === trace.selected ? " chosen" : ""), "data-testid": "lane-" + name }, this.#swatch(lane), h("span", {}, trace.laneName(lane)), s);
    }));
    this.place();
  }

  /** @param {Lane} lane */
  #swatch(lane) {
    const canvas = h("canvas", { class: "swatch", width: 44, height: 16, "aria-hidden": "true" });
    const ctx = canvas.getContext("2d");
    const { width, on, off } = this.trace.styleOf(lane);
    if (ctx) paint(ctx, [{ kind: "lines", at: [0.5, 4, 21.5, 4], colour: this.trace.colourOf(lane), width, dash: off > 0 ? [on, off] : undefined }], theme.palette, { ratio: 2 });
    return canvas;
  }

  place() {
    const { lanes, overlaid, left, width } = this.trace;
    [...this.root.children].forEach((chip, i) => {
      if (lanes[i] && chip instanceof HTMLElement) chip.style.top = overlaid ? "" : `${lanes[i].top - HEAD + 3}px`;
    });
    const first = this.root.firstElementChild;
    this.width = overlaid ? width : first instanceof HTMLElement ? first.offsetWidth : 0;
    this.root.style.paddingLeft = `${left + 6}px`;
  }

  choose() {
    [...this.root.children].forEach((c, i) => c.classList.toggle("chosen", i === this.trace.selected));
  }
}

/** @param {Lane} lane @returns {[string, string][]} */
function choices(lane) {
  const [least, most] = lane.unit === "counts" ? [10, 1e6] : [0.0001, lane.unit === "V" ? 10 : 1000];
  const steps = SPANS.filter((s) => s >= least && s <= most && (lane.unit === "counts" || s <= 1000));
  if (lane.span > 0 && !steps.includes(lane.span)) steps.push(lane.span);
  steps.sort((a, b) => b - a);
  return [["0", W.autoRange], ...steps.map((s) => /** @type {[string, string]} */ ([String(s), "range " + quantity(s, lane.unit, 1)]))];
}
