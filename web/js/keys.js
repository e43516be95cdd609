// The keyboard map and its help. Letters of drawers come from drawers.js.

import { dialog, h } from "./dom.js";
import { keysWords as W } from "./words.js";

/**
 * @typedef {object} Key
 * @property {string} key as KeyboardEvent.key, with "Ctrl+" or "Shift+" in front
 * @property {string} shown
 * @property {string} what
 * @property {() => void} run
 */

/** The help groups keys under these heads. @typedef {{title: string, keys: Key[]}} KeyGroup */

export class Keys {
  /** @param {KeyGroup[]} groups */
  constructor(groups) {
    /** @type {Map<string, Key>} */
    this.map = new Map();
    for (const g of groups) for (const k of g.keys) this.map.set(k.key, k);
    this.help = dialog("help-dialog", W.keyboard, h("div", { class: "key-groups" }, groups.map((g) =>
      h("section", {}, h("h3", {}, g.title), h("dl", { class: "keys" }, g.keys.filter((k) => k.shown).map((k) => [h("dt", {}, k.shown.split(" ").map((part) => h("kbd", {}, part))), h("dd", {}, k.what)]).flat())))));
    /** @param {KeyboardEvent} e */
    this.listener = (e) => this.#handle(e);
    document.addEventListener("keydown", this.listener);
  }

  showHelp() {
    if (!this.help.open) this.help.showModal();
  }

  /** @param {KeyboardEvent} e */
  #handle(e) {
    if (e.defaultPrevented || document.querySelector("dialog[open]")) return;
    const target = e.target;
    const typing = target instanceof HTMLInputElement && target.type !== "checkbox" && target.type !== "range";
    if (typing || target instanceof HTMLTextAreaElement) return;
    if (target instanceof HTMLSelectElement && !e.ctrlKey && e.key !== "Escape") return;
    if ((target instanceof HTMLButtonElement || target instanceof HTMLInputElement || (target instanceof HTMLElement && target.tagName === "SUMMARY")) && (e.key === " " || e.key === "Enter")) return;
    if (target instanceof HTMLInputElement && target.type === "range" && e.key.startsWith("Arrow")) return;
    if (e.altKey || e.metaKey) return;
    const upper = !e.ctrlKey && e.shiftKey && this.map.get(e.key);
    if (upper) {
      e.preventDefault();
      upper.run();
      return;
    }
    const name = (e.ctrlKey ? "Ctrl+" : "") + (e.shiftKey && e.key.length > 1 ? "Shift+" : "") + (e.ctrlKey && e.shiftKey ? "Shift+" : "") + (e.key.length === 1 ? e.key.toLowerCase() : e.key);
    const key = this.map.get(name);
    if (!key) return;
    e.preventDefault();
    key.run();
  }

  destroy() {
    document.removeEventListener("keydown", this.listener);
  }
}
