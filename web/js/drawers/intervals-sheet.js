// The intervals of a stretch on a sheet: strip, scatter and measures. The Intervals
// drawer shows the newest beats with it, Review a part of a recording.

import { sentence } from "../api.js";
import { fill, h, setText } from "../dom.js";
import { Plot } from "../plot.js";
import { LEFT_CSS, RIGHT_CSS } from "../scene/chart.js";
import { absentByReason, intervalText, leftOut, MEANINGS, measureText, scatter, span, strip, stripText } from "./rhythm.js";
import { drawerIntervalsSheetWords as W } from "../words.js";

/** @import {Axis} from "../scene/chart.js" */
/** @import {Interval, Measure, Report} from "./rhythm.js" */

/**
 * @typedef {object} Shown
 * @property {string} kind "ecg" or "pulse"
 * @property {Report} report
 * @property {Interval[]} intervals
 * @property {Axis} x of the strip
 * @property {number} zeroSeconds the moment at 0 on it
 * @property {(i: Interval) => string} when an interval ended, in words
 * @property {string} colour
 */

export class IntervalsSheet {
  /**
   * @param {object} options
   * @param {string} options.id begins the parts' names
   * @param {string} options.hint under the strip until an interval is chosen
   * @param {(i: Interval) => void} options.go to the interval read out
   */
  constructor(options) {
    this.options = options;
    const { id } = options;
    /** @type {Shown|null} */
    this.shown = null;
    this.measuresShown = "";
    /** Sample of the interval that is read out. */
    this.cursor = -1;
    this.stripChart = h("div", { class: "chart", tabindex: "0", role: "slider", "aria-valuenow": "0", "aria-valuetext": W.noIntervalChosen, "data-testid": id + "-strip", "aria-label": W.intervalStrip });
    this.strip = new Plot(this.stripChart, { label: W.intervalsAgainstTime });
    this.readout = h("p", { class: "reading-out", "data-testid": id + "-readout" }, h("span", { class: "hint" }, options.hint));
    this.legend = h("p", { class: "hint marks" });
    this.out = h("p", { "data-testid": id + "-left-out" });
    this.scatterChart = h("div", { class: "chart scatter", "data-testid": id + "-scatter" });
    this.scatter = new Plot(this.scatterChart, { label: W.intervalScatter });
    this.scatterNote = h("p", { class: "hint" });
    this.measures = h("table", { class: "measures", "data-testid": id + "-measures" });
    this.absent = h("ul", { class: "absent", "data-testid": id + "-absent" });
    this.caveats = h("ul", { class: "hint caveats", "data-testid": id + "-caveats" });
    this.root = h("div", { class: "intervals" },
      this.stripChart, this.legend, this.readout, this.out,
      h("h3", {}, W.eachIntervalAgainstTheNext), this.scatterChart, this.scatterNote,
      h("h3", {}, W.measures), this.measures, this.absent, this.caveats);
    this.stripChart.addEventListener("pointermove", (e) => this.#point(e));
    this.stripChart.addEventListener("click", (e) => {
      this.#point(e);
      this.#enter();
    });
    this.stripChart.addEventListener("keydown", (e) => this.#key(e));
  }

  /** @param {Shown} what */
  show(what) {
    this.shown = what;
    this.#draw();
    this.#measures(what.report.measures);
    const caveats = [];
    if (what.kind === "pulse") caveats.push(W.fromAFingerItIs);
    caveats.push(W.forLearningNotForJudging);
    const text = caveats.join("\n");
    if (this.caveats.dataset.text === text) return;
    this.caveats.dataset.text = text;
    fill(this.caveats, ...caveats.map((c) => h("li", {}, c)));
  }

  #draw() {
    const { shown, strip: plot, options } = this;
    if (!shown) return;
    const { intervals: list, report: r, zeroSeconds, colour } = shown;
    const range = span(list);
    const s = strip(list, range, zeroSeconds);
    const small = list.length > 500 ? 1.3 : 2;
    const at = list.find((i) => i.sample === this.cursor);
    plot.set(shown.x, { low: range.low, high: range.high, unit: "ms" }, [
      { ...s.line, colour: "faint", width: 1 },
      { ...s.normal, colour, width: small, mark: "dot" },
      { ...s.ectopic, colour: "trace1", width: 4.5, mark: "triangle" },
      { ...s.unsure, colour: "ink", width: 3.5, mark: "cross" },
    ], at ? [{ x: at.atSeconds - zeroSeconds }] : []);
    this.stripChart.setAttribute("aria-label", stripText(list, r));
    this.stripChart.dataset.from = String(list[0]?.sample ?? "");
    this.stripChart.dataset.to = String(list[list.length - 1]?.sample ?? "");
    setText(this.legend, ["● used", r.ectopic > 0 ? W.leftOutOffTheRhythm : "", r.unsure > 0 ? W.leftOutUnsureBeat : "", s.beyond > 0 ? W.beyondTheScaleOnIts : ""].filter(Boolean).join("   "));
    setText(this.out, leftOut(r));
    if (at) this.#read(at);
    else if (this.cursor >= 0) {
      this.cursor = -1;
      fill(this.readout, h("span", { class: "hint" }, options.hint));
    }

    const points = scatter(list);
    this.scatter.set({ low: range.low, high: range.high, unit: "ms", label: W.thisInterval }, { low: range.low, high: range.high, unit: "ms", label: W.theNext }, [
      { x: [range.low, range.high], y: [range.low, range.high], colour: "faint", width: 1.2, dash: [5, 4] },
      { ...points, colour, width: small, mark: "dot" },
    ]);
    this.scatter.canvas.setAttribute("aria-label", W.intervalScatterOfPairs(points.x.length));
    const sd = (/** @type {string} */ id) => r.measures.find((m) => m.id === id);
    setText(this.scatterNote, ["sd1", "sd2"].every((id) => typeof sd(id)?.value === "number")
      ? W.pairsOnTheDashedLine(points.x.length, measureText(/** @type {Measure} */ (sd("sd1"))), measureText(/** @type {Measure} */ (sd("sd2"))))
      : W.pairsOnTheDashedLine2(points.x.length));
  }

  /** @param {Measure[]} list */
  #measures(list) {
    const there = list.filter((m) => m.value !== null && m.value !== undefined);
    const text = JSON.stringify([there.map((m) => [m.id, measureText(m), m.caveat]), list.map((m) => m.absent)]);
    if (text === this.measuresShown) return;
    this.measuresShown = text;
    fill(this.measures, h("tbody", {}, there.map((m) => h("tr", {},
      h("th", { scope: "row" }, m.name, h("small", {}, MEANINGS[m.id] ?? "", m.caveat ? h("em", {}, sentence(m.caveat)) : null)),
      h("td", { "data-testid": "measure-" + m.id, "data-value": String(m.value) }, measureText(m))))));
    fill(this.absent, ...absentByReason(list).map((a) => h("li", {}, h("b", {}, a.names.join(", ")), ": " + a.reason + ".")));
  }

