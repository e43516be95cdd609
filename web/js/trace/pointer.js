// Moves the trace by pointer, wheel and the bar below it.

import { drag, h, setText } from "../dom.js";
import { duration } from "../format.js";
import { HEAD } from "../scene/sheet.js";
import { stepSeconds } from "../scales.js";
import { tracePointerWords as W } from "../words.js";

/** @import {TracePanel} from "./trace.js" */

/** A pointer that moved less wanted to choose, not to drag. */
const STILL_CSS = 4;

/** @param {TracePanel} trace @param {HTMLElement} e */
export function listen(trace, e) {
  const perCss = () => trace.view.samplesPerPx * trace.ratio;
  drag(e, (down) => {
    if (!trace.rings || trace.zoom.ready || down.shiftKey) return null;
    let last = down.clientX;
    let moved = false;
    const at = trace.lanes.findIndex((l) => down.offsetY >= l.top - HEAD && down.offsetY <= l.top + l.height);
    if (at >= 0 && !trace.overlaid) trace.select(at);
    return (m) => {
      if (!moved && Math.abs(m.clientX - down.clientX) < STILL_CSS) return;
      moved = true;
      trace.scrollBy(-(m.clientX - last) * perCss());
      last = m.clientX;
    };
  });
  trace.zoom.listen(e);
  e.addEventListener("dblclick", () => trace.zoom.out(true));
  e.addEventListener("wheel", (w) => {
    if (w.ctrlKey) {
      w.preventDefault();
      trace.setSeconds(stepSeconds(trace.view.secondsAcross, w.deltaY));
      return;
    }
    const scrolls = document.documentElement.scrollHeight > window.innerHeight + 2;
    const delta = w.deltaX !== 0 ? w.deltaX : w.shiftKey || !scrolls ? w.deltaY : 0;
    if (delta === 0) return;
    w.preventDefault();
    trace.scrollBy(delta * perCss());
  }, { passive: false });
}

/** The bar below: where in what is kept the window lies. */
export class Scrub {
  /** @param {TracePanel} trace */
  constructor(trace) {
    this.trace = trace;
    this.thumb = h("div", { class: "scrub-thumb" });
    this.root = h("div", { class: "scrub", role: "slider", tabindex: "0", "data-testid": "scrub", "aria-label": W.positionInTheLastTen, "aria-valuemin": "0", "aria-valuemax": "0", "aria-valuenow": "0", "aria-valuetext": "live" }, this.thumb);
    this.shown = "";
    const to = (/** @type {PointerEvent} */ e) => {
      const { rings, view } = trace;
      if (!rings) return;
      const box = this.root.getBoundingClientRect();
      const share = (e.clientX - box.left) / Math.max(1, box.width);
      trace.scrollBy(rings.start + share * (rings.end - rings.start) + view.samplesAcross / 2 - view.end);
    };
    drag(this.root, (down) => {
      to(down);
      return to;
    });
    this.root.addEventListener("keydown", (e) => {
      const page = trace.view.samplesAcross;
      const by = { ArrowLeft: -page / 10, ArrowRight: page / 10, PageUp: -page, PageDown: page, Home: -Infinity, End: Infinity }[e.key];
      if (by === undefined) return;
      e.preventDefault();
      e.stopPropagation();
      trace.scrollBy(by);
    });
  }

  /** Shows where the window lies. */
  show() {
    const { rings, view, toolbar } = this.trace;
    if (!rings) return;
    const span = Math.max(1, rings.end - rings.start, view.samplesAcross);
    const left = Math.max(0, (view.end - view.samplesAcross - rings.start) / span);
    const size = Math.min(1, view.samplesAcross / span);
    const shown = `${(left * 1000) | 0}/${(size * 1000) | 0}/${view.held}`;
    if (shown === this.shown) return;
    this.shown = shown;
    this.thumb.style.left = `${(Math.min(left, 1 - size) * 100).toFixed(2)}%`;
    this.thumb.style.width = `${(size * 100).toFixed(2)}%`;
    const text = view.held ? W.back(duration(Math.max(0, (rings.end - view.end) / view.rateHz))) : "live";
    setText(toolbar.where, view.held ? text : "");
    for (const [name, v] of /** @type {[string, number][]} */ ([["min", rings.start], ["max", rings.end], ["now", view.end]])) this.root.setAttribute("aria-value" + name, String(Math.round(v / view.rateHz)));
    this.root.setAttribute("aria-valuetext", text);
  }
}
