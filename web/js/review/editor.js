// Beats edited by hand: a beat is chosen, moved, added, removed by pointer and keys, with undo and redo.
// Each change goes to the server at once.

import { button, h, setText } from "../dom.js";
import { clockTime } from "../format.js";
import { added, changed, changedEdits, changedMeanwhile, counts, freePlace, moved, removed, standsOut, undone } from "./edits.js";
import { library } from "./library.js";
import { decodePiece, firstFrom } from "./window.js";
import { reviewEditorWords as W } from "../words.js";

/** @import {Change} from "./edits.js" */
/** @import {Edit, Mark} from "./library.js" */
/** @import {Sheet} from "./sheet.js" */

/** A pointer so near to a beat means it. */
const NEAR_CSS = 9;
/** A beat that is added goes to what stands out within so many seconds. */
const SNAP = 0.05;
const LOOK = 0.3;
/** More edits do not fit into one request. */
const MOST_AT_ONCE = 1000;
/** The server gives no more values at once. */
const MOST_VALUES = 4000;

/**
 * @typedef {object} EditorOptions
 * @property {Sheet} sheet
 * @property {() => number} channel whose beats are edited
 * @property {() => void} changed the list of beats is another
 * @property {() => void} saved and the server knows it
 * @property {() => void} find finds the beats of a channel that has none
 * @property {() => void} reload shows the beats as the server has them
 * @property {(text: string) => void} announce
 * @property {(e: unknown) => void} failed
 */

