// The Share drawer: the page for other computers of the network, on request.
// Owner only; links and visitors are asked for while it is open.

import { request } from "../api.js";
import { button, fill, h, setText } from "../dom.js";
import { wholeSeconds } from "../format.js";
import { prefs } from "../store.js";
import { drawerShareWords as W } from "../words.js";

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
      root.append(h("p", { class: "hint" }, W.onlyTheOwnerSharesThis));
      this.timer = 0;
      return;
    }
    this.state = h("b", { "data-testid": "share-state", role: "status" }, "…");
    this.toggle = button("share-toggle", W.share, () => this.#put({ on: !this.share?.on }), { "aria-pressed": "false", disabled: true });
    this.renew = button("share-renew", W.newLinks, () => this.#put({ on: true, renew: true }), { title: W.theOldLinksStopWorking, hidden: true });
    this.caution = h("p", { class: "share-caution", "data-testid": "share-caution" });
    this.watch = h("div", { class: "share-watch" });
    this.own = h("details", { class: "share-own" });
    this.visitorsHead = h("h3", {}, W.visitors);
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
    const taken = await this.#take(request("PUT", "/share", what));
    if (this.toggle) this.toggle.disabled = false;
    if (taken && this.share) this.ctx.announce(what.renew ? W.theLinksAreNew : this.share.on ? W.thePageIsShared : W.thePageIsNoLonger);
  }

  /**
   * @param {Promise<ShareState>} answer
   * @returns {Promise<boolean>} whether it came
   */
  async #take(answer) {
    try {
      const share = await answer;
      if (this.gone) return false;
      this.share = share;
      if (this.problem) setText(this.problem, "");
      this.#show(share);
      return true;
    } catch (e) {
      if (!this.gone && this.problem) setText(this.problem, e instanceof Error ? e.message : String(e));
      return false;
    }
  }

  /** @param {ShareState} s */
  #show(s) {
    const { state, toggle, renew, caution, watch, own, visitors, visitorsHead } = this;
    if (!state || !toggle || !renew || !caution || !watch || !own || !visitors || !visitorsHead) return;
    setText(state, s.on ? W.sharedOnThisNetwork : W.notShared);
    setText(toggle, s.on ? W.stopSharing : W.share);
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
    else if (s.visitors.length === 0) fill(visitors, h("li", {}, W.nobodyHasComeByA));
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
    const qr = h("img", { class: "share-qr", "data-testid": "share-qr", alt: W.pictureCodeOfTheWatch, width: "240", height: "240", src: `/api/v1/share/qr?for=watch&n=0${view}&t=${Date.now()}` });
    const straight = h("input", { type: "checkbox", id: "share-straight", "data-testid": "share-straight", checked: this.straight });
    straight.addEventListener("change", () => {
      this.straight = straight.checked;
      prefs.set("share straight", this.straight);
      this.#show(s);
      document.getElementById("share-straight")?.focus();
    });
    fill(watch, h("h3", {}, W.watchOnly),
      h("p", { class: "hint" }, s.watch.length > 1 ? W.thisComputerHasSeveralAddresses : W.openItOnTheOther),
      h("label", { class: "check" }, straight, h("span", {}, W.opensStraightInShowView)),
      ...s.watch.map((link, n) => this.#link(link + view, `share-watch-${n}`, W.watchOnlyLink, s.watch.length > 1 ? () => {
        qr.src = `/api/v1/share/qr?for=watch&n=${n}${view}&t=${Date.now()}`;
        this.ctx.announce(W.thePictureShowsThisLink);
      } : null)), s.short.length > 0 ? h("p", { class: "share-short" }, W.toType, h("b", { "data-testid": "share-short" }, s.short[0].replace(/^http:\/\//, "")), W.untilYouStopSharing) : null, qr);
    fill(own, h("summary", { "data-testid": "share-own" }, W.ownersLink),
      h("p", { class: "warning" }, W.whoeverHasItCanChange),
      ...s.own.map((link, n) => this.#link(link, `share-own-${n}`, W.ownersLink, null)));
  }

  /**
   * @param {string} link
   * @param {string} id
   * @param {string} label
   * @param {(() => void)|null} picture
   */
  #link(link, id, label, picture) {
    const input = h("input", { type: "text", readonly: true, value: link, id, "data-testid": id, "aria-label": label, onfocus: () => input.select() });
    const copy = button(id + "-copy", W.copy, async () => {
      input.select();
      try {
        await navigator.clipboard.writeText(link);
        this.ctx.announce(W.copied);
        setText(copy, W.copied2);
      } catch {
        this.ctx.announce(W.selectedCopyItWithCtrl);
      }
    }, { "aria-label": W.copy2(label.toLowerCase()) });
    return h("div", { class: "share-link" }, input, copy, picture ? button(id + "-qr", W.showQRCode, picture, { class: "quiet" }) : null);
  }

  /**
   * @param {HTMLElement} root
   * @param {Visitor[]} list
   */
  #visitors(root, list) {
    const focused = document.activeElement instanceof HTMLElement ? document.activeElement.id : "";
    const all = list.length > 1 ? h("li", {}, button("share-remove-all", W.removeAll, () => this.#take(request("DELETE", "/share/visitors")))) : null;
    fill(root, all, ...list.map((v) => h("li", {}, h("span", {}, visitorText(v, Date.now())),
      button(`share-remove-${v.id}`, W.remove, () => this.#take(request("DELETE", `/share/visitors/${v.id}`)), { "aria-label": W.removeTheVisitorFrom(v.address) }))));
    if (focused.startsWith("share-remove-")) document.getElementById(focused)?.focus();
  }

  destroy() {
    this.gone = true;
    window.clearInterval(this.timer);
  }
}

/** @param {ShareState} s */
export function cautionText(s) {
  if (!s.on) return W.whenSharedEveryoneOnThis;
  return W.everyoneOnThisNetworkWho + (s.secure ? "" : W.theConnectionIsNotEncrypted);
}

/**
 * @param {Visitor} v
 * @param {number} nowMs
 */
export function visitorText(v, nowMs) {
  const pages = v.streams === 0 ? W.noPageOpen : v.streams === 1 ? W.onePageOpen : W.pagesOpen(v.streams);
  const since = Date.parse(v.since);
  const ago = Number.isFinite(since) ? W.cameAgo(wholeSeconds((nowMs - since) / 1000)) : "";
  return `${v.address}, ${v.owner ? W.asOwner : "watching"}, ${pages}${ago}`;
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "share", title: W.share, key: "l", create: (root, ctx) => new SharePanel(root, ctx) };
