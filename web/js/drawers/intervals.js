// The Intervals drawer: interval strip, scatter and measures of the newest stretch,
// the pulse's arrival and the breath.

import { request, sentence } from "../api.js";
import { fill, h, select, setText } from "../dom.js";
import { registerDrawer } from "../drawers.js";
import { fixed, qualityWord, wholeSeconds } from "../format.js";
import { Plot } from "../plot.js";
import { fiducial, prefs } from "../store.js";
import { absentByReason, arrivalText, breathingText, intervalText, leftOut, MEANINGS, measureText, scatter, signsText, span, strip, stripText, summaryText } from "./rhythm.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Palette} from "../theme.js" */
/** @import {Measure, Variability} from "./rhythm.js" */

const EVERY_MS = 2000;
/** After so long without a beat the figures are called old. */
const OLD_SECONDS = 10;
/** plot.js's margins beside its axes. */
const LEFT_CSS = 54;
const RIGHT_CSS = 8;

class IntervalsPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.root = root;
    this.window = prefs.get("intervals", "5m");
    /** @type {Variability|null} */
    this.data = null;
    this.shown = "";
    /** Sample of the interval that is read out. */
    this.cursor = 0;
    this.timer = 0;
    this.asked = 0;
    this.over = false;
    const choice = select("intervals-window", [["1m", "last minute"], ["5m", "last 5 minutes"], ["15m", "last 15 minutes"], ["all", "whole session"]], (v) => {
      this.window = v;
      prefs.set("intervals", v);
      this.#again();
    }, { "aria-label": "Stretch" });
    choice.value = this.window;
    this.title = h("p", { class: "lead", "data-testid": "intervals-name" });
    this.newest = h("p", { "data-testid": "intervals-newest" });
    this.summary = h("p", { class: "summary", "data-testid": "intervals-summary" });
    this.old = h("p", { class: "warning", "data-testid": "intervals-old" });
    this.error = h("p", { class: "error", role: "status", "data-testid": "intervals-error" });
    this.stripChart = h("div", { class: "chart", tabindex: "0", role: "slider", "aria-valuenow": "0", "aria-valuetext": "no interval chosen", "data-testid": "intervals-strip", "aria-label": "Interval strip" });
    this.strip = new Plot(this.stripChart, { palette: ctx.palette(), label: "Intervals against time" });
    this.readout = h("p", { class: "reading-out", "data-testid": "intervals-readout" }, h("span", { class: "hint" }, "Point at the strip, or step along it with the arrow keys; a click or Enter holds the paper there."));
    this.legend = h("p", { class: "hint marks" });
    this.out = h("p", { "data-testid": "intervals-left-out" });
    this.scatterChart = h("div", { class: "chart scatter", "data-testid": "intervals-scatter" });
    this.scatter = new Plot(this.scatterChart, { palette: ctx.palette(), label: "Interval scatter" });
    this.scatterNote = h("p", { class: "hint" });
    this.measures = h("table", { class: "measures", "data-testid": "intervals-measures" });
    this.absent = h("ul", { class: "absent", "data-testid": "intervals-absent" });
    this.caveats = h("ul", { class: "hint caveats", "data-testid": "intervals-caveats" });
    this.arrival = h("section", { class: "part-of", "data-testid": "intervals-arrival" });
    this.breathing = h("p", { "data-testid": "intervals-breathing" });
    this.breathSigns = h("p", { class: "hint" });
    this.body = h("div", { class: "intervals" },
      this.stripChart, this.legend, this.readout, this.out,
      h("h3", {}, "Each interval against the next"), this.scatterChart, this.scatterNote,
      h("h3", {}, "Measures"), this.measures, this.absent, this.caveats,
      h("h3", {}, "Breathing"), this.breathing, this.breathSigns,
      this.arrival);
    root.append(h("div", { class: "row between" }, this.title, choice), this.summary, this.newest, this.old, this.error, this.body);
    this.stripChart.addEventListener("pointermove", (e) => this.#point(e));
    this.stripChart.addEventListener("click", (e) => {
      this.#point(e);
      this.#hold();
    });
    this.stripChart.addEventListener("keydown", (e) => this.#key(e));
    this.body.hidden = true;
    this.#again();
  }

  #again() {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.#ask(), 0);
  }

  async #ask() {
    window.clearTimeout(this.timer);
    const turn = ++this.asked;
    const asked = this.window;
    const channel = this.ctx.channel();
    if (!document.hidden) {
      try {
        const data = await request("GET", `/channels/${channel}/variability?window=${asked}`);
        if (this.over || turn !== this.asked) return;
        this.data = data;
        setText(this.error, "");
        this.body.hidden = false;
        this.#show();
      } catch (e) {
        if (this.over || turn !== this.asked) return;
        this.data = null;
        this.body.hidden = true;
        setText(this.title, "");
        setText(this.summary, "");
        setText(this.old, "");
        setText(this.error, e instanceof Error ? e.message : String(e));
      }
    }
    this.timer = window.setTimeout(() => this.#ask(), EVERY_MS);
  }

  /** The newest beat in words, as it comes. @param {any} m */
  message(m) {
    if (m.type !== "beats" || m.channel !== this.ctx.channel()) return;
    const list = this.ctx.beats()[m.channel]?.beats ?? [];
    const last = list[list.length - 1];
    const rate = this.ctx.store.state.server?.rateHz ?? 0;
    if (!last || !(rate > 0)) return;
    const before = list[list.length - 2];
    const seconds = before ? (fiducial(last) - fiducial(before)) / rate : 0;
    const length = seconds > 0.15 && seconds < 3.05 ? `${fixed(seconds * 1000, 0)} ms after the one before, ` : "";
    setText(this.newest, `Newest beat: ${length}${qualityWord(last.quality)}.`);
  }

  #show() {
    const v = this.data;
    if (!v) return;
    if (this.ctx.channel() !== v.channel) {
      this.#again();
      return;
    }
    const palette = this.strip.palette;
    const r = v.report;
    setText(this.title, `${v.label}: ${r.name}`);
    setText(this.summary, summaryText(v));
    setText(this.old, v.sinceSeconds > OLD_SECONDS ? `No beat for ${wholeSeconds(v.sinceSeconds)}: the figures are of the time before.` : "");
    const range = span(v.intervals);
    const s = strip(v.intervals, range);
    const first = s.line.x.length > 0 ? s.line.x[0] : -60;
    const length = v.windowSeconds > 0 ? Math.min(v.windowSeconds, Math.max(30, -first)) : Math.max(30, -first);
    const small = v.intervals.length > 500 ? 1.3 : 2;
    const faint = palette.faint;
    const colour = (v.channel % 2 === 0 ? palette.traces : palette.others)[3];
    const at = v.intervals.find((i) => i.sample === this.cursor);
    const end = v.intervals.length > 0 ? v.intervals[v.intervals.length - 1].atSeconds : 0;
    this.strip.set({ low: -length, high: length * 0.01, unit: "s", label: "before the newest beat" }, { low: range.low, high: range.high, unit: "ms" }, [
      { ...s.line, colour: faint, width: 1 },
      { ...s.normal, colour, width: small, mark: "dot" },
      { ...s.ectopic, colour: palette.traces[1], width: 4.5, mark: "triangle" },
      { ...s.unsure, colour: palette.ink, width: 3.5, mark: "cross" },
    ], at ? [{ x: at.atSeconds - end }] : []);
    this.stripChart.setAttribute("aria-label", stripText(v));
    this.stripChart.dataset.from = String(v.intervals[0]?.sample ?? "");
    this.stripChart.dataset.to = String(v.intervals[v.intervals.length - 1]?.sample ?? "");
    setText(this.legend, ["● used", r.ectopic > 0 ? "△ left out: off the rhythm" : "", r.unsure > 0 ? "× left out: unsure beat" : "", s.beyond > 0 ? "beyond the scale: on its edge" : ""].filter(Boolean).join("   "));
    setText(this.out, leftOut(r));
    if (at) this.#read();

    const points = scatter(v.intervals);
    this.scatter.set({ low: range.low, high: range.high, unit: "ms", label: "this interval" }, { low: range.low, high: range.high, unit: "ms", label: "the next" }, [
      { x: [range.low, range.high], y: [range.low, range.high], colour: faint, width: 1.2, dash: [5, 4] },
      { ...points, colour, width: small, mark: "dot" },
    ]);
    this.scatter.canvas.setAttribute("aria-label", `Interval scatter of ${points.x.length} pairs`);
    const sd = (/** @type {string} */ id) => r.measures.find((m) => m.id === id);
    setText(this.scatterNote, ["sd1", "sd2"].every((id) => typeof sd(id)?.value === "number")
      ? `${points.x.length} pairs; on the dashed line both are equal. SD1 ${measureText(/** @type {Measure} */ (sd("sd1")))} across it, SD2 ${measureText(/** @type {Measure} */ (sd("sd2")))} along it.`
      : `${points.x.length} pairs; on the dashed line both are equal.`);

    this.#measures(r.measures);
    setText(this.breathing, breathingText(v.breathing));
    setText(this.breathSigns, signsText(v.breathing));
    this.#arrival(v);
    const caveats = [];
    if (v.kind === "pulse") caveats.push("From a finger it is pulse rate variability: the pulse’s way to the finger adds a little of its own.");
    caveats.push("For learning, not for judging health. Compare stretches of one length, at rest, with yourself; never with figures of 24 hours.");
    const text = caveats.join("\n");
    if (this.caveats.dataset.text !== text) {
      this.caveats.dataset.text = text;
      fill(this.caveats, ...caveats.map((c) => h("li", {}, c)));
    }
  }

  /** @param {Measure[]} list */
  #measures(list) {
    const there = list.filter((m) => m.value !== null && m.value !== undefined);
    const text = JSON.stringify([there.map((m) => [m.id, measureText(m), m.caveat]), list.map((m) => m.absent)]);
    if (text === this.shown) return;
    this.shown = text;
    fill(this.measures, h("tbody", {}, there.map((m) => h("tr", {},
      h("th", { scope: "row" }, m.name, h("small", {}, MEANINGS[m.id] ?? "", m.caveat ? h("em", {}, sentence(m.caveat)) : null)),
      h("td", { "data-testid": "measure-" + m.id, "data-value": String(m.value) }, measureText(m))))));
    fill(this.absent, ...absentByReason(list).map((a) => h("li", {}, h("b", {}, a.names.join(", ")), ": " + a.reason + ".")));
  }

  /** @param {Variability} v */
  #arrival(v) {
    const a = v.arrival;
    const text = a ? arrivalText(a) : "";
    if (this.arrival.dataset.text === text) return;
    this.arrival.dataset.text = text;
    if (!a) fill(this.arrival);
    else fill(this.arrival, h("h3", {}, "Pulse arrival"), h("p", { "data-testid": "intervals-arrival-text" }, text), h("p", { class: "hint" }, `From ${a.ecgLabel} to ${a.pulseLabel}. ${sentence(a.caveat)}`));
  }

  #read() {
    const v = this.data;
    const at = v?.intervals.findIndex((i) => i.sample === this.cursor) ?? -1;
    if (!v || at < 0) return;
    const text = sentence(intervalText(v.intervals[at], v.intervals[v.intervals.length - 1].atSeconds));
    setText(this.readout, text);
    this.stripChart.setAttribute("aria-valuemin", "1");
    this.stripChart.setAttribute("aria-valuemax", String(v.intervals.length));
    this.stripChart.setAttribute("aria-valuenow", String(at + 1));
    this.stripChart.setAttribute("aria-valuetext", text);
  }

  /** Holds the paper at the interval read out. */
  #hold() {
    const i = this.data?.intervals.find((x) => x.sample === this.cursor);
    const rings = this.ctx.rings();
    if (!i || !rings) return;
    if (i.sample < rings.start) this.ctx.announce("That beat is older than the paper reaches back.");
    else this.ctx.trace.holdAt(i.sample);
  }

  /** @param {MouseEvent} e */
  #point(e) {
    const v = this.data;
    if (!v || v.intervals.length === 0) return;
    const box = this.stripChart.getBoundingClientRect();
    const share = (e.clientX - box.left - LEFT_CSS) / (box.width - LEFT_CSS - RIGHT_CSS);
    const end = v.intervals[v.intervals.length - 1].atSeconds;
    const at = end + this.strip.x.low + share * (this.strip.x.high - this.strip.x.low);
    let best = v.intervals[0];
    for (const i of v.intervals) if (Math.abs(i.atSeconds - at) < Math.abs(best.atSeconds - at)) best = i;
    this.#go(best.sample);
  }

  /** @param {KeyboardEvent} e */
  #key(e) {
    const list = this.data?.intervals;
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
      this.#hold();
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
    this.#read();
    this.#show();
  }

  /** @param {Palette} palette */
  theme(palette) {
    this.strip.setPalette(palette);
    this.scatter.setPalette(palette);
    this.#show();
  }

  destroy() {
    this.over = true;
    window.clearTimeout(this.timer);
    this.strip.destroy();
    this.scatter.destroy();
  }
}

registerDrawer({ id: "intervals", title: "Intervals", key: "i", create: (root, ctx) => new IntervalsPanel(root, ctx) });
