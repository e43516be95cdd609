// The Why drawer: beat by beat through what is kept, and why each place was or was
// not taken. While it is open the trace carries what the beat finder weighed.

import { request } from "../api.js";
import { button, fill, h, setText } from "../dom.js";
import { clockTime, duration, quantity } from "../format.js";
import { drawerWhyWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {Item} from "../scene/scene.js" */
/** @import {Sheet} from "../scene/sheet.js" */
/** @import {PageState} from "../store.js" */
/** @import {TracePanel} from "../trace/trace.js" */

/**
 * @typedef {object} Candidate
 * @property {number} sample
 * @property {number} feature
 * @property {number} threshold 0 when it was held against none
 * @property {number} agreement −1…1
 * @property {number} floor
 * @property {boolean} taken
 * @property {string} reason
 */
/** One place with all that was decided about it, oldest first. @typedef {{sample: number, last: Candidate, verdicts: Candidate[]}} Place */

const LOOK_EVERY_MS = 1000;
/** So much beside the paper is asked for too, to step into. */
const BESIDE_SECONDS = 30;
/** Of a lane's height that the features take. */
const SHARE = 0.42;
/** Of it, over the highest stem. */
const ROOM = 1.2;
const MOST_ROWS = 14;

/**
 * Decisions about one sample put together.
 * @param {Candidate[]} candidates in order of sample, then of decision
 * @returns {Place[]}
 */
export function places(candidates) {
  /** @type {Place[]} */
  const list = [];
  for (const c of candidates) {
    const before = list[list.length - 1];
    if (before && before.sample === c.sample) {
      before.verdicts.push(c);
      before.last = c;
    } else list.push({ sample: c.sample, last: c, verdicts: [c] });
  }
  return list;
}

/**
 * The neighbour of a sample among the places.
 * @param {Place[]} list
 * @param {number} sample
 * @param {1|-1} direction
 * @param {boolean} takenOnly
 */
export function step(list, sample, direction, takenOnly) {
  const fit = list.filter((p) => !takenOnly || p.last.taken);
  return direction > 0 ? fit.find((p) => p.sample > sample) : fit.findLast((p) => p.sample < sample);
}

class WhyPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    /** @type {Place[]} */
    this.places = [];
    this.sample = NaN;
    this.all = true;
    this.kind = "";
    this.listed = "";
    /** @type {number|undefined} */
    this.epoch = undefined;
    this.channel = ctx.channel();
    this.gone = false;
    this.busy = false;
    const go = (/** @type {1|-1} */ direction, /** @type {boolean} */ takenOnly) => () => this.#step(direction, takenOnly);
    this.beatBack = button("why-beat-back", "◂ Beat", go(-1, true), { "aria-label": W.theBeatBefore });
    this.beatOn = button("why-beat-on", "Beat ▸", go(1, true), { "aria-label": W.theNextBeat });
    this.placeBack = button("why-place-back", "◂ Candidate", go(-1, false), { "aria-label": W.theCandidateBefore });
    this.placeOn = button("why-place-on", "Candidate ▸", go(1, false), { "aria-label": W.theNextCandidate });
    this.verdict = h("p", { class: "verdict", "data-testid": "why-verdict", role: "status" });
    this.facts = h("dl", { class: "facts", "data-testid": "why-facts" });
    this.note = h("p", { class: "hint", "data-testid": "why-note" });
    this.list = h("ul", { class: "why-list", "data-testid": "why-list" });
    this.problem = h("p", { class: "error", role: "alert" });
    root.append(
      h("p", { class: "hint" }, W.stepThroughTheRememberedSignal),
      h("div", { class: "why-steps" }, this.beatBack, this.beatOn, this.placeBack, this.placeOn),
      this.verdict, this.facts, this.note, h("h3", {}, W.aroundIt), this.list, this.problem);
    ctx.trace.annotate = (s) => this.#annotate(s);
    this.timer = window.setInterval(() => this.#look(), LOOK_EVERY_MS);
    void this.#look().then(() => {
      const newest = this.places.findLast((p) => p.last.taken);
      if (!this.gone && newest) this.#show(newest.sample);
    });
  }

  async #look() {
    const { trace, store } = this.ctx;
    const rings = this.ctx.rings();
    if (document.hidden || this.busy || !rings) return;
    if (this.channel !== this.ctx.channel() || this.epoch !== store.state.server?.epoch) {
      this.channel = this.ctx.channel();
      this.epoch = store.state.server?.epoch;
      this.sample = NaN;
      this.places = [];
    }
    const beside = BESIDE_SECONDS * trace.view.rateHz;
    const middle = Number.isNaN(this.sample) ? trace.view.end : this.sample;
    const from = Math.max(0, Math.floor(Math.min(trace.view.indexAt(0), middle) - beside));
    const to = Math.ceil(Math.max(trace.view.end, middle) + beside);
    this.busy = true;
    try {
      const answer = await request("GET", `/channels/${this.channel}/why?from=${from}&to=${to}`);
      if (this.gone) return;
      this.all = answer.all;
      this.kind = answer.kind;
      this.places = places(answer.candidates);
      setText(this.problem, "");
    } catch (e) {
      if (!this.gone) setText(this.problem, e instanceof Error ? e.message : String(e));
    } finally {
      this.busy = false;
    }
    if (this.gone) return;
    this.#tell();
    trace.options.loop.dirty(trace);
  }

  /**
   * @param {1|-1} direction
   * @param {boolean} takenOnly
   */
  async #step(direction, takenOnly) {
    const from = Number.isNaN(this.sample) ? this.ctx.trace.view.end : this.sample;
    let next = step(this.places, from, direction, takenOnly);
    if (!next) {
      await this.#look();
      next = step(this.places, from, direction, takenOnly);
    }
    if (next) this.#show(next.sample);
    else this.ctx.announce(direction > 0 ? W.nothingNewerHasBeenDecided : W.nothingOlderIsKept);
  }

  /** @param {number} sample */
  #show(sample) {
    this.sample = sample;
    this.ctx.trace.holdAt(sample);
    this.#tell();
    const p = this.places.find((q) => q.sample === sample);
    if (p) this.ctx.announce(`${p.last.taken ? W.taken : W.notTaken}: ${p.last.reason}.`);
  }

  #tell() {
    const rate = this.ctx.trace.view.rateHz;
    const unit = this.ctx.store.state.server?.channels[this.channel]?.unit ?? "";
    const at = this.places.findIndex((q) => q.sample === this.sample);
    const p = this.places[at];
    if (this.kind === "other") setText(this.verdict, W.thisChannelIsNotRead);
    else if (!p) setText(this.verdict, this.places.length > 0 ? W.stepToABeat : W.nothingToShowHereYet);
    else setText(this.verdict, `${p.last.taken ? W.taken : W.notTaken}: ${p.last.reason}.`);
    this.verdict.classList.toggle("refused", !!p && !p.last.taken);
    setText(this.note, this.kind === "pulse" ? W.ofAPulseEachRise : "");
    if (!p) fill(this.facts);
    else {
      const c = p.last;
      const before = this.places.slice(0, at).findLast((q) => q.last.taken);
      const row = (/** @type {string} */ name, /** @type {string} */ value) => [h("dt", {}, name), h("dd", {}, value)];
      fill(this.facts, ...row(W.at, clockTime(c.sample / rate, 0.01)),
        ...(before ? row(this.kind === "pulse" ? W.sinceThePeakBefore : W.sinceTheBeatBefore, duration((c.sample - before.sample) / rate)) : []),
        ...row(W.score, quantity(c.feature, unit)),
        ...(c.threshold > 0 ? [...row(W.scoreNeeded, quantity(c.threshold, unit)), ...row("Score / needed", `${Math.round((100 * c.feature) / c.threshold)} %`)] : []),
        ...(c.floor > 0 ? row(W.background, quantity(c.floor, unit)) : []),
        ...row(W.likenessToEarlierBeats, c.agreement > 0 ? `${Math.round(100 * c.agreement)} %` : W.notOrNotYetCompared),
        ...p.verdicts.slice(0, -1).flatMap((v) => row(W.firstDecided, `${v.taken ? "taken" : W.notTaken2}: ${v.reason}`)));
    }
    const near = this.#near(at);
    const key = near.map((q) => `${q.sample}${q.last.taken}${q.sample === this.sample}`).join();
    if (key === this.listed) return;
    this.listed = key;
    const focused = document.activeElement instanceof HTMLElement ? document.activeElement.id : "";
    fill(this.list, ...near.map((q) => h("li", { class: q.sample === this.sample ? "chosen" : "" },
      button(`why-at-${q.sample}`, `${clockTime(q.sample / rate, 0.01)}  ${q.last.taken ? "●" : "○"}`, () => this.#show(q.sample), { class: "quiet", "aria-label": `${clockTime(q.sample / rate, 0.01)}, ${q.last.taken ? "taken" : W.notTaken2}`, "aria-current": q.sample === this.sample ? "true" : null }), " ", q.last.reason)));
    if (focused.startsWith("why-at-")) document.getElementById(focused)?.focus();
  }

  /** @param {number} at */
  #near(at) {
    if (this.places.length === 0) return [];
    const middle = at >= 0 ? at : this.places.length - 1;
    const from = Math.max(0, Math.min(middle - MOST_ROWS / 2, this.places.length - MOST_ROWS));
    return this.places.slice(from, from + MOST_ROWS);
  }

  /**
   * Stems and thresholds over the channel's first lane.
   * @param {Sheet} s
   * @returns {Item[]}
   */
  #annotate(s) {
    const { lanes } = this.ctx.trace;
    const own = (/** @type {number} */ point) => lanes.findIndex((l) => l.probe.channel === this.channel && (point < 0 || l.probe.point === point));
    const lane = s.lanes[own(4)] ?? s.lanes[own(-1)];
    const x = (/** @type {number} */ i) => s.x0 + i * s.perSample;
    const shown = this.places.filter((p) => x(p.sample) >= s.left && x(p.sample) <= s.width);
    // Just after a beat so much is needed that no stem would be seen beside it: such a need is cut off above.
    const most = ROOM * Math.max(0, ...shown.map((p) => p.last.feature));
    if (!lane || !(most > 0)) return [];
    const bottom = lane.top + lane.height;
    const y = (/** @type {number} */ v) => bottom - Math.min(1, Math.max(0, v) / most) * SHARE * lane.height;
    const held = shown.filter((p) => p.last.threshold > 0);
    /** @type {Item[]} */
    const items = [{ kind: "path", x: held.map((p) => x(p.sample)), y: held.map((p) => y(p.last.threshold)), colour: "faint", width: 1.5, dash: [5, 4] }];
    for (const p of shown) {
      const [px, py] = [x(p.sample), y(p.last.feature)];
      const chosen = p.sample === this.sample;
      const width = chosen ? 3 : 1.5;
      items.push({ kind: "lines", at: [px, bottom, px, py], colour: "mark", width }, { kind: "marks", mark: "ring", at: [px, py], size: chosen ? 5.5 : 3.5, colour: "mark", width, fill: p.last.taken ? "mark" : "paper" });
      if (chosen) items.push({ kind: "box", x: px - 9, y: lane.top, width: 18, height: lane.height, colour: "mark", alpha: 0.1 });
    }
    return items;
  }

  /** @param {PageState} _state */
  changed(_state) {
    if (this.channel !== this.ctx.channel()) void this.#look();
  }

  destroy() {
    this.gone = true;
    window.clearInterval(this.timer);
    this.ctx.trace.annotate = null;
    this.ctx.trace.options.loop.dirty(this.ctx.trace);
  }
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "why", title: W.why, key: "y", create: (root, ctx) => new WhyPanel(root, ctx) };
