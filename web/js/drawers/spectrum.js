// The Spectrum drawer: density at a point of the path, live, with hum lines, the
// converter's own limit and the path's response.

import { term } from "../glossary.js";
import { api, request } from "../api.js";
import { h, select, setText } from "../dom.js";
import { prefixFor, quantity, significant } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { POINT_TITLES } from "../theme.js";
import { binAt, gainAt, humLines, levelRange } from "./density.js";
import { decibels } from "./figures.js";
import { drawerSpectrumWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PathResponse} from "../types.js" */
/** @import {Spectrum} from "./density.js" */

const EVERY_MS = 1000;
/** plot.js's margins beside its axes. */
const LEFT_CSS = 54;
const RIGHT_CSS = 8;

class SpectrumPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.choice = prefs.get("spectrum", { point: 0, seconds: 8, logFreq: true, logLevel: true, response: true });
    const keep = () => {
      prefs.set("spectrum", this.choice);
      this.#draw();
    };
    const pick = (/** @type {string} */ id, /** @type {string} */ label, /** @type {[string, string][]} */ choices, /** @type {string} */ now, /** @type {(v: string) => void} */ take) => {
      const s = select("spectrum-" + id, choices, take);
      s.value = now;
      return h("label", { class: "pick" }, h("span", {}, label), s);
    };
    const tick = (/** @type {string} */ id, /** @type {string} */ label, /** @type {boolean} */ on, /** @type {(on: boolean) => void} */ take) => {
      const input = h("input", { type: "checkbox", id: "spectrum-" + id, "data-testid": "spectrum-" + id });
      input.checked = on;
      input.addEventListener("change", () => take(input.checked));
      return h("label", { class: "check" }, input, h("span", {}, label));
    };
    /** @type {Spectrum|null} */
    this.spectrum = null;
    /** @type {PathResponse|null} */
    this.response = null;
    this.cursorHz = 0;
    this.timer = 0;
    this.over = false;
    this.chart = h("div", { class: "chart tall", tabindex: "0", role: "slider", "aria-valuenow": "0", "aria-valuetext": W.nothingChosen, "data-testid": "spectrum-chart", "aria-label": W.frequencyReadOutArrowKeys });
    this.plot = new Plot(this.chart, { label: W.densityOfTheSignalAgainst });
    this.readout = h("p", { class: "readout", "data-testid": "spectrum-readout" });
    this.legend = h("p", { class: "hint", "data-testid": "spectrum-legend" });
    this.note = h("p", { class: "hint", "data-testid": "spectrum-note" });
    this.error = h("p", { class: "error", role: "status" });
    root.append(
      h("div", { class: "picks" },
        pick("point", W.point, POINT_TITLES.slice(0, 4).map((t, i) => [String(i), t]), String(this.choice.point), (v) => {
          this.choice.point = Number(v);
          this.spectrum = null;
          keep();
          this.#again();
        }),
        pick("seconds", W.newest, [["4", "4 s"], ["8", "8 s"], ["20", "20 s"], ["60", "60 s"]], String(this.choice.seconds), (v) => {
          this.choice.seconds = Number(v);
          keep();
          this.#again();
        })),
      h("div", { class: "row" },
        tick("log-freq", W.logFrequency, this.choice.logFreq, (on) => ((this.choice.logFreq = on), keep())),
        tick("log-level", W.logLevel, this.choice.logLevel, (on) => ((this.choice.logLevel = on), keep())),
        tick("response", W.pathsResponse, this.choice.response, (on) => ((this.choice.response = on), keep()))),
      this.chart, h("p", { class: "hint" }, W.noiseAsA, term("density", "density", ["density", "hum", "rms"]), ":"), this.readout, this.legend, this.note, this.error);
    this.chart.addEventListener("pointermove", (e) => this.#point(e));
    this.chart.addEventListener("pointerdown", (e) => this.#point(e));
    this.chart.addEventListener("keydown", (e) => this.#key(e));
    this.#again();
  }

  /** Asks at once, then about once a second; not in a hidden tab. */
  #again() {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.#ask(), 0);
  }

  async #ask() {
    const { point, seconds } = this.choice;
    const channel = this.ctx.channel();
    if (!document.hidden) {
      try {
        const [spectrum, response] = await Promise.all([request("GET", `/channels/${channel}/spectrum?point=${point}&seconds=${seconds}`), api.response(channel, 300)]);
        if (this.over || point !== this.choice.point) return;
        this.spectrum = spectrum;
        this.response = response;
        setText(this.error, "");
        this.#draw();
      } catch (e) {
        if (this.over) return;
        setText(this.error, e instanceof Error ? e.message : String(e));
      }
    }
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => this.#ask(), EVERY_MS);
  }

  #axis() {
    const f = /** @type {Spectrum} */ (this.spectrum).freqHz;
    return { low: this.choice.logFreq ? f[1] : 0, high: f[f.length - 1], log: this.choice.logFreq, unit: "Hz", label: "frequency" };
  }

  #draw() {
    const s = this.spectrum;
    if (!s || s.freqHz.length < 3) return;
    const root = s.unit + "/√Hz";
    const limit = s.densityLimitVoltsPerRootHz;
    const density = s.densityVoltsPerRootHz;
    const range = levelRange(limit > 0 ? [density, [0, limit]] : [density], this.choice.logLevel);
    const p = this.choice.logLevel ? { factor: 1, unit: root } : prefixFor(range.high, root);
    const scaled = (/** @type {number} */ v) => v / p.factor;
    const curves = [];
    if (this.choice.response && this.response) {
      // 0 dB stands at the level axis's top.
      curves.push({ x: this.response.freqHz, y: gainAt(this.response, this.choice.point).map((g) => scaled(range.high) * 10 ** (g / 20)), colour: "faint", width: 1.6, dash: [7, 4] });
    }
    curves.push({ x: s.freqHz, y: density.map(scaled), colour: "trace" + this.choice.point, width: 1.6 });
    const highest = s.freqHz[s.freqHz.length - 1];
    /** @type {import("../scene/chart.js").Rule[]} */
    const rules = humLines(s.humHz, highest).map((hz, i) => ({ x: hz, label: i === 0 ? "hum" : `×${i + 1}` }));
    if (limit > 0) rules.push({ y: scaled(limit) });
    if (this.cursorHz > 0) rules.push({ x: this.cursorHz });
    this.plot.set(this.#axis(), { low: scaled(range.low), high: scaled(range.high), log: this.choice.logLevel, unit: p.unit }, curves, rules);
    const marks = [W.solid + POINT_TITLES[this.choice.point]];
    if (this.choice.response) marks.push(W.dashedThe0DBAt(this.choice.point === 0 ? W.wholePathStillAhead : W.pathUpToHere));
    if (s.humHz > 0) marks.push(W.dottedUprightHumAndIts);
    if (limit > 0) marks.push(W.dottedAcrossTheConvertersOwn(quantity(limit, root)));
    setText(this.legend, marks.join("; ") + ".");
    setText(this.note, W.binsOfHzResolvedTo(significant(s.freqHz[1], 2), significant(s.bandwidthHz, 2), s.averages, s.averages === 1 ? "average" : "averages", significant(s.seconds, 2), limit > 0 ? "" : W.theConvertersOwnNoiseIs));
    this.#read();
  }

  #read() {
    const s = this.spectrum;
    if (!s) return;
    if (!(this.cursorHz > 0)) {
      setText(this.readout, W.pointAtTheChartOr);
      return;
    }
    const i = binAt(s.freqHz, this.cursorHz);
    const parts = [`${significant(s.freqHz[i], 4)} Hz`, quantity(s.densityVoltsPerRootHz[i], s.unit + "/√Hz")];
    if (this.response) {
      const gain = gainAt(this.response, this.choice.point);
      let nearest = 0;
      this.response.freqHz.forEach((f, k, all) => {
        if (Math.abs(f - s.freqHz[i]) < Math.abs(all[nearest] - s.freqHz[i])) nearest = k;
      });
      parts.push(W.path(decibels(gain[nearest])));
    }
    const text = parts.join(", ");
    setText(this.readout, text);
    this.chart.setAttribute("aria-valuemin", "0");
    this.chart.setAttribute("aria-valuemax", String(s.freqHz[s.freqHz.length - 1]));
    this.chart.setAttribute("aria-valuenow", String(s.freqHz[i]));
    this.chart.setAttribute("aria-valuetext", text);
  }

  /** @param {PointerEvent} e */
  #point(e) {
    if (!this.spectrum) return;
    const box = this.chart.getBoundingClientRect();
    const axis = this.#axis();
    const share = Math.min(1, Math.max(0, (e.clientX - box.left - LEFT_CSS) / (box.width - LEFT_CSS - RIGHT_CSS)));
    this.#go(axis.log ? axis.low * (axis.high / axis.low) ** share : axis.low + share * (axis.high - axis.low));
  }

  /** @param {KeyboardEvent} e */
  #key(e) {
    const f = this.spectrum?.freqHz;
    if (!f || e.ctrlKey || e.altKey || e.metaKey) return;
    const at = binAt(f, this.cursorHz || f[1]);
    const step = e.shiftKey ? 10 : 1;
    const to = e.key === "ArrowRight" || e.key === "ArrowUp" ? at + step : e.key === "ArrowLeft" || e.key === "ArrowDown" ? at - step : e.key === "Home" ? 1 : e.key === "End" ? f.length - 1 : -1;
    if (to < 0 && !e.key.startsWith("Arrow")) return;
    e.preventDefault();
    this.#go(f[Math.min(f.length - 1, Math.max(1, to))]);
  }

  /** @param {number} hz */
  #go(hz) {
    const f = /** @type {Spectrum} */ (this.spectrum).freqHz;
    this.cursorHz = f[Math.max(1, binAt(f, hz))];
    this.#draw();
  }

  destroy() {
    this.over = true;
    window.clearTimeout(this.timer);
    this.plot.destroy();
  }
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "spectrum", title: W.spectrum, key: "f", create: (root, ctx) => new SpectrumPanel(root, ctx) };
