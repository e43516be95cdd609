// The screen's true size: a bar that is made as long as a bank card, or as
// 100 mm of a ruler. Kept for this browser, as millimetres of a device pixel.

import { button, dialog, h, select, setText } from "../dom.js";
import { prefs } from "../store.js";
import { calibrated, CARD_MM, CARD_SHORT_MM, GUESS_MM_PER_CSS } from "./paper.js";
import { traceCalibrateWords as W } from "../words.js";

const KEY = W.screenMmPerPixel;
const LEAST_CSS = 120;
const MOST_CSS = 1400;

/** Millimetres of a device pixel, 0 until measured. */
export function screenMm() {
  const v = prefs.get(KEY, 0);
  return typeof v === "number" && v > 0 ? v : 0;
}

export class CalibrateDialog {
  /** @param {{measured: (mmPerDevicePx: number) => void}} options */
  constructor(options) {
    this.options = options;
    this.mm = CARD_MM;
    this.bar = h("div", { class: "fit-bar", "data-testid": "fit-bar", "aria-hidden": "true" });
    this.slider = h("input", { type: "range", min: String(LEAST_CSS), max: String(MOST_CSS), step: "1", id: "fit-length", "data-testid": "fit-length", "aria-label": W.lengthOfTheBarIn });
    this.slider.addEventListener("input", () => this.#show());
    this.against = select("fit-against", [[String(CARD_MM), W.theLongEdgeOfA], [String(CARD_SHORT_MM), W.theShortEdgeOfA], ["100", W.n100MmOfARuler], ["50", W.n50MmOfARuler]], (v) => {
      const before = this.mm;
      this.mm = Number(v);
      this.#set((Number(this.slider.value) * this.mm) / before);
    }, { "aria-label": W.whatIsHeldAgainstThe });
    this.result = h("p", { class: "hint", "data-testid": "fit-result", role: "status" });
    const step = (/** @type {number} */ by) => () => this.#set(Number(this.slider.value) + by);
    this.use = button("fit-use", W.theBarFits, () => this.#use(), { class: "accent" });
    this.dialog = dialog("fit-dialog", W.howLargeIsThisScreen,
      h("p", {}, W.holdACardAgainstThe),
      h("label", { class: "fit-against" }, h("span", {}, W.card), this.against),
      h("div", { class: "fit-place" }, this.bar),
      h("div", { class: "fit-row" }, button("fit-less", "−", step(-1), { "aria-label": W.shorter }), this.slider, button("fit-more", "+", step(1), { "aria-label": W.longer })),
      this.result,
      h("div", { class: "dialog-foot" }, button("fit-forget", W.reset, () => this.#forget(), { class: "quiet" }), this.use));
  }

  show() {
    if (this.dialog.open) return;
    const mm = screenMm();
    if (window.innerWidth < 600) this.against.value = String(CARD_SHORT_MM);
    this.mm = Number(this.against.value);
    this.#set(this.mm / (mm > 0 ? mm * (window.devicePixelRatio || 1) : GUESS_MM_PER_CSS));
    this.dialog.showModal();
    this.slider.focus();
  }

  /** @param {number} css */
  #set(css) {
    this.slider.value = String(Math.round(css));
    this.#show();
  }

  #show() {
    const css = Number(this.slider.value);
    this.bar.style.width = `${css}px`;
    const mm = calibrated(css, this.mm, window.devicePixelRatio || 1);
    this.use.disabled = Number.isNaN(mm);
    setText(this.result, Number.isNaN(mm) ? W.noScreenIsLikeThat : W.dotsPerInch(Math.round(25.4 / mm)));
  }

  #use() {
    const mm = calibrated(Number(this.slider.value), this.mm, window.devicePixelRatio || 1);
    if (Number.isNaN(mm)) return;
    prefs.set(KEY, mm);
    this.dialog.close();
    this.options.measured(mm);
  }

  #forget() {
    prefs.set(KEY, 0);
    this.dialog.close();
    this.options.measured(0);
  }
}
