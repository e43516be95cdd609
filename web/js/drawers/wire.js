// Find the fault: what is wrong between sensor and converter, by asking for one action at
// a time. The program looks and decides; this shows what it says.

import { request } from "../api.js";
import { button, fill, h, setText } from "../dom.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @typedef {{fault: string, ask: string, text: string, by: string[], remedy: string}} WireAnswer */

/** So long an action is held before the program looks, milliseconds. */
const HOLD_MS = 3500;
const FIRST = "as it is";

/** @type {Record<string, string>} */
const PLEASE = { cover: "Covered: look now", touch: "Touching: look now", join: "Joined: look now", lamp: "Lamps off: look now", charger: "Charger out: look now" };

export class WireFinder {
  /** @param {DrawerContext} ctx */
  constructor(ctx) {
    this.ctx = ctx;
    /** @type {Record<string, unknown>} */
    this.looks = {};
    this.channel = 0;
    this.action = FIRST;
    this.run = 0;
    this.start = button("wire-start", "Find the fault", () => this.#begin(), { title: "Finds out why no signal, or only hum, comes from the board" });
    this.done = button("wire-done", "", () => void this.#look(), { class: "accent" });
    this.stop = button("wire-stop", "Stop", () => this.#end(), { class: "quiet" });
    this.text = h("p", { class: "verdict", role: "status", "data-testid": "wire-text" });
    this.by = h("ul", { class: "wire-by", "data-testid": "wire-by" });
    this.remedy = h("p", { class: "remedy", "data-testid": "wire-remedy" });
    this.steps = h("div", { class: "row" }, this.done, this.stop);
    this.body = h("div", { class: "wire-body", hidden: true }, this.text, this.by, this.remedy, this.steps);
    this.root = h("section", { class: "meter", "data-testid": "wire" }, this.start, this.body);
  }

  /** @param {boolean} owner whether this page may ask */
  changed(owner) {
    this.root.hidden = !owner;
  }

  #begin() {
    this.looks = {};
    this.action = FIRST;
    this.channel = this.ctx.channel();
    this.body.hidden = false;
    fill(this.by);
    setText(this.remedy, "");
    void this.#look();
  }

  #end() {
    this.run++;
    this.body.hidden = true;
  }

  async #look() {
    const run = ++this.run;
    this.done.hidden = true;
    this.stop.hidden = false;
    setText(this.text, this.action === FIRST ? "Looking at the signal as it is. Leave the board alone and keep still …" : "Hold it. Looking …");
    await new Promise((go) => window.setTimeout(go, HOLD_MS));
    if (run !== this.run) return;
    try {
      /** @type {{look: unknown, answer: WireAnswer}} */
      const { look, answer } = await request("POST", `/channels/${this.channel}/wire`, { action: this.action, before: this.looks });
      if (run !== this.run) return;
      this.looks[this.action] = look;
      this.#show(answer);
    } catch (e) {
      if (run !== this.run) return;
      setText(this.text, e instanceof Error ? e.message : String(e));
      setText(this.done, "Look again");
      this.done.hidden = false;
    }
  }

  /** @param {WireAnswer} a */
  #show(a) {
    setText(this.text, a.text);
    fill(this.by, ...(a.fault ? (a.by ?? []).map((b) => h("li", {}, "Seen: " + b + ".")) : []));
    setText(this.remedy, a.remedy);
    this.action = a.ask || FIRST;
    setText(this.done, a.ask ? (PLEASE[a.ask] ?? "Look now") : "Look again");
    this.done.hidden = false;
    if (a.fault) {
      this.looks = {};
      this.ctx.announce(a.text);
    }
    this.done.focus();
  }
}