export class BeatEditor {
  /** @param {EditorOptions} options */
  constructor(options) {
    this.options = options;
    this.on = false;
    this.id = "";
    /** By channel. @type {Record<string, Edit[]>} */
    this.edits = {};
    /** @type {Mark|null} */
    this.chosen = null;
    /** @type {{channel: number, change: Change}[]} */
    this.past = [];
    /** @type {{channel: number, change: Change}[]} */
    this.future = [];
    this.busy = Promise.resolve();
    this.open = button("review-edit", W.editBeats, () => this.toggle(), { "aria-pressed": "false", title: W.moveAddAndDelete, class: "owner-only" });
    this.add = button("review-edit-add", W.add, () => this.#addHere(), { title: W.addTitle });
    this.remove = button("review-edit-remove", W.deleteText, () => this.#remove(), { title: W.deleteTitle });
    this.undo = button("review-edit-undo", W.undo, () => this.#undo(), { title: W.undoTitle });
    this.redo = button("review-edit-redo", W.redo, () => this.#redo(), { title: W.redoTitle });
    this.bar = h("span", { class: "group-loose", role: "group", "aria-label": W.editBeats, hidden: true }, this.add, this.remove, this.undo, this.redo);
    this.help = h("p", { class: "hint edit-help", "data-testid": "review-edit-help", hidden: true }, W.howTo);
    this.count = h("p", { class: "hint", "data-testid": "review-edited" });
    this.reset = button("review-edit-reset", W.asFound, () => this.#reset(), { class: "quiet owner-only", title: W.asFoundTitle });
    this.said = h("div", { class: "row", hidden: true }, this.count, h("span", { class: "spring" }), this.reset);
    this.handle = h("div", { class: "beat-handle", role: "slider", tabindex: "0", hidden: true, "data-testid": "review-beat-handle", "aria-label": W.chosenBeat, "aria-valuenow": "0" });
    this.handle.addEventListener("keydown", (e) => this.key(e));
    options.sheet.box.append(this.handle);
    this.#listen();
  }

  /** @param {string} id @param {Record<string, Edit[]>} edits */
  show(id, edits) {
    this.id = id;
    this.edits = edits;
    this.past = [];
    this.future = [];
    this.#choose(null);
    this.tell();
  }

  /** What was changed since the recording was shown, in order. @param {number} channel */
  #made(channel) {
    const here = (/** @type {{channel: number}} */ s) => s.channel === channel;
    return [...this.future.filter(here).map((s) => undone(s.change)), ...this.past.filter(here).map((s) => s.change)];
  }

  /** The edits have been read; those made meanwhile come with them. @param {Record<string, Edit[]>} edits */
  read(edits) {
    for (const { channel } of [...this.past, ...this.future]) edits[channel] = this.#made(channel).reduce(changedEdits, edits[channel] ?? []);
    this.edits = edits;
    this.tell();
    return edits;
  }

  /** The beats of a channel have been read or found; what was edited meanwhile comes with them. @param {number} channel @param {Mark[]} list */
  beats(channel, list) {
    const beats = changedMeanwhile(list, this.#made(channel), this.options.sheet.rateHz);
    const { chosen } = this;
    if (chosen && channel === this.options.channel()) this.chosen = beats.find((m) => m.sample === chosen.sample) ?? null;
    return beats;
  }

  /** @param {boolean} [on] */
  toggle(on = !this.on) {
    this.on = on;
    this.open.setAttribute("aria-pressed", String(on));
    this.bar.hidden = this.help.hidden = !on;
    this.options.sheet.canvas.classList.toggle("editing", on);
    this.#choose(null);
    if (!on) return;
    this.options.announce(W.howTo);
    if (this.#list.length === 0) this.options.find();
  }

  get #list() {
    return this.options.sheet.beats[this.options.channel()] ?? [];
  }

  get #mine() {
    return this.edits[this.options.channel()] ?? [];
  }

  // --- choosing -----------------------------------------------------------------

  /** @param {Mark|null} mark */
  #choose(mark) {
    const within = this.handle === document.activeElement;
    this.chosen = mark;
    this.place();
    if (mark) this.handle.focus({ preventScroll: true });
    else if (within) this.options.sheet.canvas.focus();
    this.tell();
  }

  /** Puts the handle where its beat is. @param {number} [sample] while it is dragged */
  place(sample = this.chosen?.sample ?? NaN) {
    const { sheet } = this.options;
    const x = ((sample - sheet.window.from) / sheet.window.span) * sheet.plotWidth;
    this.handle.hidden = !(x >= 0 && x <= sheet.plotWidth) || !this.on;
    if (this.handle.hidden) return;
    this.handle.style.transform = `translateX(${(sheet.gutter + x).toFixed(1)}px)`;
    this.handle.setAttribute("aria-valuenow", String(sample));
    this.handle.setAttribute("aria-valuetext", clockTime(sample / sheet.rateHz, 0.001));
  }

  /** The beat near a place on the page. @param {number} clientX */
  #near(clientX) {
    const { sheet } = this.options;
    const sample = sheet.sampleAt(clientX);
    const reach = (NEAR_CSS * sheet.window.span) / sheet.plotWidth;
    const list = this.#list;
    const i = firstFrom(list, sample);
    const [a, b] = [list[i - 1], list[i]];
    const best = !a || b && b.sample - sample < sample - a.sample ? b : a;
    return best && Math.abs(best.sample - sample) <= reach ? best : null;
  }

  #listen() {
    const { sheet } = this.options;
    const begin = (/** @type {PointerEvent} */ down) => {
      if (!this.on || down.button !== 0) return;
      const mark = down.currentTarget === this.handle ? this.chosen : this.#near(down.clientX);
      if (!mark) return;
      down.preventDefault();
      down.stopImmediatePropagation();
      this.#choose(mark);
      this.#drag(mark, down);
    };
    sheet.canvas.addEventListener("pointerdown", begin, { capture: true });
    this.handle.addEventListener("pointerdown", begin);
    sheet.canvas.addEventListener("dblclick", (e) => {
      if (!this.on) return;
      e.stopImmediatePropagation();
      if (!this.#near(e.clientX)) void this.#add(sheet.sampleAt(e.clientX));
    }, { capture: true });
  }

  /** @param {Mark} mark @param {PointerEvent} down */
  #drag(mark, down) {
    const { sheet } = this.options;
    const target = this.handle;
    target.setPointerCapture(down.pointerId);
    let to = mark.sample;
    const move = (/** @type {PointerEvent} */ m) => {
      const want = mark.sample + ((m.clientX - down.clientX) * sheet.window.span) / sheet.plotWidth;
      const place = freePlace(this.#list, want, sheet.rateHz, mark, sheet.window.length);
      if (place === place) this.place((to = place));
    };
    const up = (/** @type {PointerEvent} */ e) => {
      target.removeEventListener("pointermove", move);
      target.removeEventListener("pointerup", up);
      target.removeEventListener("pointercancel", up);
      if (e.type === "pointercancel") this.place();
      else if (to !== mark.sample) this.#move(mark, to);
    };
    target.addEventListener("pointermove", move);
    target.addEventListener("pointerup", up);
    target.addEventListener("pointercancel", up);
  }

  /** Whether a key was for editing. @param {KeyboardEvent} e */
  key(e) {
    if (e.defaultPrevented || !this.on || e.altKey) return false;
    const { sheet } = this.options;
    const command = e.ctrlKey || e.metaKey;
    const onHandle = e.target === this.handle;
    /** @type {Record<string, () => void>} */
    const keys = command ? { z: () => (e.shiftKey ? this.#redo() : this.#undo()), Z: () => this.#redo(), y: () => this.#redo() } : {
      Delete: () => this.#remove(), Backspace: () => this.#remove(), x: () => this.#remove(), Insert: () => this.#addHere(), d: () => this.#addHere(),
      b: () => this.#step(1), B: () => this.#step(-1), Escape: () => (this.chosen ? this.#choose(null) : this.toggle(false)),
      ...(onHandle ? { ArrowLeft: () => this.#nudge(e.shiftKey ? -10 : -1), ArrowRight: () => this.#nudge(e.shiftKey ? 10 : 1) } : {}),
    };
    const run = keys[e.key];
    if (!run) return false;
    e.preventDefault();
    e.stopPropagation();
    run();
    if (!this.handle.hidden || sheet.canvas === document.activeElement) return true;
    sheet.canvas.focus();
    return true;
  }

  /** To the next beat. @param {1|-1} direction */
  #step(direction) {
    const { sheet } = this.options;
    const { window: w } = sheet;
    const list = this.#list;
    const here = this.chosen?.sample ?? (w.from + w.to) / 2;
    const mark = direction > 0 ? list[firstFrom(list, Math.floor(here) + 1)] : list[firstFrom(list, Math.ceil(here)) - 1];
    if (!mark) return;
    sheet.goTo(mark.sample);
    this.#choose(mark);
  }

  // --- changing -----------------------------------------------------------------

  #addHere() {
    const { sheet } = this.options;
    const { cursors: c, window: w } = sheet;
    void this.#add(c.on ? Math.min(c.a, c.b) : (w.from + w.to) / 2);
  }

  /** Adds a beat at what stands out near a sample. @param {number} sample */
  async #add(sample) {
    const { sheet, failed, announce } = this.options;
    const { id } = this;
    const channel = this.options.channel();
    const kind = sheet.detail?.channelDetails[channel]?.kind;
    if (kind !== "ecg" && kind !== "pulse") return failed(new Error(W.noBeatsHere));
    const at = Math.round(sample);
    const half = Math.min(Math.round(LOOK * sheet.rateHz), MOST_VALUES / 2 - 1);
    const from = Math.max(0, at - half);
    const to = Math.min(sheet.window.length, at + half + 1);
    try {
      const piece = decodePiece(await library.view(id, `from=${from}&to=${to}&columns=${to - from}`));
      if (id !== this.id || channel !== this.options.channel()) return;
      const best = from + standsOut(piece.high[channel], at - from, Math.round(SNAP * sheet.rateHz));
      const place = freePlace(this.#list, best, sheet.rateHz, null, sheet.window.length);
      if (place !== place) return failed(new Error(W.tooNear));
      void this.#do(added(place, kind));
      this.#choose(this.#list.find((m) => m.sample === place) ?? null);
      announce(W.beatAdded(clockTime(place / sheet.rateHz, 0.01)));
    } catch (e) {
      if (id === this.id) failed(e);
    }
  }

  /** @param {Mark} mark @param {number} to */
  #move(mark, to) {
    void this.#do(moved(this.#mine, mark, to, this.options.sheet.rateHz));
    this.#choose(this.#list.find((m) => m.sample === to) ?? null);
  }

  /** @param {number} samples */
  #nudge(samples) {
    const mark = this.chosen;
    const { sheet } = this.options;
    const to = mark ? freePlace(this.#list, mark.sample + samples, sheet.rateHz, mark, sheet.window.length) : NaN;
    if (mark && to === to && to !== mark.sample) this.#move(mark, to);
  }

  #remove() {
    const mark = this.chosen;
    if (!mark) return this.options.announce(W.chooseFirst);
    const { rateHz } = this.options.sheet;
    void this.#do(removed(this.#mine, mark, rateHz)).then(() => this.options.announce(W.beatDeleted(clockTime(mark.sample / rateHz, 0.01))));
    this.#choose(null);
  }

  /** @param {Change} change */
  async #do(change) {
    const step = { channel: this.options.channel(), change };
    this.past.push(step);
    this.future = [];
    if (!(await this.#apply(step.channel, change))) this.past = this.past.filter((s) => s !== step);
    this.tell();
  }

  #undo() {
    return this.#back(this.past, this.future, undone);
  }

  #redo() {
    return this.#back(this.future, this.past, (c) => c);
  }

