// Intervals of a stretch of a recording, beside its sheet: the same strip, scatter and
// measures as the Intervals drawer, breathing and the pulse's arrival over time.

import { button, fill, h, select, setText } from "../dom.js";
import { IntervalsSheet } from "../drawers/intervals-sheet.js";
import { chiefParts, overTime } from "../drawers/rhythm.js";
import { clockTime, duration } from "../format.js";
import { Plot } from "../plot.js";
import { library } from "./library.js";

/** @import {Palette} from "../theme.js" */
/** @import {RecordedVariability} from "../drawers/rhythm.js" */
/** @import {Detail} from "./library.js" */

/** The window rests so long before its stretch is asked for. */
const REST_MS = 350;
/** Longer stretches are worked out only when asked for: about a second an hour. */
const UNASKED_SECONDS = 2 * 3600;
/** The server lists the intervals of so much, of a longer stretch its end. */
const LISTED_SECONDS = 900;
/** Shorter stretches have too few beats. */
const LEAST_SECONDS = 3;
const NBSP = "\u00a0";

/**
 * @typedef {object} IntervalsOptions
 * @property {() => Palette} palette
 * @property {(sample: number) => void} go to a sample
 * @property {() => {from: number, to: number, cursors: [number, number]|null}} place the window, and what lies between the cursors, samples
 */

export class RecordedIntervals {
  /** @param {IntervalsOptions} options */
  constructor(options) {
    this.options = options;
    /** @type {Detail|null} */
    this.detail = null;
    /** @type {RecordedVariability|null} */
    this.data = null;
    this.channel = 0;
    this.timer = 0;
    /** What was asked for last. */
    this.key = "";
    /** @type {AbortController|null} */
    this.asking = null;
    this.stretch = select("review-intervals-stretch", [["seen", "what is seen"], ["between", "between the cursors"], ["all", "whole recording"]], () => this.follow(0), { "aria-label": "Stretch" });
    this.stretch.value = "all";
    this.pick = select("review-intervals-channel", [], (v) => {
      this.channel = Number(v);
      this.follow(0);
    }, { "aria-label": "Channel of the intervals" });
    this.name = h("p", { class: "lead", "data-testid": "review-intervals-name" });
    this.summary = h("p", { class: "summary", "data-testid": "review-intervals-summary" });
    this.where = h("p", { class: "hint", "data-testid": "review-intervals-where" });
    this.state = h("p", { role: "status", "data-testid": "review-intervals-state" });
    this.work = button("review-intervals-work", "Work it out", () => void this.#ask(true), { hidden: true });
    this.sheet = new IntervalsSheet({ palette: options.palette(), id: "review-intervals", hint: "Point at the strip, or step along it with the arrow keys; a click or Enter goes there.", go: (i) => options.go(i.sample) });
    this.breathing = h("p", { "data-testid": "review-intervals-breathing" });
    this.breathChart = h("div", { class: "chart low" });
    this.breathPlot = new Plot(this.breathChart, { palette: options.palette(), label: "Breathing rate against time" });
    this.arrivalText = h("p", { "data-testid": "review-intervals-arrival" });
    this.arrivalNote = h("p", { class: "hint" });
    this.arrivalChart = h("div", { class: "chart low" });
    this.arrivalPlot = new Plot(this.arrivalChart, { palette: options.palette(), label: "Pulse arrival against time" });
    this.arrival = h("section", {}, h("h3", {}, "Pulse arrival"), this.arrivalText, this.arrivalChart, this.arrivalNote);
    this.sheet.root.append(h("h3", {}, "Breathing"), this.breathing, this.breathChart, this.arrival);
    this.root = h("aside", { class: "review-side drawer-body review-intervals", id: "review-intervals", "data-testid": "review-intervals", "aria-label": "Intervals", hidden: true },
      h("div", { class: "row between" }, h("h3", {}, "Intervals"), this.pick, this.stretch), this.name, this.summary, this.where, this.state, this.work, this.sheet.root);
  }

  get open() {
    return !this.root.hidden;
  }

  /** @param {Detail} detail */
  show(detail) {
    this.close();
    this.detail = detail;
    const list = detail.channelDetails.map((c, i) => ({ i, ...c })).filter((c) => c.kind !== "other");
    this.channel = list[0]?.i ?? 0;
    fill(this.pick, ...list.map((c) => h("option", { value: String(c.i) }, c.label)));
    this.pick.hidden = list.length < 2;
    this.stretch.value = detail.seconds <= UNASKED_SECONDS ? "all" : "seen";
  }

  close() {
    this.root.hidden = true;
    this.asking?.abort();
    window.clearTimeout(this.timer);
    this.key = "";
    this.data = null;
    this.detail = null;
  }

  /** @param {boolean} open */
  toggle(open) {
    this.root.hidden = !open;
    if (open) this.follow(0);
    else {
      this.asking?.abort();
      this.key = "";
    }
  }

  /** The window or the cursors moved. @param {number} [rest] */
  follow(rest = REST_MS) {
    if (!this.open || !this.detail) return;
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.#ask(false), rest);
  }

  /** @param {boolean} wanted by a person, however long it takes */
  async #ask(wanted) {
    const { detail } = this;
    if (!detail || !this.open) return;
    const place = this.options.place();
    const between = this.stretch.value === "between";
    const part = this.stretch.value === "all" ? [0, detail.samples] : between ? place.cursors : [place.from, place.to];
    const from = Math.max(0, Math.floor(part?.[0] ?? 0));
    const to = Math.min(detail.samples, Math.ceil(part?.[1] ?? 0));
    const key = `${detail.id} ${this.channel} ${from} ${to}`;
    if (key === this.key && !wanted) return;
    this.asking?.abort();
    this.key = key;
    this.work.hidden = true;
    if (detail.channelDetails[this.channel]?.kind === "other") return this.#none("No channel of this recording is a pulse or an ECG.");
    if (between && !place.cursors) return this.#none("Set the cursors (c): what lies between them is shown here.");
    const seconds = (to - from) / detail.rateHz;
    if (seconds < LEAST_SECONDS) return this.#none(`${duration(seconds)} hold too few beats; show ${LEAST_SECONDS} s or more.`);
    if (seconds > UNASKED_SECONDS && !wanted) {
      this.#none(`${duration(seconds)} take a while: about a second an hour.`);
      this.work.hidden = false;
      return;
    }
    const asking = new AbortController();
    this.asking = asking;
    setText(this.state, "Finding the beats …");
    this.root.setAttribute("aria-busy", "true");
    try {
      const data = await library.variability(detail.id, this.channel, from, to, asking.signal);
      if (asking.signal.aborted) return;
      this.data = data;
      setText(this.state, "");
      this.sheet.root.hidden = false;
      this.draw();
    } catch (e) {
      if (!asking.signal.aborted) this.#none(e instanceof Error ? e.message : String(e));
    } finally {
      if (this.asking === asking) this.root.removeAttribute("aria-busy");
    }
  }

