// A panel beside a recording's sheet that says something of a stretch of one channel: of what is
// seen, of what lies between the cursors, or of all.

import { button, fill, h, select, setText } from "../dom.js";
import { duration } from "../format.js";
import { library } from "./library.js";
import { reviewStretchWords as W } from "../words.js";

/** @import {Detail} from "./library.js" */

/** The window rests so long before its stretch is asked for. */
const REST_MS = 350;
/** Longer stretches are worked out only when asked for: about a second an hour. */
const UNASKED_SECONDS = 2 * 3600;
const WORK = W.workItOut;
const READING = W.readingTheRecording;

/**
 * @typedef {object} StretchOptions
 * @property {(sample: number) => void} go to a sample
 * @property {(seconds: number, step: number) => string} time how times are shown
 * @property {() => {from: number, to: number, cursors: [number, number]|null}} place the window, and what lies between the cursors, samples
 */

/** @template T what the server answers */
export class StretchPanel {
  /**
   * @param {StretchOptions} options
   * @param {{id: string, title: string, least: number, fits: (c: {kind: string}) => boolean, none: string, takes: [query: string, text: string][]}} about the shortest stretch in seconds, which channels it speaks of, what is said without one, and what can be saved, by its query
   */
  constructor(options, about) {
    this.options = options;
    this.about = about;
    /** @type {Detail|null} */
    this.detail = null;
    /** @type {T|null} */
    this.data = null;
    this.channel = 0;
    this.timer = 0;
    /** What was asked for last. */
    this.key = "";
    /** @type {AbortController|null} */
    this.asking = null;
    const { id } = about;
    this.stretch = select(id + "-stretch", [["seen", W.whatIsSeen], ["between", W.betweenTheCursors], ["all", W.wholeRecording]], () => this.follow(0), { "aria-label": W.stretch });
    this.stretch.value = "all";
    this.pick = select(id + "-channel", [], (v) => {
      this.channel = Number(v);
      this.follow(0);
    }, { "aria-label": W.channelOf + about.title });
    this.where = h("p", { class: "hint", "data-testid": id + "-where" });
    this.state = h("p", { role: "status", "data-testid": id + "-state" });
    this.work = button(id + "-work", WORK, () => (this.asking ? this.#cancel() : void this.#ask(true)), { hidden: true });
    this.head = h("div", { class: "row between" }, h("h3", {}, about.title), this.pick, this.stretch);
    /** What is hidden while there is nothing to say. */
    this.save = h("p", { class: "row save", "data-testid": id + "-save" });
    this.body = h("div", { class: "stretch-body", hidden: true }, this.save);
    this.root = h("aside", { class: "review-side drawer-body " + id, id, "data-testid": id, "aria-label": about.title, hidden: true });
  }

  /**
   * Asks the server. Of a subclass.
   * @param {string} _id @param {number} _from @param {number} _to @param {AbortSignal} _ended @param {(share: number) => void} _progress
   * @returns {Promise<T>}
   */
  ask(_id, _from, _to, _ended, _progress) {
    return Promise.reject(new Error(W.nothingToAsk));
  }

  /** Shows this.data. Of a subclass. */
  draw() {}

  /** Clears what stands outside of the body. Of a subclass. */
  clear() {}

  get open() {
    return !this.root.hidden;
  }

  /** @param {Detail} detail */
  show(detail) {
    this.close();
    this.detail = detail;
    const list = detail.channelDetails.map((c, i) => ({ i, ...c })).filter((c) => this.about.fits(c));
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
    const channel = detail.channelDetails[this.channel];
    if (!channel || !this.about.fits(channel)) return this.#none(this.about.none);
    if (between && !place.cursors) return this.#none(W.setTheCursorsCWhat);
    const seconds = (to - from) / detail.rateHz;
    if (seconds < this.about.least) return this.#none(W.holdTooFewBeatsShow(duration(seconds), this.about.least));
    if (seconds > UNASKED_SECONDS && !wanted) {
      this.#none(W.takeAWhileAboutA(duration(seconds)));
      this.work.hidden = false;
      return;
    }
    const asking = new AbortController();
    this.asking = asking;
    setText(this.state, READING);
    setText(this.work, W.cancel);
    this.work.hidden = seconds <= UNASKED_SECONDS;
    this.root.setAttribute("aria-busy", "true");
    try {
      const data = await this.ask(detail.id, from, to, asking.signal, (share) => setText(this.state, `${READING} ${Math.floor(100 * share)} %`));
      if (asking.signal.aborted) return;
      this.data = data;
      setText(this.state, "");
      this.work.hidden = true;
      this.body.hidden = false;
      this.#saves(detail.id, from, to);
      this.draw();
    } catch (e) {
      if (!asking.signal.aborted) this.#none(e instanceof Error ? e.message : String(e));
    } finally {
      if (this.asking === asking) {
        this.asking = null;
        setText(this.work, WORK);
        this.root.removeAttribute("aria-busy");
      }
    }
  }

  /** Links that save what is shown, and the signal itself. @param {string} id @param {number} from @param {number} to */
  #saves(id, from, to) {
    const link = (/** @type {[string, string]} */ [query, text]) =>
      h("a", { href: library.taken(id, this.channel, from, to, query), download: "", "aria-label": W.saveWhat(text), "data-testid": `${this.about.id}-save-${query.replace(/\W+/g, "-")}` }, text);
    fill(this.save, h("span", { class: "hint" }, W.save), ...this.about.takes.map(link));
  }

  /** Ends the work; what it was about can be asked for again. */
  #cancel() {
    this.asking?.abort();
    this.asking = null;
    this.#none(W.cancelled);
    setText(this.work, WORK);
    this.work.hidden = false;
  }

  /** @param {string} why nothing is shown */
  #none(why) {
    this.data = null;
    this.body.hidden = true;
    setText(this.where, "");
    this.clear();
    setText(this.state, why);
    this.root.removeAttribute("aria-busy");
  }

  /** @param {number} from @param {number} to seconds */
  span(from, to) {
    return `${this.options.time(from, 1)} to ${this.options.time(to, 1)}`;
  }
}
