// The Link drawer: what the board says, lines nobody could read, gaps and notes.

import { sentence } from "./api.js";
import { button, fill, h, setText } from "./dom.js";
import { clockTime, duration, rate, significant } from "./format.js";
import { Plot } from "./plot.js";
import { drawerBoardWords as W } from "./words.js";

/** @import {DrawerContext} from "./drawers.js" */
/** @import {PageState} from "./store.js" */

const MOST_ROWS = 40;

/**
 * Which column of the board's lines is taken as its clock.
 * @param {import("./wire.js").Column[]} columns
 */
export function clockWords(columns) {
  const of = (/** @type {string} */ use) => columns.findIndex((c) => c.use === use);
  const clock = of("clock"), counter = of("counter");
  const list = clock >= 0 ? [W.clockColumn(clock + 1, columns[clock].name, W.clockUnits[columns[clock].clock ?? ""])] : [W.noClockColumn];
  if (counter >= 0) list.push(W.counterColumn(counter + 1, columns[counter].name));
  return list.join("; ");
}

class BoardPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.facts = h("dl", { class: "facts" });
    this.clockFacts = h("dl", { class: "facts", "data-testid": "clock-facts" });
    this.clockDoubt = h("p", { class: "warning", "data-testid": "clock-doubt", hidden: true });
    this.clockChart = h("div", { class: "chart low", "data-testid": "clock-chart" });
    this.plot = new Plot(this.clockChart, { label: W.samplesASecondOfThe });
    this.clock = h("section", { hidden: true }, h("h3", {}, W.samplesASecond), this.clockDoubt, this.clockFacts, this.clockChart);
    this.text = h("pre", { class: "board-log", tabindex: "0", "data-testid": "board-log", "aria-label": W.messagesOfTheBoard });
    this.gaps = h("ul", { class: "places" });
    this.notes = h("ul", { class: "places" });
    root.append(this.facts, this.clock, h("h3", {}, W.messagesOfTheBoard), this.text, h("h3", {}, W.gaps), this.gaps, h("h3", {}, W.notes), this.notes);
    /** @type {unknown[]} */
    this.shown = [];
    /** @type {number[]|undefined} */
    this.clockShown = undefined;
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const server = state.server;
    this.#showClock(state);
    const now = [state.text, server?.source, server?.channels, server?.health, server?.gaps, server?.notes, state.dropped];
    if (now.every((v, i) => v === this.shown[i])) return;
    this.shown = now;
    const health = server?.health;
    fill(this.facts,
      h("dt", {}, W.linesRead), h("dd", {}, (health?.lines ?? 0).toLocaleString("en")),
      h("dt", {}, W.unreadable), h("dd", {}, (health?.unreadable ?? 0).toLocaleString("en")),
      h("dt", {}, W.linesOutOfOrder), h("dd", {}, (health?.outOfOrder ?? 0).toLocaleString("en")),
      h("dt", {}, W.samplesLostByTheBoard), h("dd", { "data-testid": "board-lost" }, health?.lostUnknown ? W.lostUnknown : (health?.lostSamples ?? 0).toLocaleString("en")),
      h("dt", {}, W.framesLostByThisPage), h("dd", {}, state.dropped.toLocaleString("en")),
      server?.source?.columns?.length ? h("dt", {}, W.timeOfALine) : null, server?.source?.columns?.length ? h("dd", { "data-testid": "board-clock" }, clockWords(server.source.columns)) : null,
      health?.detail ? h("dt", {}, W.connection) : null, health?.detail ? h("dd", {}, health.detail) : null,
      health?.lastUnreadable ? h("dt", {}, W.lastUnreadable) : null, health?.lastUnreadable ? h("dd", {}, h("code", {}, health.lastUnreadable)) : null);
    const n = server?.channels.findIndex((c) => c.unit === "counts") ?? -1;
    if (n >= 0) this.facts.append(h("dt", {}, W.volts), h("dd", {}, button("board-scale", W.sayWhatACountIs, () => this.ctx.openScale(n), { class: "quiet" })));
    setText(this.text, state.text.slice(-MOST_ROWS).join("\n") || W.nothingButNumbersSoFar);
    const pointHz = server?.rateHz ?? 1;
    const go = (/** @type {number} */ index) => {
      const view = this.ctx.trace.view;
      this.ctx.trace.scrollBy(index + view.samplesAcross / 2 - view.end);
    };
    const list = (/** @type {{index: number, text: string}[]} */ items) => items.slice(-MOST_ROWS).reverse().map((i) => h("li", {}, h("button", { type: "button", class: "quiet", onclick: () => go(i.index) }, clockTime(i.index / pointHz)), " ", i.text));
    fill(this.gaps, ...list((server?.gaps ?? []).map((g) => ({ index: g.index, text: `${duration(g.samples / pointHz)}${g.reason ? ": " + g.reason : ""}` }))));
    if (!this.gaps.firstChild) fill(this.gaps, h("li", {}, W.none));
    fill(this.notes, ...list(server?.notes ?? []));
    if (!this.notes.firstChild) fill(this.notes, h("li", {}, W.nonePressNToWrite));
  }

  /** How evenly the board samples. @param {PageState} state */
  #showClock(state) {
    const clock = state.server?.clock;
    this.clock.hidden = !clock || clock.exact === true;
    if (!clock || clock.exact || state.clockHz === this.clockShown) return;
    this.clockShown = state.clockHz;
    const hz = (/** @type {number} */ v) => (v > 0 ? rate(v) : W.notKnownYet);
    fill(this.clockFacts,
      h("dt", {}, W.last5S), h("dd", {}, hz(clock.recentHz) + (clock.recentHz > 0 && clock.recentUncertaintyHz > 0 ? ` ± ${significant(clock.recentUncertaintyHz, 1)}` : "")),
      h("dt", {}, W.slowestFastestSecondOf20), h("dd", {}, clock.fastestHz > 0 ? `${hz(clock.slowestHz)}, ${hz(clock.fastestHz)}` : W.notKnownYet),
      h("dt", {}, W.regularPauses), h("dd", {}, clock.pauseSeconds > 0 ? W.every(duration(clock.pauseSeconds), duration(clock.pauseEverySeconds)) : "none"));
    setText(this.clockDoubt, clock.doubt ? sentence(clock.doubt) : clock.warning);
    this.clockDoubt.hidden = this.clockDoubt.textContent === "";
    const y = state.clockHz;
    const known = y.filter((v) => v > 0);
    this.clockChart.hidden = known.length < 3;
    if (this.clockChart.hidden) return;
    const low = Math.min(...known), high = Math.max(...known);
    const half = Math.max(0.02 * high, 0.7 * (high - low));
    this.plot.set({ low: -Math.max(60, y.length), high: 0, clock: true, label: "ago" }, { low: Math.max(0, (low + high) / 2 - half), high: (low + high) / 2 + half, label: "Hz" },
      [{ x: y.map((_, i) => i - y.length + 1), y, colour: "trace0", width: 1.8 }]);
  }

  destroy() {
    this.plot.destroy();
  }
}

/** @type {import("./drawers.js").DrawerSpec} */
export const drawer = { id: "board", title: W.link, key: "b", create: (root, ctx) => new BoardPanel(root, ctx) };
