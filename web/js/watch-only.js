// A page that came by the watch-only link: what would change things is disabled,
// and a line says so. The server refuses such requests anyway. Elements of class
// owner-only are hidden (share.css).

import { button, byId, h, setText } from "./dom.js";
import * as words from "./words.js";
import { watchOnlyWords as W } from "./words.js";

/** Controls outside the panels that take the owner's right themselves. */
const OWNER_CONTROLS = ["source-open", "note-add"];

export class WatchOnly {
  /** @param {{follow: () => void}} options */
  constructor(options) {
    this.owner = true;
    this.caution = h("span", { "data-testid": "watch-caution" });
    this.line = h("p", { class: "watch-line", "data-testid": "watch-only", hidden: true }, W.watchOnlyTheOwnerOf, this.caution);
    this.follow = button("follow-open", W.followThePresenter, options.follow, { hidden: true });
    byId("source-status").closest("section")?.append(this.line, this.follow);
  }

  /** @param {boolean} offered another page presents */
  offer(offered) {
    this.follow.hidden = !offered;
  }

  /**
   * @param {boolean} owner
   * @param {boolean} live somebody may be wired to the board
   */
  update(owner, live) {
    setText(this.caution, live && !owner ? " " + words.wired.watcher : "");
    if (owner === this.owner) return;
    this.owner = owner;
    document.body.classList.toggle("watch-only", !owner);
    this.line.hidden = owner;
    for (const id of OWNER_CONTROLS) {
      const e = document.getElementById(id);
      if (e instanceof HTMLButtonElement) e.disabled = !owner;
    }
  }
}
