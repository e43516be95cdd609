// The board of the chosen channel: as it is soldered (on the server), as it is being drawn
// here, and what follows from both. Panels listen.

import { request } from "../api.js";
import { sameBoard, withPart, withStage } from "./words.js";

/** @import {PageState} from "../store.js" */
/** @import {Board, PartObject, StageKind} from "./words.js" */

/** Figures are asked for when a person has paused so long, and a ghost so often. */
const PAUSE_MS = 120;
const LOOK_MS = 700;
const COMPARE_MS = 3000;

/** @import * as Wire from "../wire.js" */
/** @typedef {Wire.BoardFigures} Computed */
/** @typedef {Wire.BoardKinds} Known */

/** @param {Board|null} a @param {Board|null} b */
const sameOrNone = (a, b) => (a && b ? sameBoard(a, b) : a === b);

export class BoardModel {
  /** @param {{channel: () => number, problem: (text: string) => void}} options */
  constructor(options) {
    this.options = options;
    /** @type {Known|null} */
    this.known = null;
    /** As soldered. @type {Board|null} */
    this.present = null;
    /** As drawn; null when there is none. @type {Board|null} */
    this.draft = null;
    /** Of the draft. @type {Computed|null} */
    this.computed = null;
    /** Of the present board. @type {Computed|null} */
    this.before = null;
    /** @type {Wire.BoardLook|null} */
    this.look = null;
    /** @type {Wire.BoardComparison|null} */
    this.comparison = null;
    /** @type {{trimmer: string, places: Wire.Turned[]}|null} */
    this.turned = null;
    this.error = "";
    this.lookError = "";
    this.tolerance = 0;
    this.owner = true;
    this.channel = -1;
    /** Channel and source whose board this is, "" for none. */
    this.place = "";
    this.volts = false;
    /** Drawn and not soldered, by place. @type {Map<string, Board>} */
    this.drafts = new Map();
    this.watchers = 0;
    /** @type {Set<() => void>} */
    this.listeners = new Set();
    this.asked = 0;
    this.timer = 0;
    this.lookTimer = 0;
    this.compareAt = 0;
    this.turnKey = "";
  }

  /** @param {() => void} listener */
  subscribe(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }

