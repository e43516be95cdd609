// Intervals of a stretch of a recording, beside its sheet: the same strip, scatter and
// measures as the Intervals drawer, breathing and the pulse's arrival over time.

import { h, setText } from "../dom.js";
import { IntervalsSheet } from "../drawers/intervals-sheet.js";
import { chiefParts, overTime } from "../drawers/rhythm.js";
import { clockTime } from "../format.js";
import { Plot } from "../plot.js";
import { library } from "./library.js";
import { StretchPanel } from "./stretch.js";
import { reviewIntervalsWords as W } from "../words.js";

/** @import {RecordedVariability} from "../drawers/rhythm.js" */

/** The server lists the intervals of so much, of a longer stretch its end. */
const LISTED_SECONDS = 900;
/** Shorter stretches have too few beats. */
const LEAST_SECONDS = 3;
const NBSP = "\u00a0";

/** @type {[string, string][]} */
const SAVED = [["what=intervals", W.intervals], ["what=measures", W.measures], ["what=beats", W.beats]];

/** @extends {StretchPanel<RecordedVariability>} */
export class RecordedIntervals extends StretchPanel {
  /** @param {import("./stretch.js").StretchOptions} options */
  constructor(options) {
    super(options, { id: "review-intervals", title: W.intervals, least: LEAST_SECONDS, fits: (c) => c.kind !== "other", none: W.noChannelOfThisRecording, takes: SAVED });
    this.name = h("p", { class: "lead", "data-testid": "review-intervals-name" });
    this.summary = h("p", { class: "summary", "data-testid": "review-intervals-summary" });
    this.sheet = new IntervalsSheet({ id: "review-intervals", hint: W.pointAtTheStripOr, go: (i) => options.go(i.sample) });
    this.breathing = h("p", { "data-testid": "review-intervals-breathing" });
    this.breathChart = h("div", { class: "chart low" });
    this.breathPlot = new Plot(this.breathChart, { label: W.breathingRateAgainstTime });
    this.arrivalText = h("p", { "data-testid": "review-intervals-arrival" });
    this.arrivalNote = h("p", { class: "hint" });
    this.arrivalChart = h("div", { class: "chart low" });
    this.arrivalPlot = new Plot(this.arrivalChart, { label: W.pulseArrivalAgainstTime });
    this.arrival = h("section", {}, h("h3", {}, W.pulseArrival), this.arrivalText, this.arrivalChart, this.arrivalNote);
    this.sheet.root.append(h("h3", {}, W.breathing), this.breathing, this.breathChart, this.arrival);
    this.body.append(this.sheet.root);
    this.root.append(this.head, this.name, this.summary, this.where, this.state, this.work, this.body);
  }

  /** @param {string} id @param {number} from @param {number} to @param {AbortSignal} ended @param {(share: number) => void} progress */
  ask(id, from, to, ended, progress) {
    return library.variability(id, this.channel, from, to, ended, progress);
  }

  clear() {
    for (const e of [this.name, this.summary]) setText(e, "");
  }

  draw() {
    const { data } = this;
    if (!data) return;
    const begin = data.from / data.rateHz;
    const end = data.to / data.rateHz;
    setText(this.name, `${data.channel}: ${data.report.name}`);
    setText(this.summary, chiefParts(data.report).join(" · "));
    const listed = end - begin > LISTED_SECONDS;
    const { added, moved, removed } = data.edited;
    const n = added + moved + removed;
    setText(this.where, W.theMeasuresAreOfAll(this.span(begin, end), listed ? W.stripAndScatterOfIts : "") + (n > 0 ? ` ${W.edited(n, data.edited)}` : ""));
    const first = listed ? Math.min(end - LISTED_SECONDS, data.intervals[0]?.atSeconds ?? end) : begin;
    const x = { low: first, high: end, clock: true, label: W.intoTheRecording };
    const colour = "trace3";
    this.sheet.show({ kind: data.kind, report: data.report, intervals: data.intervals, x, zeroSeconds: 0, when: (i) => "at " + clockTime(i.atSeconds, 0.01), colour });

    const breaths = data.breathing.map((b) => b.perMinute);
    const none = data.breathing.findLast((b) => b.absent)?.absent;
    setText(this.breathing, overTime(breaths, W.breathsPerMinute) || W.cannotTell(none ?? W.theStretchIsTooShort));
    this.#over(this.breathChart, this.breathPlot, data.breathing.map((b) => b.atSeconds), breaths, { low: begin, high: end }, W.perMinute, colour);

    const a = data.arrival;
    this.arrival.hidden = !a;
    if (!a) return;
    const times = a.at.map((t) => (t.medianSeconds === null ? null : t.medianSeconds * 1000));
    const absent = a.at.findLast((t) => t.absent)?.absent;
    setText(this.arrivalText, overTime(times, NBSP + W.msFromRToThe) || W.cannotTell(absent ?? W.theStretchIsTooShort));
    this.#over(this.arrivalChart, this.arrivalPlot, a.at.map((t) => t.atSeconds), times, { low: begin, high: end }, "ms", colour);
    setText(this.arrivalNote, W.fromToEachOverHalf(a.ecgLabel, a.pulseLabel));
  }

  /**
   * @param {HTMLElement} chart
   * @param {Plot} plot
   * @param {number[]} at seconds
   * @param {(number|null)[]} values
   * @param {{low: number, high: number}} x
   * @param {string} unit
   * @param {string} colour
   */
  #over(chart, plot, at, values, x, unit, colour) {
    const told = values.filter((v) => v !== null);
    chart.hidden = told.length < 3;
    if (chart.hidden) return;
    const low = Math.min(...told);
    const high = Math.max(...told);
    const half = Math.max(5, (high - low) * 0.7);
    const y = values.map((v) => v ?? NaN);
    plot.set({ ...x, clock: true, label: W.intoTheRecording }, { low: Math.max(0, (low + high) / 2 - half), high: (low + high) / 2 + half, label: unit }, [{ x: at, y, colour, width: 1 }, { x: at, y, colour, width: 2.2, mark: "dot" }]);
  }
}