  /** @param {string} why nothing is shown */
  #none(why) {
    this.data = null;
    this.sheet.root.hidden = true;
    for (const e of [this.name, this.summary, this.where]) setText(e, "");
    setText(this.state, why);
    this.root.removeAttribute("aria-busy");
  }

  draw() {
    const { data, detail } = this;
    if (!data || !detail) return;
    const palette = this.options.palette();
    const begin = data.from / data.rateHz;
    const end = data.to / data.rateHz;
    setText(this.name, `${data.channel}: ${data.report.name}`);
    setText(this.summary, chiefParts(data.report).join(" · "));
    const listed = end - begin > LISTED_SECONDS;
    setText(this.where, `${clockTime(begin, 1)} to ${clockTime(end, 1)}; the measures are of all of it${listed ? ", strip and scatter of its last 15 minutes" : ""}.`);
    const first = listed ? Math.min(end - LISTED_SECONDS, data.intervals[0]?.atSeconds ?? end) : begin;
    const x = { low: first, high: end, clock: true, label: "into the recording" };
    const colour = palette.traces[3];
    this.sheet.show({ kind: data.kind, report: data.report, intervals: data.intervals, x, zeroSeconds: 0, when: (i) => "at " + clockTime(i.atSeconds, 0.01), colour });

    const breaths = data.breathing.map((b) => b.perMinute);
    const none = data.breathing.findLast((b) => b.absent)?.absent;
    setText(this.breathing, overTime(breaths, " breaths per minute") || `Cannot tell: ${none ?? "the stretch is too short"}.`);
    this.#over(this.breathChart, this.breathPlot, data.breathing.map((b) => b.atSeconds), breaths, { low: begin, high: end }, "per minute", colour);

    const a = data.arrival;
    this.arrival.hidden = !a;
    if (!a) return;
    const times = a.at.map((t) => (t.medianSeconds === null ? null : t.medianSeconds * 1000));
    const absent = a.at.findLast((t) => t.absent)?.absent;
    setText(this.arrivalText, overTime(times, NBSP + "ms from R to the pulse’s foot") || `Cannot tell: ${absent ?? "the stretch is too short"}.`);
    this.#over(this.arrivalChart, this.arrivalPlot, a.at.map((t) => t.atSeconds), times, { low: begin, high: end }, "ms", colour);
    setText(this.arrivalNote, `From ${a.ecgLabel} to ${a.pulseLabel}, each over half a minute. The delays of both boards are in it: compare it with itself only, and only while the boards stay as they are.`);
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
    plot.set({ ...x, clock: true, label: "into the recording" }, { low: Math.max(0, (low + high) / 2 - half), high: (low + high) / 2 + half, label: unit }, [{ x: at, y, colour, width: 1 }, { x: at, y, colour, width: 2.2, mark: "dot" }]);
  }

  theme() {
    const palette = this.options.palette();
    this.sheet.setPalette(palette);
    this.breathPlot.setPalette(palette);
    this.arrivalPlot.setPalette(palette);
    this.draw();
  }
}
