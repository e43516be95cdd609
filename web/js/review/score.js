// Found beats of a recording against those annotated in it, beside its sheet: how many were found, how
// many of the found are annotated, and a step from each miss to the next.

import { button, fill, h, select, setText } from "../dom.js";
import { duration } from "../format.js";
import { library } from "./library.js";
import { StretchPanel } from "./stretch.js";
import { firstFrom } from "./window.js";
import { reviewScoreWords as W } from "../words.js";

/** @import {Faults} from "./annotated.js" */
/** @import {Score} from "./library.js" */

/** EC57's learning period, seconds. */
const LEARNING = 300;
/** Shorter stretches have too few beats. */
const LEAST_SECONDS = 3;
const MOST_ROWS = 500;

/** What is missed and extra, in order. @param {Score} s */
export function faultsOf(s) {
  return [...s.missed.map((sample) => ({ sample, missed: true })), ...s.extra.map((sample) => ({ sample, missed: false }))].sort((a, b) => a.sample - b.sample);
}

/** @extends {StretchPanel<Score>} */
export class RecordedScore extends StretchPanel {
  /**
   * @param {import("./stretch.js").StretchOptions} options
   * @param {(faults: Faults|null) => void} show marks them on the sheet
   */
  constructor(options, show) {
    super(options, { id: "review-score", title: W.score, least: LEAST_SECONDS, fits: (c) => c.kind !== "other", none: W.noChannel, takes: [["what=score", W.missedAndExtra]] });
    this.showFaults = show;
    /** @type {{sample: number, missed: boolean}[]} */
    this.faults = [];
    this.at = NaN;
    this.learning = select("review-score-learning", [["0", W.fromTheStart], [String(LEARNING), W.afterFiveMinutes]], () => {
      this.key = "";
      this.follow(0);
    }, { "aria-label": W.whereScoringBegins });
    this.which = select("review-score-which", [["", W.asEdited], ["1", W.asWereFound]], () => {
      this.key = "";
      this.follow(0);
    }, { "aria-label": W.whichBeats, hidden: true });
    this.facts = h("dl", { class: "facts", "data-testid": "review-score-facts" });
    this.rule = h("p", { class: "hint", "data-testid": "review-score-rule" });
    this.count = h("span", { "data-testid": "review-score-count" });
    this.list = h("ol", { class: "review-list", "data-testid": "review-score-list" });
    this.body.append(this.facts, this.rule,
      h("div", { class: "row" }, h("h3", {}, W.missedAndExtra), this.count, h("span", { class: "spring" }),
        button("review-score-before", "‹", () => this.step(-1), { class: "step", "aria-label": W.before, title: W.before }), button("review-score-next", "›", () => this.step(1), { class: "step", "aria-label": W.next, title: W.next })),
      this.list);
    this.root.append(this.head, this.learning, this.which, this.where, this.state, this.work, this.body);
  }

  /** @param {string} id @param {number} from @param {number} to @param {AbortSignal} ended @param {(share: number) => void} progress */
  ask(id, from, to, ended, progress) {
    const how = `learning=${this.learning.value}${this.which.value ? "&found=1" : ""}`;
    this.about.takes = [[`what=score&${how}`, W.missedAndExtra]];
    return library.score(id, this.channel, from, to, how, ended, progress);
  }

  clear() {
    this.faults = [];
    this.#mark();
  }

  close() {
    super.close();
    this.clear();
  }

  /** @param {boolean} open */
  toggle(open) {
    super.toggle(open);
    if (open) this.draw();
    else this.showFaults(null);
  }

  draw() {
    const { data } = this;
    if (!data) return;
    this.learning.hidden = (this.detail?.seconds ?? 0) <= LEARNING;
    this.faults = faultsOf(data);
    setText(this.where, this.span(data.from / data.rateHz, data.to / data.rateHz));
    this.which.hidden = (this.detail?.edits[this.channel] ?? []).length === 0 && !this.which.value;
    const n = data.edited.added + data.edited.moved + data.edited.removed;
    const share = (/** @type {number|null} */ x) => (x === null ? "–" : `${(100 * x).toFixed(2)}\u00a0%`);
    const rows = [[W.sensitivity, share(data.se)], [W.predictivity, share(data.ppv)], [W.f1, share(data.f1)], [W.annotated, String(data.annotated)], [n > 0 ? W.foundEdited : W.found, String(data.found)], [W.missed, String(data.fn)], [W.extra, String(data.fp)],
      [W.apart, data.rmsSeconds === null ? "–" : duration(data.rmsSeconds)]];
    fill(this.facts, ...rows.flatMap(([name, value]) => [h("dt", {}, name), h("dd", {}, value)]));
    setText(this.rule, W.rule(duration(data.windowSeconds)) + (data.kind === "pulse" ? W.delayed(duration(data.delaySeconds)) : "") + (n > 0 ? W.edited(n, data.edited) : this.which.value ? W.asFound : ""));
    setText(this.count, this.faults.length > 0 ? String(this.faults.length) : "");
    fill(this.list, ...this.faults.slice(0, MOST_ROWS).map((f) => h("li", {}, h("button", { type: "button", class: "review-row", "data-sample": f.sample, onclick: () => this.#go(f.sample) },
      h("span", { class: "review-time" }, this.options.time(f.sample / data.rateHz, 0.01)), h("span", {}, f.missed ? W.missed : W.extra)))));
    if (this.faults.length > MOST_ROWS) this.list.append(h("li", { class: "hint" }, W.andMore(this.faults.length - MOST_ROWS)));
    if (this.faults.length === 0) this.list.append(h("li", { class: "hint" }, W.noneMissed));
    this.#mark();
  }

  /** To the next fault or the one before. @param {1|-1} direction */
  step(direction) {
    if (this.faults.length === 0) return;
    const { from, to } = this.options.place();
    const seen = this.at >= from && this.at < to;
    const here = seen ? this.at : (from + to) / 2;
    const i = direction > 0 ? firstFrom(this.faults, Math.floor(here) + 1) : firstFrom(this.faults, Math.ceil(here)) - 1;
    const fault = this.faults[i];
    if (fault) this.#go(fault.sample);
  }

  /** @param {number} sample */
  #go(sample) {
    this.at = sample;
    this.options.go(sample);
    this.#mark();
  }

  #mark() {
    const { data } = this;
    for (const row of this.list.querySelectorAll("[data-sample]")) {
      const here = Number(row.getAttribute("data-sample")) === this.at;
      row.toggleAttribute("aria-current", here);
      if (here) row.scrollIntoView({ block: "nearest" });
    }
    this.showFaults(data && this.open ? { missed: data.missed, extra: data.extra, at: this.at } : null);
  }
}
