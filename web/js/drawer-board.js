// The Link drawer: what the board says, lines nobody could read, gaps and notes.

import { registerDrawer } from "./drawers.js";
import { button, fill, h, setText } from "./dom.js";
import { clockTime, duration } from "./format.js";

/** @import {DrawerContext} from "./drawers.js" */
/** @import {PageState} from "./store.js" */

const MOST_ROWS = 40;

class BoardPanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    this.facts = h("dl", { class: "facts" });
    this.text = h("pre", { class: "board-log", tabindex: "0", "data-testid": "board-log", "aria-label": "Messages of the board" });
    this.gaps = h("ul", { class: "places" });
    this.notes = h("ul", { class: "places" });
    root.append(this.facts, h("h3", {}, "Messages of the board"), this.text, h("h3", {}, "Gaps"), this.gaps, h("h3", {}, "Notes"), this.notes);
    /** @type {unknown[]} */
    this.shown = [];
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const server = state.server;
    const now = [state.text, server?.channels, server?.health, server?.gaps, server?.notes, state.dropped];
    if (now.every((v, i) => v === this.shown[i])) return;
    this.shown = now;
    const health = server?.health;
    fill(this.facts,
      h("dt", {}, "Lines read"), h("dd", {}, (health?.lines ?? 0).toLocaleString("en")),
      h("dt", {}, "Unreadable"), h("dd", {}, (health?.unreadable ?? 0).toLocaleString("en")),
      h("dt", {}, "Samples lost by the board"), h("dd", {}, (health?.lostSamples ?? 0).toLocaleString("en")),
      h("dt", {}, "Frames lost by this page"), h("dd", {}, state.dropped.toLocaleString("en")),
      health?.detail ? h("dt", {}, "Connection") : null, health?.detail ? h("dd", {}, health.detail) : null,
      health?.lastUnreadable ? h("dt", {}, "Last unreadable") : null, health?.lastUnreadable ? h("dd", {}, h("code", {}, health.lastUnreadable)) : null);
    const n = server?.channels.findIndex((c) => c.unit === "counts") ?? -1;
    if (n >= 0) this.facts.append(h("dt", {}, "Volts"), h("dd", {}, button("board-scale", "Say what a count is worth", () => this.ctx.openScale(n), { class: "quiet" })));
    setText(this.text, state.text.slice(-MOST_ROWS).join("\n") || "Nothing but numbers so far.");
    const rate = server?.rateHz ?? 1;
    const go = (/** @type {number} */ index) => {
      const view = this.ctx.trace.view;
      this.ctx.trace.scrollBy(index + view.samplesAcross / 2 - view.end);
    };
    const list = (/** @type {{index: number, text: string}[]} */ items) => items.slice(-MOST_ROWS).reverse().map((i) => h("li", {}, h("button", { type: "button", class: "quiet", onclick: () => go(i.index) }, clockTime(i.index / rate)), " ", i.text));
    fill(this.gaps, ...list((server?.gaps ?? []).map((g) => ({ index: g.index, text: `${duration(g.samples / rate)}${g.reason ? ": " + g.reason : ""}` }))));
    if (!this.gaps.firstChild) fill(this.gaps, h("li", {}, "None."));
    fill(this.notes, ...list(server?.notes ?? []));
    if (!this.notes.firstChild) fill(this.notes, h("li", {}, "None. Press n to write one."));
  }
}

registerDrawer({ id: "board", title: "Link", key: "b", create: (root, ctx) => new BoardPanel(root, ctx) });