  /** @param {Interval} at */
  #read(at) {
    const { shown } = this;
    if (!shown) return;
    const text = sentence(intervalText(at, shown.when(at)));
    setText(this.readout, text);
    this.stripChart.setAttribute("aria-valuemin", "1");
    this.stripChart.setAttribute("aria-valuemax", String(shown.intervals.length));
    this.stripChart.setAttribute("aria-valuenow", String(shown.intervals.indexOf(at) + 1));
    this.stripChart.setAttribute("aria-valuetext", text);
  }

  #enter() {
    const i = this.shown?.intervals.find((x) => x.sample === this.cursor);
    if (i) this.options.go(i);
  }

  /** @param {MouseEvent} e */
  #point(e) {
    const { shown } = this;
    if (!shown || shown.intervals.length === 0) return;
    const box = this.stripChart.getBoundingClientRect();
    const share = (e.clientX - box.left - LEFT_CSS) / (box.width - LEFT_CSS - RIGHT_CSS);
    const at = shown.zeroSeconds + shown.x.low + share * (shown.x.high - shown.x.low);
    let best = shown.intervals[0];
    for (const i of shown.intervals) if (Math.abs(i.atSeconds - at) < Math.abs(best.atSeconds - at)) best = i;
    this.#go(best.sample);
  }

  /** @param {KeyboardEvent} e */
  #key(e) {
    const list = this.shown?.intervals;
    if (!list || list.length === 0 || e.ctrlKey || e.altKey || e.metaKey) return;
    const now = list.findIndex((i) => i.sample === this.cursor);
    const at = now < 0 ? list.length : now;
    const step = e.shiftKey ? 10 : 1;
    let to;
    if (e.key === "ArrowLeft") to = at - step;
    else if (e.key === "ArrowRight") to = at + step;
    else if (e.key === "Home") to = 0;
    else if (e.key === "End") to = list.length - 1;
    else if (e.key === "Enter" && now >= 0) {
      e.preventDefault();
      this.#enter();
      return;
    } else return;
    e.preventDefault();
    e.stopPropagation();
    this.#go(list[Math.min(list.length - 1, Math.max(0, to))].sample);
  }

  /** @param {number} sample */
  #go(sample) {
    if (this.cursor === sample) return;
    this.cursor = sample;
    this.#draw();
  }

  destroy() {
    this.strip.destroy();
    this.scatter.destroy();
  }
}
