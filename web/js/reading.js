// The rate, big, with what it is worth in words; a small beat lamp beside it.

import { sentence } from "./api.js";
import { fill, h, setText } from "./dom.js";
import { readingHeading, signalWords, wholeSeconds } from "./format.js";
import { readingWords as W } from "./words.js";

/** @import {Channel, Reading, Report} from "./types.js" */

const LAMP_MS = 130;
/** Below three flashes a second at any rate: WCAG 2.3.1. */
const LEAST_BETWEEN_FLASHES_MS = 340;
const ANNOUNCE_EVERY_MS = 15000;
const STALE_AFTER_MS = 3000;
const QUALITY_STEPS = 5;

/** Tells screen readers a change of state at once, a rate seldom. */
export class Spoken {
  /** @param {(text: string) => void} announce */
  constructor(announce) {
    this.announce = announce;
    this.text = this.state = "";
    this.at = 0;
  }

  /**
   * @param {string} text
   * @param {string} state
   */
  tell(text, state) {
    const now = performance.now();
    if (text === this.text || (state === this.state && now - this.at < ANNOUNCE_EVERY_MS)) return;
    this.text = text;
    this.state = state;
    this.at = now;
    this.announce(text);
  }
}

export class ReadingPanel {
  /**
   * @param {HTMLElement} root
   * @param {{announce: (text: string) => void, still: boolean}} options still: no lamp
   */
  constructor(root, options) {
    this.options = options;
    this.number = h("span", { class: "rate-number", "data-testid": "rate" }, "–");
    this.lamp = h("span", { class: "lamp", "aria-hidden": "true" });
    this.lamp.hidden = options.still;
    this.name = h("span", { class: "rate-name", "data-testid": "rate-name", hidden: true });
    this.state = h("span", { class: "rate-state", "data-testid": "reading-state" });
    this.reason = h("span", { class: "rate-reason", "data-testid": "reading-reason" });
    this.bars = h("span", { class: "quality", role: "img", "aria-label": W.qualityUnknown }, Array.from({ length: QUALITY_STEPS }, () => h("i", {})));
    root.append(
      h("div", { class: "rate" }, this.lamp, this.number, h("span", { class: "rate-unit" }, "bpm")),
      h("div", { class: "rate-words" }, h("div", { class: "rate-line" }, this.name, this.state, this.bars), this.reason));
    this.root = root;
    this.spoken = new Spoken(options.announce);
    this.flashedAt = 0;
    this.offAt = 0;
    this.shownAt = 0;
  }

  /**
   * @param {Reading|undefined} r
   * @param {Channel|undefined} channel
   * @param {Report|undefined} report
   * @param {boolean} [named] there are other channels: whose rate it is
   */
  show(r, channel, report, named = false) {
    this.shownAt = performance.now();
    const state = r?.state ?? "searching";
    const reading = state === "reading" && !!r && r.rateBpm > 0;
    setText(this.number, reading ? String(Math.round(r.rateBpm)) : "–");
    this.root.classList.toggle("none", !reading);
    const word = reading ? signalWords(r.quality, report) : readingHeading(state);
    setText(this.state, word);
    setText(this.reason, r?.reason ? sentence(r.reason) : W.waitingForTheFirstSeconds);
    this.#light(reading ? Math.max(1, Math.round(r.quality * QUALITY_STEPS)) : 0);
    const label = channel?.label ?? "";
    setText(this.name, label);
    this.name.hidden = !named || label === "";
    this.spoken.tell(reading ? W.beatsPerMinute(label, Math.round(r.rateBpm), word) : `${label} ${word}. ${r?.reason ?? ""}`, state);
  }

  /** @param {number} lit bars */
  #light(lit) {
    if (this.bars.dataset.lit === String(lit)) return;
    this.bars.dataset.lit = String(lit);
    [...this.bars.children].forEach((b, i) => b.classList.toggle("lit", i < lit));
    this.bars.setAttribute("aria-label", W.qualityOf(lit, QUALITY_STEPS));
  }

  /** A beat was found. */
  beat() {
    const now = performance.now();
    if (this.options.still || now - this.flashedAt < LEAST_BETWEEN_FLASHES_MS) return;
    this.flashedAt = now;
    this.lamp.classList.add("on");
    window.clearTimeout(this.offAt);
    this.offAt = window.setTimeout(() => this.lamp.classList.remove("on"), LAMP_MS);
  }

  /**
   * @param {number} silentMs since samples last arrived
   */
  age(silentMs) {
    this.root.classList.toggle("old", silentMs > STALE_AFTER_MS);
    if (silentMs > STALE_AFTER_MS) {
      setText(this.state, W.noReadingNothingArrives);
      setText(this.reason, W.theLastSampleCameAgo(wholeSeconds(silentMs / 1000)));
      setText(this.number, "–");
      this.#light(0);
      this.root.classList.add("none");
    }
  }

  text() {
    return this.number.textContent ?? "";
  }

  /** The rate with its unit, or why there is none. */
  words() {
    const none = this.root.classList.contains("none");
    return none ? [this.state.textContent, this.reason.textContent].filter(Boolean).join(": ") : `${this.text()}\u00a0bpm, ${this.state.textContent}`;
  }

  destroy() {
    window.clearTimeout(this.offAt);
    fill(this.root);
  }
}
