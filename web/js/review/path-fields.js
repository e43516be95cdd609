// The path's settings for a recording looked at: the same stages as the live path,
// as a short form.

import { byArrows, h, numberField, select } from "../dom.js";
import { numberOf } from "../format.js";
import { reviewPathFieldsWords as W } from "../words.js";

/** @import {PathSettings} from "../types.js" */

export class PathFields {
  /** @param {(p: PathSettings) => void} changed */
  constructor(changed) {
    /** @type {PathSettings} */
    this.path = { drift: { on: false, cutoffHz: 0, order: 1 }, hum: { mode: "off", freqHz: 0, bandwidthHz: 5, harmonics: 1 }, smooth: { shape: "off", cutoffHz: 0, order: 2 } }; // until shown
    this.changed = changed;
    const orders = (/** @type {number} */ most) => Array.from({ length: most }, (_, i) => /** @type {[string, string]} */ ([String(i + 1), W.order(i + 1)]));
    this.drift = h("input", { type: "checkbox", id: "review-drift", "data-testid": "review-drift" });
    this.drift.addEventListener("change", () => this.#set((p) => (p.drift.on = this.drift.checked)));
    this.driftCut = this.#number("review-drift-cutoff", W.driftCutoffInHertz, 0.05, (p, v) => (p.drift.cutoffHz = v));
    this.driftOrder = select("review-drift-order", orders(4), (v) => this.#set((p) => (p.drift.order = Number(v))), { "aria-label": W.driftOrder });
    this.hum = select("review-hum", [["off", "off"], ["notch", "notch"], ["cancel", "canceller"]], (v) => this.#set((p) => (p.hum.mode = /** @type {typeof p.hum.mode} */ (v))), { "aria-label": W.hum });
    this.humFreq = select("review-hum-freq", [["0", "found"], ["50", "50 Hz"], ["60", "60 Hz"]], (v) => this.#set((p) => (p.hum.freqHz = Number(v))), { "aria-label": W.humFrequency });
    this.humHarmonics = select("review-hum-harmonics", [1, 2, 3, 4, 5, 6, 7].map((n) => [String(n), `× ${n}`]), (v) => this.#set((p) => (p.hum.harmonics = Number(v))), { "aria-label": W.humHarmonics });
    this.smooth = select("review-smooth", [["off", "off"], ["rc", "RC"], ["butterworth", W.butterworth]], (v) => this.#set((p) => (p.smooth.shape = /** @type {typeof p.smooth.shape} */ (v))), { "aria-label": W.smooth });
    this.smoothCut = this.#number("review-smooth-cutoff", W.smoothCutoffInHertz, 1, (p, v) => (p.smooth.cutoffHz = v));
    this.smoothOrder = select("review-smooth-order", orders(8), (v) => this.#set((p) => (p.smooth.order = Number(v))), { "aria-label": W.smoothOrder });
    this.root = h("div", { class: "path-fields" },
      h("label", { class: "check" }, this.drift, h("b", {}, W.drift)), h("div", { class: "row" }, h("span", { class: "number" }, "below", this.driftCut, "Hz"), this.driftOrder),
      h("b", {}, W.hum), h("div", { class: "row" }, this.hum, this.humFreq, this.humHarmonics),
      h("b", {}, W.smooth), h("div", { class: "row" }, this.smooth, h("span", { class: "number" }, "above", this.smoothCut, "Hz"), this.smoothOrder));
  }

  /**
   * @param {string} id
   * @param {string} label
   * @param {number} step
   * @param {(p: PathSettings, v: number) => void} put
   */
  #number(id, label, step, put) {
    const input = numberField(id, { "aria-label": label });
    input.addEventListener("change", () => {
      const v = numberOf(input.value) ?? 0;
      if (v > 0) this.#set((p) => put(p, v));
      else this.show(this.path);
    });
    byArrows(input, step);
    return input;
  }

  /** @param {(p: PathSettings) => void} change */
  #set(change) {
    const next = structuredClone(this.path);
    change(next);
    this.show(next);
    this.changed(next);
  }

  /** @param {PathSettings} p */
  show(p) {
    this.path = p;
    this.drift.checked = p.drift.on;
    this.driftCut.value = String(p.drift.cutoffHz);
    this.driftOrder.value = String(p.drift.order || 1);
    this.hum.value = p.hum.mode || "off";
    this.humFreq.value = ["0", "50", "60"].includes(String(p.hum.freqHz)) ? String(p.hum.freqHz) : "0";
    this.humHarmonics.value = String(p.hum.harmonics || 1);
    this.smooth.value = p.smooth.shape || "off";
    this.smoothCut.value = String(p.smooth.cutoffHz);
    this.smoothOrder.value = String(p.smooth.order || 2);
    this.driftCut.disabled = this.driftOrder.disabled = !p.drift.on;
    this.humFreq.disabled = this.humHarmonics.disabled = this.hum.value === "off";
    this.smoothCut.disabled = this.smooth.value === "off";
    this.smoothOrder.disabled = this.smooth.value !== "butterworth";
  }
}
