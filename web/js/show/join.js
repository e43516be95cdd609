// How to come and look: the short link, as a picture code and to be typed, over all of Show.

import { request } from "../api.js";
import { button, fill, h } from "../dom.js";
import { showJoinWords as W } from "../words.js";

/** @import {ShareState} from "../drawers/share.js" */

/** As often the link is looked at again: it may have been closed or made anew. */
const LOOK_EVERY_MS = 4000;

export class Join {
  constructor() {
    this.root = h("div", { class: "show-join", role: "dialog", "aria-label": W.join, "data-testid": "show-join", tabindex: "-1", hidden: true });
    this.timer = 0;
    this.shown = "?"; // nothing yet
    this.back = button("show-join-close", W.backToTheTrace, () => this.close());
  }

  get open() {
    return !this.root.hidden;
  }

  toggle() {
    if (this.open) this.close();
    else this.show();
  }

  show() {
    this.root.hidden = false;
    if (this.root.childElementCount === 0) fill(this.root, this.back);
    void this.#look();
    this.timer = window.setInterval(() => void this.#look(), LOOK_EVERY_MS);
    this.root.focus();
  }

  close() {
    this.root.hidden = true;
    window.clearInterval(this.timer);
  }

  async #look() {
    await this.#take(request("GET", "/share"));
  }

  /** @param {Promise<ShareState>} answer */
  async #take(answer) {
    try {
      const s = await answer;
      const link = s.on ? (s.short[0] ?? s.watch[0] ?? "") : "";
      if (link === this.shown && this.root.childElementCount > 0) return;
      this.shown = link;
      if (link) this.#link(link, s.short.length > 0);
      else this.#closed();
    } catch (e) {
      this.shown = "?";
      this.#fill(h("p", { class: "show-join-say", role: "alert" }, e instanceof Error ? e.message : String(e)), this.back);
    }
  }

  /**
   * What is told changes; who stands on the way back stays there.
   * @param {...Node} parts
   */
  #fill(...parts) {
    const stood = document.activeElement === this.back;
    fill(this.root, ...parts);
    if (stood) this.back.focus();
  }

  /**
   * @param {string} link
   * @param {boolean} short
   */
  #link(link, short) {
    const picture = h("img", { class: "show-join-qr", "data-testid": "show-join-qr", alt: W.pictureCode, src: `/api/v1/share/qr?for=${short ? "short" : "watch"}&n=0&view=show&t=${Date.now()}` });
    this.#fill(picture, h("div", { class: "show-join-words" }, h("p", { class: "show-join-say" }, W.scanOrType),
      h("p", { class: "show-join-link", "data-testid": "show-join-link" }, short ? link.replace(/^https?:\/\//, "") : ""),
      h("p", { class: "show-join-hint" }, W.sameNetwork), this.back));
  }

  #closed() {
    this.#fill(h("div", { class: "show-join-words" }, h("p", { class: "show-join-say" }, W.notShared), h("p", { class: "show-join-hint" }, W.sharingOpens),
      button("show-join-share", W.share, () => void this.#take(request("PUT", "/share", { on: true })), { class: "accent" }), this.back));
  }
}
