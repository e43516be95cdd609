// The Intervals drawer: interval strip, scatter and measures of the newest stretch,
// the pulse's arrival and the breath.

import { term } from "../glossary.js";
import { request, sentence } from "../api.js";
import { fill, h, select, setText } from "../dom.js";
import { fixed, qualityWord, wholeSeconds } from "../format.js";
import { fiducial, prefs } from "../store.js";
import { IntervalsSheet } from "./intervals-sheet.js";
import { agoText, arrivalText, breathingText, signsText, summaryText } from "./rhythm.js";
import { drawerIntervalsWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Interval, Variability} from "./rhythm.js" */

const EVERY_MS = 2000;
/** After so long without a beat the figures are called old. */
const OLD_SECONDS = 10;

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
    this.timer = 0;
    this.asked = 0;
    this.over = false;
    const choice = select("intervals-window", [["1m", W.lastMinute], ["5m", W.last5Minutes], ["15m", W.last15Minutes], ["all", W.wholeSession]], (v) => {
      this.window = v;
      prefs.set("intervals", v);
      this.#again();
    }, { "aria-label": W.stretch });
    choice.value = this.window;
    this.title = h("p", { class: "lead", "data-testid": "intervals-name" });
    this.newest = h("p", { "data-testid": "intervals-newest" });
    this.summary = h("p", { class: "summary", "data-testid": "intervals-summary" });
    this.old = h("p", { class: "warning", "data-testid": "intervals-old" });
    this.error = h("p", { class: "error", role: "status", "data-testid": "intervals-error" });
    this.sheet = new IntervalsSheet({ id: "intervals", hint: W.pointAtTheStripOr, go: (i) => this.#hold(i) });
    this.arrival = h("section", { class: "part-of", "data-testid": "intervals-arrival" });
    this.breathing = h("p", { "data-testid": "intervals-breathing" });
    this.breathSigns = h("p", { class: "hint" });
    this.body = this.sheet.root;
    this.body.append(h("h3", {}, W.breathing), this.breathing, this.breathSigns, this.arrival);
    root.append(h("div", { class: "row between" }, this.title, choice), h("p", { class: "hint" }, term("rr", W.rrInterval, ["rr", "rpeak", "foot"])), this.summary, this.newest, this.old, this.error, this.body);
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

  /** The newest beat in words, as it comes. @param {import("../types.js").Message} m */
  message(m) {
    if (m.type !== "beats" || m.channel !== this.ctx.channel()) return;
    const list = this.ctx.beats()[m.channel]?.beats ?? [];
    const last = list[list.length - 1];
    const rate = this.ctx.store.state.server?.rateHz ?? 0;
    if (!last || !(rate > 0)) return;
    const before = list[list.length - 2];
    const seconds = before ? (fiducial(last) - fiducial(before)) / rate : 0;
    const length = seconds > 0.15 && seconds < 3.05 ? W.msAfterTheOneBefore(fixed(seconds * 1000, 0)) : "";
    setText(this.newest, W.newestBeat(length, qualityWord(last.quality)));
  }

  #show() {
    const v = this.data;
    if (!v) return;
    if (this.ctx.channel() !== v.channel) {
      this.#again();
      return;
    }
    setText(this.title, `${v.label}: ${v.report.name}`);
    setText(this.summary, summaryText(v));
    setText(this.old, v.sinceSeconds > OLD_SECONDS ? W.noBeatForTheFigures(wholeSeconds(v.sinceSeconds)) : "");
    const end = v.intervals.length > 0 ? v.intervals[v.intervals.length - 1].atSeconds : 0;
    const reach = v.intervals.length > 0 ? end - v.intervals[0].atSeconds : 60;
    const length = v.windowSeconds > 0 ? Math.min(v.windowSeconds, Math.max(30, reach)) : Math.max(30, reach);
    this.sheet.show({
      kind: v.kind, report: v.report, intervals: v.intervals, zeroSeconds: end,
      x: { low: -length, high: length * 0.01, unit: "s", label: W.beforeTheNewestBeat },
      when: (i) => agoText(end - i.atSeconds),
      colour: v.channel % 2 === 0 ? "trace3" : "other3",
    });
    setText(this.breathing, breathingText(v.breathing));
    setText(this.breathSigns, signsText(v.breathing));
    this.#arrival(v);
  }

  /** @param {Variability} v */
  #arrival(v) {
    const a = v.arrival;
    const text = a ? arrivalText(a) : "";
    if (this.arrival.dataset.text === text) return;
    this.arrival.dataset.text = text;
    if (!a) fill(this.arrival);
    else fill(this.arrival, h("h3", {}, W.pulseArrival), h("p", { "data-testid": "intervals-arrival-text" }, text), h("p", { class: "hint" }, W.fromTo(a.ecgLabel, a.pulseLabel, sentence(a.caveat))));
  }

  /** Holds the paper at an interval. @param {Interval} i */
  #hold(i) {
    const rings = this.ctx.rings();
    if (!rings) return;
    if (i.sample < rings.start) this.ctx.announce(W.thatBeatIsOlderThan);
    else this.ctx.trace.holdAt(i.sample);
  }

  destroy() {
    this.over = true;
    window.clearTimeout(this.timer);
    this.sheet.destroy();
  }
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "intervals", title: W.intervals, key: "i", create: (root, ctx) => new IntervalsPanel(root, ctx) };
