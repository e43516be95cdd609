// Two cursors over a sheet: handles to drag or to move by keys.

import { drag, h } from "../dom.js";
import { clockTime, duration } from "../format.js";
import { asideCss, between } from "../trace/view.js";
import { cursorsWords as W } from "../words.js";

const NAMES = /** @type {const} */ (["a", "b"]);
/** A step with Shift. */
const FAR = 20;

/**
 * @typedef {object} CursorOptions
 * @property {string} id begins the handles' names
 * @property {() => number} perPx samples of a CSS pixel
 * @property {(clientX: number) => number} sampleAt
 * @property {(name: "a"|"b", sample: number) => void} moved by a person
 * @property {() => {sample: number}[]} beats to step along, in order
 */

export class Cursors {
  /** @param {CursorOptions} options */
  constructor(options) {
    this.options = options;
    this.on = false;
    this.a = 0;
    this.b = 0;
    this.handles = { a: this.#handle("a", W.cursorA), b: this.#handle("b", W.cursorB) };
  }

  /**
   * @param {"a"|"b"} name
   * @param {string} title
   */
  #handle(name, title) {
    const { id, perPx, moved, sampleAt } = this.options;
    const e = h("div", { class: `cursor-handle cursor-${name}`, role: "slider", tabindex: "0", hidden: true, "data-testid": `${id}-${name}`, "aria-label": title, "aria-valuenow": "0" }, name.toUpperCase());
    drag(e, () => (m) => moved(name, sampleAt(m.clientX)));
    e.addEventListener("keydown", (k) => {
      const far = k.shiftKey ? FAR : 1;
      const step = Math.max(far, far * perPx());
      if (k.key === "ArrowLeft") moved(name, this[name] - step);
      else if (k.key === "ArrowRight") moved(name, this[name] + step);
      else if (k.key === "ArrowUp") this.#toBeat(name, 1);
      else if (k.key === "ArrowDown") this.#toBeat(name, -1);
      else return;
      k.preventDefault();
      k.stopPropagation();
    });
    return e;
  }

  /** @param {"a"|"b"} name @param {1|-1} direction */
  #toBeat(name, direction) {
    const here = Math.round(this[name]);
    const beats = this.options.beats();
    const beat = direction > 0 ? beats.find((b) => b.sample > here) : beats.findLast((b) => b.sample < here);
    if (beat) this.options.moved(name, beat.sample);
  }

  /**
   * On two beats about a sample, if they are seen, else at a third either side of the middle.
   * @param {number} from of what is seen
   * @param {number} to
   */
  begin(from, to) {
    this.on = true;
    const across = to - from;
    this.a = Math.round(from + 0.38 * across);
    this.b = Math.round(from + 0.62 * across);
    const beats = this.options.beats();
    const next = beats.findIndex((b) => b.sample >= (from + to) / 2);
    if (next < 1 || beats[next - 1].sample < from || beats[next].sample >= to) return;
    this.a = beats[next - 1].sample;
    this.b = beats[next].sample;
  }

  /** Time, difference and rate between them. @param {number} rateHz */
  measure(rateHz) {
    return between(this.a, this.b, rateHz);
  }

  /**
   * Puts the handles where they belong, or away.
   * @param {(sample: number) => number} x CSS pixels
   * @param {number} left
   * @param {number} right
   */
  place(x, left, right) {
    for (const name of NAMES) {
      const e = this.handles[name];
      e.hidden = !this.on;
      if (!this.on) continue;
      const at = x(this[name]);
      e.classList.toggle("outside", at < left - 1 || at > right + 1);
      e.style.transform = `translateX(${(at + asideCss(at, x(this[name === "a" ? "b" : "a"]), name === "a")).toFixed(1)}px)`;
    }
  }

  /** Tells screen readers where they stand. @param {number} rateHz */
  say(rateHz) {
    for (const name of NAMES) {
      this.handles[name].setAttribute("aria-valuenow", String(Math.round(this[name])));
      this.handles[name].setAttribute("aria-valuetext", W.difference(clockTime(this[name] / rateHz, 0.001), duration(this.measure(rateHz).seconds)));
    }
  }

  /** Gives the focus to the first, or back from them: hidden, a handle would take it along. @param {HTMLElement} back */
  focus(back) {
    if (this.on) this.handles.a.focus();
    else if (NAMES.some((n) => document.activeElement === this.handles[n])) back.focus();
  }
}