  /** @param {{channel: number, change: Change}[]} from @param {{channel: number, change: Change}[]} to @param {(c: Change) => Change} how */
  async #back(from, to, how) {
    const last = from.pop();
    if (!last) return;
    this.#choose(null);
    to.push(last);
    if (!(await this.#apply(last.channel, how(last.change)))) {
      to.splice(to.indexOf(last), 1);
      from.push(last);
    }
    this.tell();
  }

  /** All beats of the channel as they were found. */
  async #reset() {
    const channel = this.options.channel();
    const all = this.#mine;
    for (let i = 0; i < all.length; i += MOST_AT_ONCE) {
      if (!(await this.#apply(channel, { take: all.slice(i, i + MOST_AT_ONCE), put: [], out: [], into: [] }))) return;
    }
    this.options.reload();
  }

  /**
   * Shows a change at once and tells the server, one after the other; what it refuses is taken back.
   * @param {number} channel
   * @param {Change} change
   * @returns {Promise<boolean>}
   */
  #apply(channel, change) {
    const { sheet, changed: told, failed } = this.options;
    const { id } = this;
    const show = (/** @type {Change} */ c) => {
      sheet.beats[channel] = changed(sheet.beats[channel] ?? [], c);
      this.edits[channel] = changedEdits(this.edits[channel] ?? [], c);
      this.tell();
      told();
    };
    show(change);
    const done = this.busy.then(async () => {
      try {
        await library.editBeats(id, channel, change.take, change.put);
        this.options.saved();
        return true;
      } catch (e) {
        if (id === this.id) show(undone(change));
        failed(e);
        return false;
      }
    });
    this.busy = done.then(() => undefined);
    return done;
  }

  /** Says how many were edited, and what can be done. */
  tell() {
    const c = counts(this.#mine);
    const n = c.added + c.moved + c.removed;
    this.said.hidden = n === 0;
    setText(this.count, n === 0 ? "" : W.edited(n, c));
    this.remove.disabled = !this.chosen;
    this.undo.disabled = this.past.length === 0;
    this.redo.disabled = this.future.length === 0;
  }
}
