// The drawer host: panels beside the trace that do not hide it (on a phone they
// rise from below, the trace stays above).
//
// To add one, make a module that exports `drawer`, a DrawerSpec, and name it in
// drawers/list.js. `id` is short and stable (the button is
// #drawer-<id>), `key` one letter that opens and closes it (not one of those in
// keys.js). create() is called each time the drawer is opened: build the panel's
// elements in root and return an object with, all optional,
//
//   push(frame)     each frame of the stream, already in ctx.rings()
//   message(m)      each JSON message of the stream (server/API.md), after the store took it
//   changed(state)  the store's state changed
//   draw(nowMs)     called in the page's frame loop after ctx.dirty(); return true to be called again
//   destroy()       the drawer closes: end timers and listeners
//
// ctx is a DrawerContext, see below. Elements: use h() of dom.js; charts: plot.js;
// classes .facts (a definition list), .verdict, .hint and .quiet are styled.

import { button, fill, h, tellsWhereItGoesOn } from "./dom.js";
import { save } from "./save.js";
import { prefs } from "./store.js";
import { drawersWords as W } from "./words.js";

/** @import {Frame, Message} from "./types.js" */
/** @import {PageState, Store} from "./store.js" */
/** @import {Rings} from "./rings.js" */
/** @import {FrameLoop} from "./loop.js" */
/** @import {TracePanel} from "./trace/trace.js" */
/** @import {BeatList} from "./store.js" */
/** @import {AudioInput} from "./audio-input.js" */
/** @import {BoardModel} from "./board/model.js" */

/**
 * @typedef {object} DrawerPanel
 * @property {(frame: Frame) => void} [push]
 * @property {(message: Message) => void} [message]
 * @property {(state: PageState) => void} [changed]
 * @property {(nowMs: number) => boolean|void} [draw]
 * @property {() => void} [destroy]
 */
/**
 * @typedef {object} DrawerContext
 * @property {Store} store
 * @property {() => Rings|null} rings null until the first frame; another after an epoch change
 * @property {() => BeatList[]} beats by channel
 * @property {() => number} channel the channel chosen in the path
 * @property {TracePanel} trace
 * @property {(channel: number) => void} openScale the dialog of volts, rails and mid-rail
 * @property {FrameLoop} loop the page's one frame loop, for a view that outlives the drawer
 * @property {AudioInput} audio the browser's audio input
 * @property {BoardModel} board the board of the chosen channel, as soldered and as drawn
 * @property {() => void} dirty asks for draw()
 * @property {() => void} close
 * @property {(text: string) => void} announce says it to screen readers
 * @property {(text: string) => void} problem shows it in the banner; "" takes it away
 */
/**
 * @typedef {object} DrawerSpec
 * @property {string} id
 * @property {string} title
 * @property {string} key
 * @property {boolean} [inPath] its button stands at the signal path's head
 * @property {(root: HTMLElement, ctx: DrawerContext) => DrawerPanel} create
 */

export class DrawerHost {
  /**
   * @param {HTMLElement} root
   * @param {DrawerSpec[]} specs
   * @param {{buttons: HTMLElement, pathButtons: HTMLElement, loop: FrameLoop, context: Omit<DrawerContext, "dirty"|"close"|"loop">, opened: () => void}} options
   */
  constructor(root, specs, options) {
    this.root = root;
    this.specs = specs;
    this.options = options;
    /** @type {DrawerPanel|null} */
    this.panel = null;
    this.openId = "";
    /** @type {Map<string, HTMLButtonElement>} */
    this.buttons = new Map();
    for (const spec of specs) {
      const b = button("drawer-" + spec.id, spec.title, () => this.toggle(spec.id), { "aria-expanded": "false", "aria-controls": "drawer", title: `${spec.title} (${spec.key})` });
      this.buttons.set(spec.id, b);
      if (spec.inPath) b.classList.add("quiet");
      (spec.inPath ? options.pathButtons : options.buttons).append(b);
    }
    tellsWhereItGoesOn(options.buttons);
    root.hidden = true;
    const before = prefs.get("drawer", "");
    if (before && specs.some((s) => s.id === before) && window.innerWidth > 900) this.open(before);
  }

  /** @param {string} id */
  toggle(id) {
    if (this.openId === id) this.close();
    else this.open(id);
  }

  /** @param {string} id */
  open(id) {
    const spec = this.specs.find((s) => s.id === id);
    if (!spec) return;
    this.#end();
    this.openId = id;
    const body = h("div", { class: "drawer-body" });
    const close = button("drawer-close", "×", () => this.close(), { class: "quiet close", "aria-label": W.close(spec.title) });
    const keep = button("drawer-save", W.save, () => save({ root: body, name: id, title: spec.title, subtitle: new Date().toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "medium" }) }), { class: "quiet", title: W.whatIsSeenAsA });
    fill(this.root, h("div", { class: "drawer-head" }, h("h2", { tabindex: "-1" }, spec.title), h("span", { class: "spring" }), keep, close), body);
    this.root.hidden = false;
    this.root.dataset.drawer = id;
    this.root.setAttribute("aria-label", spec.title);
    document.body.classList.add("with-drawer");
    this.buttons.get(id)?.setAttribute("aria-expanded", "true");
    /** @type {DrawerContext} */
    const context = { ...this.options.context, loop: this.options.loop, dirty: () => this.options.loop.dirty(this), close: () => this.close() };
    this.panel = spec.create(body, context);
    this.options.loop.add(this);
    prefs.set("drawer", id);
    this.options.opened();
  }

  #end() {
    if (!this.openId) return;
    this.options.loop.remove(this);
    this.panel?.destroy?.();
    this.panel = null;
    this.buttons.get(this.openId)?.setAttribute("aria-expanded", "false");
    this.openId = "";
  }

  close() {
    const from = this.buttons.get(this.openId);
    const inside = this.root.contains(document.activeElement);
    this.#end();
    this.root.hidden = true;
    this.root.replaceChildren();
    document.body.classList.remove("with-drawer");
    prefs.set("drawer", "");
    if (inside) from?.focus();
    this.options.opened();
  }

  /** @param {Frame} frame */
  push(frame) {
    this.panel?.push?.(frame);
  }

  /** @param {Message} message */
  message(message) {
    this.panel?.message?.(message);
  }

  /** @param {PageState} state */
  changed(state) {
    this.panel?.changed?.(state);
  }

  /** @param {number} nowMs */
  draw(nowMs) {
    return this.panel?.draw?.(nowMs) === true;
  }

  destroy() {
    this.#end();
  }
}
