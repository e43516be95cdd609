// Which traces Show has, at most three: a list over the picture.

import { button, fill, h } from "../dom.js";
import { hasProbe } from "../path/probes.js";
import { showChooseWords as W } from "../words.js";
import { MOST_LANES } from "./lanes.js";

/** @import {Channel, Probe} from "../types.js" */

export class Chooser {
  /** @param {{channels: () => Channel[], lanes: () => Probe[], set: (list: Probe[]) => void}} options */
  constructor(options) {
    this.options = options;
    this.root = h("div", { class: "show-choose", role: "group", "aria-label": W.traces, "data-testid": "show-choose", hidden: true });
  }

  toggle() {
    this.root.hidden = !this.root.hidden;
    if (this.root.hidden) return;
    this.#fill();
    this.root.querySelector("button")?.focus();
  }

  close() {
    this.root.hidden = true;
  }

  #fill() {
    const { options } = this;
    const lanes = options.lanes();
    fill(this.root, h("p", {}, W.upToThree), ...options.channels().map((c, channel) => h("div", { class: "show-choose-row" },
      h("b", {}, c.label), ...W.points.map((name, point) => {
        const there = hasProbe(lanes, { channel, point });
        const id = `show-lane-${channel}-${point}`;
        return button(id, name, () => {
          this.#toggle({ channel, point });
          document.getElementById(id)?.focus();
        }, { "aria-pressed": String(there), disabled: (!there && lanes.length >= MOST_LANES) || (there && lanes.length === 1) });
      }))), button("show-choose-close", W.done, () => this.close()));
  }

  /** @param {Probe} p */
  #toggle(p) {
    const lanes = this.options.lanes();
    const rest = lanes.filter((l) => l.channel !== p.channel || l.point !== p.point);
    this.options.set(rest.length < lanes.length ? rest : [...lanes, p].sort((a, b) => a.channel - b.channel || a.point - b.point));
    this.#fill();
  }
}
