// Find the fault: what is wrong between sensor and converter, by asking for one action at
// a time. The program looks and decides; this shows what it says.

import { request } from "../api.js";
import { button, fill, h, setText } from "../dom.js";
import { drawerWireWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PageState} from "../store.js" */
/** @import * as Wire from "../wire.js" */
/** @typedef {Wire.Answer} WireAnswer */

/** So long an action is held before the program looks, milliseconds. */
const HOLD_MS = 3500;
const FIRST = /** @type {"as it is"} */ (W.asItIs); // a word of the server's

/** @type {Record<string, string>} */
const PLEASE = { cover: W.coveredLookNow, touch: W.touchingLookNow, join: W.joinedLookNow, lamp: W.lampsOffLookNow, charger: W.chargerOutLookNow };

/** Of what a wire does Check judges these. */
const TOPICS = ["signal", "swing", "hum", "clipping"];

/** What Check says of the wire now. @param {Wire.Report|undefined} report */
function judgement(report) {
  return (report?.verdicts ?? []).filter((v) => TOPICS.includes(v.topic)).map((v) => v.code + v.grade).join();
}

export class WireFinder {
  /** @param {DrawerContext} ctx */
  constructor(ctx) {
    this.ctx = ctx;
    /** @type {Record<string, Wire.Look>} */
    this.looks = {};
    this.channel = 0;
    /** @type {WireAnswer["ask"]} */
    this.action = FIRST;
    this.run = 0;
    this.start = button("wire-start", W.findTheFault, () => this.#begin(), { title: W.findsOutWhyNoSignal });
    this.done = button("wire-done", "", () => void this.#look(), { class: "accent" });
    this.stop = button("wire-stop", W.stop, () => this.#end(), { class: "quiet" });
    this.text = h("p", { class: "verdict", role: "status", "data-testid": "wire-text" });
    this.age = h("p", { class: "hint", role: "status", "data-testid": "wire-age" });
    this.at = "";
    this.judged = ""; // by Check, when the fault was told
    this.place = "";
    this.by = h("ul", { class: "wire-by", "data-testid": "wire-by" });
    this.remedy = h("p", { class: "remedy", "data-testid": "wire-remedy" });
    this.steps = h("div", { class: "row" }, this.done, this.stop);
    this.body = h("div", { class: "wire-body", hidden: true }, this.age, this.text, this.by, this.remedy, this.steps);
    this.root = h("section", { class: "meter", "data-testid": "wire" }, this.start, this.body);
  }

  /** @param {PageState} state */
  changed(state) {
    this.root.hidden = state.server?.owner === false;
    if (this.body.hidden) return;
    if (this.#here(state) !== this.place) this.#end(); // of another channel or source
    else if (this.judged !== "" && this.judged !== judgement(state.meters[this.channel])) {
      this.judged = "";
      setText(this.age, W.ofBefore(this.at));
      this.body.classList.add("old");
    }
  }

  /** @param {PageState} state */
  #here(state) {
    return `${this.ctx.channel()} ${state.server?.epoch} ${state.server?.t0}`;
  }

  #begin() {
    this.looks = {};
    this.action = FIRST;
    this.channel = this.ctx.channel();
    this.place = this.#here(this.ctx.store.state);
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
    setText(this.age, "");
    this.judged = "";
    this.body.classList.remove("old");
    this.done.hidden = true;
    this.stop.hidden = false;
    setText(this.text, this.action === FIRST ? W.lookingAtTheSignalAs : W.holdItLooking);
    await new Promise((go) => window.setTimeout(go, HOLD_MS));
    if (run !== this.run) return;
    try {
      const { look, answer } = await request("POST", `/channels/${this.channel}/wire`, { action: this.action, before: this.looks });
      if (run !== this.run) return;
      this.looks[this.action] = look;
      this.#show(answer);
    } catch (e) {
      if (run !== this.run) return;
      setText(this.text, e instanceof Error ? e.message : String(e));
      setText(this.done, W.lookAgain);
      this.done.hidden = false;
    }
  }

  /** @param {WireAnswer} a */
  #show(a) {
    setText(this.text, a.text);
    fill(this.by, ...(a.fault ? (a.by ?? []).map((b) => h("li", {}, W.seen + b + ".")) : []));
    setText(this.remedy, a.remedy);
    this.action = a.ask || FIRST;
    setText(this.done, a.ask ? (PLEASE[a.ask] ?? W.lookNow) : W.lookAgain);
    this.done.hidden = false;
    if (a.fault) {
      this.at = new Date().toLocaleTimeString("en-GB");
      this.judged = judgement(this.ctx.store.state.meters[this.channel]);
      setText(this.age, W.foundAt(this.at));
      this.looks = {};
      this.ctx.announce(a.text);
    }
    this.done.focus();
  }
}