  #tell() {
    for (const l of this.listeners) l();
  }

  /** Somebody looks at the ghost; call the answer when not any more. */
  watch() {
    this.watchers++;
    if (this.watchers === 1) this.#looking(0);
    return () => {
      this.watchers--;
      if (this.watchers === 0) window.clearTimeout(this.lookTimer);
    };
  }

  get changes() {
    return this.draft !== null && !sameBoard(this.draft, this.present);
  }

  /** A ghost is of what was said to be soldered: without that the signal tells nothing of a changed drawing. */
  get ghosted() {
    return this.present !== null && this.changes;
  }

  /** @param {PageState} state */
  changed(state) {
    const channel = this.options.channel();
    const c = state.server?.channels[channel];
    const board = /** @type {Board|null} */ (c?.board ?? null);
    this.owner = state.server?.owner !== false;
    const volts = c?.unit === "V";
    const place = c ? `${channel} ${state.server?.source.address}` : ""; // without channels a source is being opened
    const elsewhere = place !== this.place;
    if (!elsewhere && volts === this.volts && sameOrNone(board, this.present)) return;
    const gone = this.present !== null && board === null;
    if (elsewhere) {
      this.#putAside();
      this.draft = this.drafts.get(place) ?? (board && structuredClone(board));
      this.computed = this.turned = null;
      this.lookError = "";
    } else if (gone || !this.changes) this.draft = board && structuredClone(board);
    this.channel = channel;
    this.place = place;
    this.volts = volts;
    this.present = board;
    this.before = null;
    this.look = this.comparison = null;
    if (!this.draft) this.computed = null;
    this.#soon();
    this.#tell();
  }

  /** What is drawn here comes back with this channel and source. */
  #putAside() {
    if (this.draft && this.changes) this.drafts.set(this.place, this.draft);
    else this.drafts.delete(this.place);
  }

  /** Kinds and examples, asked for once. */
  async learn() {
    if (this.known || !this.owner) return;
    try {
      this.known = await request("GET", "/board");
    } catch (e) {
      this.error = e instanceof Error ? e.message : String(e);
    }
    this.#tell();
  }

  /** @param {Board|null} board */
  draw(board) {
    this.draft = board;
    this.#soon();
    this.#tell();
  }

  /**
   * @param {number} stage
   * @param {string} role
   * @param {Partial<PartObject>} change
   */
  edit(stage, role, change) {
    if (this.draft) this.draw(withPart(this.draft, stage, role, change));
  }

  /**
   * @param {number} stage
   * @param {string} role
   */
  takeOut(stage, role) {
    if (!this.draft) return;
    const next = structuredClone(this.draft);
    delete next.stages[stage].parts?.[role];
    this.draw(next);
  }

  /**
   * @param {number} place
   * @param {string} kind
   */
  addStage(place, kind) {
    if (this.draft) this.draw(withStage(this.draft, place, kind));
  }

  /** @param {number} stage */
  removeStage(stage) {
    if (!this.draft) return;
    const next = structuredClone(this.draft);
    next.stages.splice(stage, 1);
    this.draw(next);
  }

  /** Back to what is soldered. */
  back() {
    this.draw(this.present && structuredClone(this.present));
  }

  /** Says that the board is built as drawn, or that there is none. @param {Board|null} [board] */
  async keep(board = this.draft) {
    const { draft, place } = this;
    try {
      const answer = await request("PUT", `/channels/${this.options.channel()}/board`, { board });
      this.options.problem("");
      if (place !== this.place) {
        if (this.drafts.get(place) === draft) this.drafts.delete(place);
        return;
      }
      this.present = answer.board;
      this.before = this.look = this.comparison = null;
      this.draw(draft !== this.draft ? this.draft : this.present && structuredClone(this.present)); // edited meanwhile: kept
    } catch (e) {
      this.options.problem(e instanceof Error ? e.message : String(e));
    }
  }

  #soon() {
    window.clearTimeout(this.timer);
    this.timer = window.setTimeout(() => void this.#compute(), PAUSE_MS);
  }

  async #compute() {
    if (!this.owner) return;
    const number = ++this.asked;
    const { draft, present, tolerance } = this;
    this.error = "";
    if (draft) {
      try {
        const before = present && (this.before ?? await request("POST", "/board/figures", { board: present, tolerance }));
        if (present !== this.present || tolerance !== this.tolerance) return; // asked anew soon, as below
        this.before = before;
        const computed = before && sameBoard(draft, present) ? before : await request("POST", "/board/figures", { board: draft, tolerance });
        if (number !== this.asked || draft !== this.draft || tolerance !== this.tolerance) return; // edited meanwhile: asked anew soon
        this.computed = computed;
        this.draft = structuredClone(computed.board); // as the program writes it
        await this.#turn(number);
      } catch (e) {
        if (number !== this.asked || draft !== this.draft) return;
        this.error = e instanceof Error ? e.message : String(e);
      }
    }
    this.#tell();
    if (this.watchers > 0) this.#looking(0);
  }

  /**
   * The trimmer from end to end, against what is soldered, or else against itself in the middle: where it stands in the drawing does not matter.
   * @param {number} number of the question
   */
  async #turn(number) {
    const trimmer = this.computed?.parts.find((p) => p.role === "trimmer");
    if (!trimmer || !this.draft) {
      this.turned = null;
      return;
    }
    const { place } = this;
    const reference = this.present ?? withPart(this.draft, trimmer.stage, trimmer.role, { at: 0.5 });
    const key = JSON.stringify(reference) + trimmer.ref;
    if (key === this.turnKey && this.turned) return;
    const answer = await request("POST", "/board/turn", { board: reference, trimmer: trimmer.ref });
    if (number !== this.asked || place !== this.place) return;
    this.turnKey = key;
    this.turned = { trimmer: trimmer.ref, places: answer.places };
  }

  /** @param {number} after milliseconds */
  #looking(after) {
    window.clearTimeout(this.lookTimer);
    this.lookTimer = window.setTimeout(() => void this.#ask(), after);
  }

  async #ask() {
    const { draft, present, place } = this;
    const channel = this.options.channel();
    if (draft && this.owner && !document.hidden && this.error === "") {
      const here = () => place === this.place && present === this.present;
      try {
        const look = await request("POST", `/channels/${channel}/board/look`, { present: present ?? draft, changed: draft });
        if (here()) this.look = look;
        if (here() && (performance.now() - this.compareAt > COMPARE_MS || !this.comparison)) {
          this.compareAt = performance.now();
          const comparison = await request("POST", `/channels/${channel}/board/compare`, { board: present ?? draft });
          if (here()) this.comparison = comparison;
        }
        if (here()) this.lookError = "";
      } catch (e) {
        if (here()) {
          this.lookError = e instanceof Error ? e.message : String(e);
          this.look = null;
        }
      }
      this.#tell();
    }
    if (this.watchers > 0) this.#looking(LOOK_MS);
  }

  /** @param {number} tolerance a share for every part, 0: each its own */
  setTolerance(tolerance) {
    this.tolerance = tolerance;
    this.before = null;
    this.#soon();
  }

  destroy() {
    window.clearTimeout(this.timer);
    window.clearTimeout(this.lookTimer);
    this.listeners.clear();
  }
}
