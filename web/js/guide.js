// The first three steps, in a line above the trace: each tells what to do, does it
// by a button, and is ticked when the page sees that it is done.

import { button, fill, h, setText } from "./dom.js";
import { prefs } from "./store.js";
import * as words from "./words.js";
import { guideWords as W } from "./words.js";

/** @import {Channel, Reading, ServerState} from "./types.js" */

const SEEN = W.firstSteps + " seen";

/**
 * Which of the three steps are done.
 * @param {ServerState|null} server
 * @param {Channel|undefined} channel
 * @param {Reading|undefined} reading
 * @returns {[boolean, boolean, boolean]}
 */
export function stepsDone(server, channel, reading) {
  const address = server?.source?.address ?? "";
  const source = address !== "" && !address.startsWith("demo:") && (server?.rateHz ?? 0) > 0;
  const scale = source && !!channel && channel.unit !== "counts";
  return [source, scale, source && scale && reading?.state === "reading"];
}

/**
 * The step to show: those just done lead on.
 * @param {number} at
 * @param {boolean[]} before which were done
 * @param {boolean[]} done
 */
export function leadOn(at, before, done) {
  while (at < done.length - 1 && done[at] && !before[at]) at++;
  return at;
}

export class Guide {
  /**
   * @param {HTMLElement} root
   * @param {{openSource: () => void, openSketch: () => void, openScale: () => void, preset: (kind: "pulse"|"ecg") => void, openCheck: () => void, changed: () => void}} options
   */
  constructor(root, options) {
    this.root = root;
    this.options = options;
    this.at = 0;
    /** @type {[boolean, boolean, boolean]} */
    this.done = [false, false, false];
    this.owner = true;
    this.open = !prefs.get(SEEN, false);
    const o = options;
    this.steps = [
      { ...words.guide[0],
        does: [button("guide-source", W.chooseASource, o.openSource, { class: "accent" }), button("guide-sketch", W.exampleProgram, o.openSketch)] },
      { ...words.guide[1],
        does: [button("guide-scale", W.setVolts, o.openScale), button("guide-finger", W.finger, () => o.preset("pulse")), button("guide-chest", W.chest, () => o.preset("ecg"))] },
      { ...words.guide[2],
        does: [button("guide-check", W.check, o.openCheck)] },
    ];
    this.tabs = this.steps.map((s, i) => h("li", {}, button(`guide-step-${i + 1}`, "", () => this.go(i), { class: "quiet" })));
    this.list = h("ol", { class: "guide-steps" }, this.tabs);
    this.text = h("p", { class: "guide-text", "data-testid": "guide-text" });
    this.does = h("span", { class: "guide-does" });
    this.next = button("guide-next", W.next, () => (this.at < 2 ? this.go(this.at + 1) : this.close()), {});
    root.append(this.list, this.text, h("span", { class: "guide-buttons" }, this.does, this.next, button("guide-close", "×", () => this.close(), { class: "quiet close", "aria-label": W.closeTheFirstSteps, title: W.hBringsThemBack })));
    this.#show();
  }

  /** @param {number} at */
  go(at) {
    this.at = at;
    this.#show();
  }

  toggle() {
    if (this.open) this.close();
    else {
      this.open = true;
      this.#show();
      this.options.changed();
      document.getElementById(`guide-step-${this.at + 1}`)?.focus();
    }
  }

  close() {
    this.open = false;
    prefs.set(SEEN, true);
    const inside = this.root.contains(document.activeElement);
    this.#show();
    this.options.changed();
    if (inside) document.getElementById("help")?.focus();
  }

  /**
   * @param {ServerState|null} server
   * @param {Channel|undefined} channel
   * @param {Reading|undefined} reading
   * @param {boolean} owner watchers change nothing and need no steps
   */
  update(server, channel, reading, owner) {
    const done = stepsDone(server, channel, reading);
    if (owner === this.owner && done.every((d, i) => d === this.done[i])) return;
    this.at = leadOn(this.at, this.done, done);
    this.done = done;
    if (owner && done.every(Boolean)) prefs.set(SEEN, true); // nothing is left to do after the next load
    this.owner = owner;
    this.#show();
  }

  #show() {
    this.root.hidden = !this.open || !this.owner;
    this.steps.forEach((s, i) => {
      const b = this.tabs[i].firstElementChild;
      if (!(b instanceof HTMLElement)) return;
      fill(b, h("span", {}, `${i + 1}${this.done[i] ? "\u00a0✓" : ""}`), " ", h("span", { class: "guide-title" }, s.title), this.done[i] ? h("span", { class: "unseen" }, " done") : null);
      if (i === this.at) b.setAttribute("aria-current", "step");
      else b.removeAttribute("aria-current");
    });
    const s = this.steps[this.at];
    setText(this.text, s.text);
    if (this.does.firstChild !== s.does[0]) fill(this.does, ...s.does);
    setText(this.next, this.at < 2 ? W.next : W.done);
  }

  destroy() {
    this.root.replaceChildren();
  }
}
