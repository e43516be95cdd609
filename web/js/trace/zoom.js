// Zoom: a drag over the trace, or what lies between the cursors, made larger; and the way back.

import { drag, h } from "../dom.js";
import { duration } from "../format.js";
import { AXIS } from "../scene/sheet.js";
import { LEAST_SECONDS, MOST_SECONDS } from "./view.js";
import { traceZoomWords as W } from "../words.js";

/** @import {Lane} from "./lanes.js" */
/** @import {TracePanel} from "./trace.js" */

/** A rectangle smaller than this was no zoom; less high, it is one in time alone. */
const LEAST_CSS = 8;
const FLAT_CSS = 18;

/** What a zoom changed, to go back. @typedef {{seconds: number, held: boolean, end: number, spans: {lane: Lane, span: number, middle: number}[]}} Before */

export class Zoom {
  /** @param {TracePanel} trace */
  constructor(trace) {
    this.trace = trace;
    /** @type {Before[]} */
    this.list = [];
    /** The next drag zooms. */
    this.ready = false;
    this.rubber = h("div", { class: "rubber", hidden: true });
  }

  /** With cursors: what lies between them. Else the next drag over the paper zooms. */
  key() {
    const { cursors, options } = this.trace;
    if (cursors.on) {
      const { a, b } = cursors;
      if (Math.abs(b - a) >= 1) this.to(Math.min(a, b), Math.max(a, b));
      return;
    }
    this.#setReady(!this.ready);
    if (this.ready) options.announce(W.dragOverWhatYouWant);
  }

  /** @param {boolean} on */
  #setReady(on) {
    this.ready = on;
    this.trace.toolbar.zoom.setAttribute("aria-pressed", String(on));
    this.trace.root.classList.toggle("zooming", on);
  }

  /** Listens for drags that stretch a rectangle. @param {HTMLElement} e */
  listen(e) {
    const { trace } = this;
    let x0 = 0, y0 = 0, wasHeld = false;
    let box = { left: 0, right: 0, top: 0, bottom: 0, flat: true };
    /** @type {Lane|null} */
    let lane = null;
    drag(e, (down) => {
      if (!trace.rings || !(this.ready || down.shiftKey)) return null;
      [x0, y0, wasHeld] = [down.offsetX, down.offsetY, trace.view.held];
      lane = trace.overlaid ? null : (trace.lanes.find((l) => y0 >= l.top && y0 <= l.top + l.height) ?? null);
      box = { left: 0, right: 0, top: 0, bottom: 0, flat: true };
      trace.hold();
      return (m) => {
        box = this.#box(lane, [x0, y0], [m.offsetX, m.offsetY]);
        this.rubber.hidden = box.right - box.left < 2;
        Object.assign(this.rubber.style, { left: `${box.left}px`, top: `${box.top}px`, width: `${box.right - box.left}px`, height: `${box.bottom - box.top}px` });
      };
    }, (up) => {
      this.rubber.hidden = true;
      if (up.type === "pointercancel" || box.right - box.left < LEAST_CSS) {
        if (!wasHeld) trace.live();
        return;
      }
      const value = (/** @type {number} */ y) => (lane ? lane.low + (1 - (y - lane.top) / lane.height) * (lane.high - lane.low) : 0);
      const [from, to] = [trace.indexAt(box.left), trace.indexAt(box.right)];
      if (box.flat || !lane) this.to(from, to);
      else this.to(from, to, lane, value(box.bottom), value(box.top));
      this.list[this.list.length - 1].held = wasHeld;
      this.#setReady(false);
    });
  }

  /**
   * The rectangle between two places, within a lane.
   * @param {Lane|null} lane
   * @param {[number, number]} one
   * @param {[number, number]} other
   */
  #box(lane, [x0, y0], [x1, y1]) {
    const { clientWidth, clientHeight } = this.trace.sheet;
    const top = lane ? lane.top : 0;
    const bottom = lane ? lane.top + lane.height : clientHeight - AXIS;
    const flat = !lane || Math.abs(y1 - y0) < FLAT_CSS;
    const x = (/** @type {number} */ v) => Math.min(clientWidth, Math.max(this.trace.left, v));
    const y = (/** @type {number} */ v) => Math.min(bottom, Math.max(top, v));
    return { left: x(Math.min(x0, x1)), right: x(Math.max(x0, x1)), top: flat ? top : y(Math.min(y0, y1)), bottom: flat ? bottom : y(Math.max(y0, y1)), flat };
  }

  /**
   * Shows the samples [from, to], and of one lane the values [low, high].
   * @param {number} from
   * @param {number} to
   * @param {Lane} [lane]
   * @param {number} [low]
   * @param {number} [high]
   */
  to(from, to, lane, low = 0, high = 0) {
    const { trace } = this;
    const { view } = trace;
    this.list.push({ seconds: view.secondsAcross, held: view.held && view.end < trace.head, end: view.end, spans: trace.lanes.map((l) => ({ lane: l, span: l.span, middle: l.middle })) });
    trace.mm.off();
    const seconds = Math.min(MOST_SECONDS, Math.max(LEAST_SECONDS, (to - from) / view.rateHz));
    view.held = true;
    trace.setAcross(Number(seconds.toPrecision(4)));
    view.end = (from + to + view.samplesAcross) / 2;
    if (trace.rings) view.clamp(trace.rings.start, trace.rings.end);
    if (lane && high > low) {
      lane.span = high - low;
      lane.middle = (high + low) / 2;
      trace.scalesChanged();
    }
    trace.hold();
    this.#show();
    trace.options.announce(W.zoomedTo(duration(seconds)));
  }

  /** @param {boolean} [all] to what was seen before the first zoom */
  out(all = false) {
    const { trace } = this;
    const to = all ? this.list[0] : this.list[this.list.length - 1];
    if (!to) return;
    this.list.length = all ? 0 : this.list.length - 1;
    trace.setAcross(to.seconds);
    for (const s of to.spans) {
      s.lane.span = s.span;
      s.lane.middle = s.middle;
      if (s.span === 0) s.lane.auto.reset();
    }
    trace.scalesChanged();
    trace.hold(to.held);
    if (to.held) trace.view.end = to.end;
    this.#show();
    trace.options.announce(W.across(duration(to.seconds)));
  }

  clear() {
    this.list.length = 0;
    this.#show();
  }

  #show() {
    this.trace.toolbar.zoomOut.hidden = this.list.length === 0;
  }
}
