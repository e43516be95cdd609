// The Share drawer: the page for other computers of the network, on request.
// Owner only; links and visitors are asked for while it is open.

import { request } from "../api.js";
import { button, fill, h, setText } from "../dom.js";
import { registerDrawer } from "../drawers.js";
import { wholeSeconds } from "../format.js";
import { prefs } from "../store.js";

/** @import {DrawerContext} from "../drawers.js" */

/** @typedef {{id: number, owner: boolean, address: string, since: string, streams: number}} Visitor */
/** @typedef {{on: boolean, secure: boolean, watch: string[], own: string[], short: string[], visitors: Visitor[]}} ShareState */

const LOOK_EVERY_MS = 3000;

export class SharePanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    /** @type {ShareState|null} */
    this.share = null;
    this.shown = "";
    this.gone = false;
    /** Whether watch-only links lead to the view for a room. */
    this.straight = prefs.get("share straight", false);
    if (!ctx.store.state.owner) {
      root.append(h("p", { class: "hint" }, "Only the owner shares this page."));
      this.timer = 0;
      return;
    }
    this.state = h("b", { "data-testid": "share-state", role: "status" }, "…");
    this.toggle = button("share-toggle", "Share", () => this.#put({ on: !this.share?.on }), { "aria-pressed": "false", disabled: true });
    this.renew = button("share-renew", "New links", () => this.#put({ on: true, renew: true }), { title: "The old links stop working and everyone who came by them is sent away. Otherwise links work the next time, too.", hidden: true });
    this.caution = h("p", { class: "share-caution", "data-testid": "share-caution" });
    this.watch = h("div", { class: "share-watch" });
    this.own = h("details", { class: "share-own" });
    this.visitorsHead = h("h3", {}, "Visitors");
    this.visitors = h("ul", { class: "share-visitors", "data-testid": "share-visitors" });
    this.problem = h("p", { class: "error", role: "alert", "data-testid": "share-problem" });
    root.append(h("div", { class: "share-line" }, this.state, this.toggle, this.renew), this.problem, this.caution, this.watch, this.own, this.visitorsHead, this.visitors);
    this.timer = window.setInterval(() => this.#look(), LOOK_EVERY_MS);
    void this.#look();
  }

  async #look() {
    if (document.hidden) return;
    await this.#take(request("GET", "/share"));
  }

  /** @param {{on: boolean, renew?: boolean}} what */
  async #put(what) {
    if (this.toggle) this.toggle.disabled = true;
    await this.#take(request("PUT", "/share", what));
    if (this.toggle) this.toggle.disabled = false;
    if (this.share) this.ctx.announce(what.renew ? "The links are new." : this.share.on ? "The page is shared." : "The page is no longer shared.");
  }

  /** @param {Promise<ShareState>} answer */
  async #take(answer) {
    try {
      const share = await answer;
      if (this.gone) return;
      this.share = share;
      if (this.problem) setText(this.problem, "");
      this.#show(share);
    } catch (e) {
      if (!this.gone && this.problem) setText(this.problem, e instanceof Error ? e.message : String(e));
    }
  }

  /** @param {ShareState} s */
  #show(s) {
    const { state, toggle, renew, caution, watch, own, visitors, visitorsHead } = this;
    if (!state || !toggle || !renew || !caution || !watch || !own || !visitors || !visitorsHead) return;
    setText(state, s.on ? "Shared on this network" : "Not shared");
    setText(toggle, s.on ? "Stop sharing" : "Share");
    toggle.setAttribute("aria-pressed", String(s.on));
    toggle.disabled = false;
    renew.hidden = !s.on;
    visitorsHead.hidden = !s.on;
    setText(caution, cautionText(s));
    const links = JSON.stringify([s.on, s.watch, s.own, this.straight]);
    if (links !== this.shown) {
      this.shown = links;
      this.#links(watch, own, s);
    }
    own.hidden = !s.on;
    if (!s.on) fill(visitors);
    else if (s.visitors.length === 0) fill(visitors, h("li", {}, "Nobody has come by a link yet."));
    else this.#visitors(visitors, s.visitors);
  }

  /**
   * @param {HTMLElement} watch
   * @param {HTMLElement} own
   * @param {ShareState} s
   */
  #links(watch, own, s) {
    fill(watch);
    fill(own);
    if (!s.on) return;
    const view = this.straight ? "&view=show" : "";
    const qr = h("img", { class: "share-qr", "data-testid": "share-qr", alt: "Picture code of the watch-only link", width: "240", height: "240", src: `/api/v1/share/qr?for=watch&n=0${view}&t=${Date.now()}` });
    const straight = h("input", { type: "checkbox", id: "share-straight", "data-testid": "share-straight", checked: this.straight });
    straight.addEventListener("change", () => {
      this.straight = straight.checked;
      prefs.set("share straight", this.straight);
      this.#show(s);
      document.getElementById("share-straight")?.focus();
    });
    fill(watch, h("h3", {}, "Watch only"),
      h("p", { class: "hint" }, s.watch.length > 1 ? "This computer has several addresses; use the one of the network the others are in." : "Open it on the other computer, or point a phone’s camera at the picture."),
      h("label", { class: "check" }, straight, h("span", {}, "opens straight in Show view")),
      ...s.watch.map((link, n) => this.#link(link + view, `share-watch-${n}`, "Watch-only link", s.watch.length > 1 ? () => {
        qr.src = `/api/v1/share/qr?for=watch&n=${n}${view}&t=${Date.now()}`;
        this.ctx.announce("The picture shows this link.");
      } : null)), s.short.length > 0 ? h("p", { class: "share-short" }, "To type: ", h("b", { "data-testid": "share-short" }, s.short[0].replace(/^http:\/\//, "")), " (until you stop sharing)") : null, qr);
    fill(own, h("summary", { "data-testid": "share-own" }, "Owner’s link"),
      h("p", { class: "warning" }, "Whoever has it can change everything here. Give it to nobody but yourself."),
      ...s.own.map((link, n) => this.#link(link, `share-own-${n}`, "Owner’s link", null)));
  }

  /**
   * @param {string} link
   * @param {string} id
   * @param {string} label
   * @param {(() => void)|null} picture
   */
  #link(link, id, label, picture) {
    const input = h("input", { type: "text", readonly: true, value: link, id, "data-testid": id, "aria-label": label, onfocus: () => input.select() });
    const copy = button(id + "-copy", "Copy", async () => {
      input.select();
      try {
        await navigator.clipboard.writeText(link);
        this.ctx.announce("Copied.");
        setText(copy, "Copied");
      } catch {
        this.ctx.announce("Selected; copy it with Ctrl C.");
      }
    }, { "aria-label": `Copy ${label.toLowerCase()}` });
    return h("div", { class: "share-link" }, input, copy, picture ? button(id + "-qr", "Show QR code", picture, { class: "quiet" }) : null);
  }

  /**
   * @param {HTMLElement} root
   * @param {Visitor[]} list
   */
  #visitors(root, list) {
    const focused = document.activeElement instanceof HTMLElement ? document.activeElement.id : "";
    const all = list.length > 1 ? h("li", {}, button("share-remove-all", "Remove all", () => this.#take(request("DELETE", "/share/visitors")))) : null;
    fill(root, all, ...list.map((v) => h("li", {}, h("span", {}, visitorText(v, Date.now())),
      button(`share-remove-${v.id}`, "Remove", () => this.#take(request("DELETE", `/share/visitors/${v.id}`)), { "aria-label": `Remove the visitor from ${v.address}` }))));
    if (focused.startsWith("share-remove-")) document.getElementById(focused)?.focus();
  }

  destroy() {
    this.gone = true;
    window.clearInterval(this.timer);
  }
}

/** @param {ShareState} s */
export function cautionText(s) {
  if (!s.on) return "When shared, everyone on this network who has the link sees the signal. They can change nothing unless you give them the owner’s link.";
  return "Everyone on this network who has the link sees the signal, and the notes and messages on this page." + (s.secure ? "" : " The connection is not encrypted: share it only in a network you trust.");
}

/**
 * @param {Visitor} v
 * @param {number} nowMs
 */
export function visitorText(v, nowMs) {
  const pages = v.streams === 0 ? "no page open" : v.streams === 1 ? "one page open" : `${v.streams} pages open`;
  const since = Date.parse(v.since);
  const ago = Number.isFinite(since) ? `, came ${wholeSeconds((nowMs - since) / 1000)} ago` : "";
  return `${v.address}, ${v.owner ? "as owner" : "watching"}, ${pages}${ago}`;
}

registerDrawer({ id: "share", title: "Share", key: "l", create: (root, ctx) => new SharePanel(root, ctx) });
