// What the page knows: the server's state as messages change it, this page's own
// settings, and undo. The reducer is pure; the Store tells listeners what changed.

import { storeWords as W } from "./words.js";

/** @import {Beat, Channel, Gap, Health, Message, Note, Reading, Report, ServerState} from "./types.js" */
/** What the page tells itself. @typedef {{type: "connection", status: PageState["connection"], text: string} | {type: "lost", frames: number}} OwnMessage */

/**
 * @typedef {object} PageState
 * @property {ServerState|null} server null until the first state message
 * @property {boolean} owner whether this page may change things; the stream says so first
 * @property {Reading[]} readings by channel
 * @property {Report[]} meters newest report by channel
 * @property {string[]} text newest lines the board said
 * @property {number[]} clockHz the source's rate, one a second, the newest last
 * @property {string} problem
 * @property {number} dropped frames this page lost since it was loaded
 * @property {"connecting"|"open"|"lost"} connection
 * @property {string} connectionText
 */

export const KEPT_LINES = 200;
export const KEPT_CLOCK_SECONDS = 600;

/** @returns {PageState} */
export function initialState() {
  return { server: null, owner: true, readings: [], meters: [], text: [], clockHz: [], problem: "", dropped: 0, connection: "connecting", connectionText: W.connecting };
}

/**
 * The state after a message. Messages of another epoch are left out, unknown
 * ones too. Untouched parts keep their identity.
 * @param {PageState} state
 * @param {Message|OwnMessage} m
 * @returns {PageState}
 */
export function reduce(state, m) {
  const server = state.server;
  if (m.type === "state") return takeState(state, m);
  if (m.type === "you") return { ...state, owner: m.owner !== false, server: server && { ...server, owner: m.owner !== false } };
  if (m.type === "problem") return { ...state, problem: String(m.text ?? "") };
  if (m.type === "connection") return { ...state, connection: m.status, connectionText: m.text };
  if (m.type === "lost") return { ...state, dropped: state.dropped + m.frames };
  if (!server || ("epoch" in m && m.epoch !== server.epoch)) return state;
  switch (m.type) {
    case "clock": {
      const { type, ...clock } = m;
      const clockHz = clock.exact ? [] : [...state.clockHz, clock.recentHz > 0 ? clock.recentHz : NaN].slice(-KEPT_CLOCK_SECONDS);
      return { ...state, clockHz, server: { ...server, clock, rateHz: clockRate(server, clock.usedRateHz) } };
    }
    case "reading":
      return { ...state, readings: replaced(state.readings, m.channel, m) };
    case "meters":
      return { ...state, meters: replaced(state.meters, m.channel, m.report) };
    case "gap":
      return { ...state, server: { ...server, gaps: addGap(server.gaps ?? [], { index: m.index, samples: m.samples, reason: m.reason }) } };
    case "note":
      return { ...state, server: { ...server, notes: [...(server.notes ?? []), { index: m.index, text: m.text }] } };
    case "playback": {
      const { type, ...playback } = m;
      return { ...state, server: { ...server, playback } };
    }
    case "text":
      return { ...state, text: [...state.text, ...m.lines].slice(-KEPT_LINES) };
    case "health": {
      const { type, ...health } = m;
      return { ...state, server: { ...server, health } };
    }
    default:
      return state;
  }
}

/**
 * @param {ServerState} server
 * @param {number} usedRateHz of the source
 */
function clockRate(server, usedRateHz) {
  if (!(usedRateHz > 0)) return server.rateHz;
  return usedRateHz / Math.max(1, server.decimation || 1);
}

/**
 * @param {PageState} state
 * @param {Message & {type: "state"}} m
 * @returns {PageState}
 */
function takeState(state, m) {
  const { type, ...rest } = m;
  /** @type {ServerState} */
  const server = { ...rest, channels: rest.channels ?? [], gaps: rest.gaps ?? [], notes: rest.notes ?? [], owner: state.owner };
  const fresh = !sameRun(state.server, server);
  return {
    ...state,
    server,
    readings: fresh ? [] : state.readings,
    meters: fresh ? [] : state.meters,
    text: fresh ? (rest.text ?? []) : state.text,
    clockHz: fresh ? [] : state.clockHz,
    problem: rest.problem ?? state.problem,
  };
}

/** A program started anew counts its epochs from 1 again: then t0 tells them apart. */
const SAME_START_MS = 2000;

/**
 * Whether two states are of one run of one source, so that indices go on.
 * @param {{epoch: number, t0: string}|null} a
 * @param {{epoch: number, t0: string}|null} b
 */
export function sameRun(a, b) {
  if (!a || !b || a.epoch !== b.epoch) return false;
  return !(Math.abs(Date.parse(a.t0) - Date.parse(b.t0)) > SAME_START_MS);
}

/**
 * @template T
 * @param {T[]} list
 * @param {number} at
 * @param {T} value
 */
function replaced(list, at, value) {
  const copy = list.slice();
  copy[at] = value;
  return copy;
}

/**
 * Adds a gap in order of index; one at the same index replaces the old.
 * @param {Gap[]} gaps
 * @param {Gap} gap
 */
export function addGap(gaps, gap) {
  const rest = gaps.filter((g) => g.index !== gap.index);
  rest.push(gap);
  return rest.sort((a, b) => a.index - b.index);
}

/**
 * The sample from which intervals are counted: an ECG's R peak, a pulse's foot, which
 * is steadier than its rounded peak.
 * @param {Beat} b
 */
export function fiducial(b) {
  return b.kind === "pulse" && b.foot < b.sample ? b.foot : b.sample;
}

/** Beats of one channel in order of sample, without doubles, bounded. */
export class BeatList {
  /** @param {number} [most] */
  constructor(most = 4096) {
    this.most = most;
    /** @type {Beat[]} */
    this.beats = [];
  }

  clear() {
    this.beats.length = 0;
  }

  /** @param {Beat[]} more */
  add(more) {
    for (const b of more) {
      const at = this.indexFrom(b.sample);
      if (at < this.beats.length && this.beats[at].sample === b.sample) this.beats[at] = b;
      else this.beats.splice(at, 0, b);
    }
    if (this.beats.length > this.most) this.beats.splice(0, this.beats.length - this.most);
  }

  /**
   * Place of the first beat at or after a sample.
   * @param {number} sample
   */
  indexFrom(sample) {
    let low = 0;
    let high = this.beats.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (this.beats[middle].sample < sample) low = middle + 1;
      else high = middle;
    }
    return low;
  }

  /** @returns {Beat|undefined} */
  last() {
    return this.beats[this.beats.length - 1];
  }
}

/** @typedef {{label: string, undo: () => Promise<unknown>, redo: () => Promise<unknown>}} Change */

/**
 * Undo of settings: what was done, and how to do it either way. Changes, undo and redo are
 * done one after another as they were asked for; what was asked of a source ends with it.
 */
export class History {
  /** @param {number} [most] */
  constructor(most = 100) {
    this.most = most;
    /** Another list for another source. @type {Change[]} */
    this.done = [];
    /** @type {Change[]} */
    this.undone = [];
    /** @type {Promise<unknown>} */
    this.turn = Promise.resolve();
  }

  /** @param {Change} change which has been done */
  record(change) {
    this.done.push(change);
    if (this.done.length > this.most) this.done.shift();
    this.undone.length = 0;
  }

  /**
   * @template T
   * @param {T} otherwise the answer when the source is another by then
   * @param {(done: Change[]) => Promise<T>} work
   * @returns {Promise<T>}
   */
  #inTurn(otherwise, work) {
    const { done } = this;
    const mine = this.turn.then(() => (done === this.done ? work(done) : otherwise));
    this.turn = mine.then(() => {}, () => {});
    return mine;
  }

  /**
   * @param {() => Promise<Change|null>} make does a change, which is recorded
   * @returns {Promise<void>}
   */
  make(make) {
    return this.#inTurn(undefined, async (done) => {
      const change = await make();
      if (change && done === this.done) this.record(change);
    });
  }

  /** @returns {Promise<string>} what was undone, "" when there is nothing */
  undo() {
    return this.#inTurn("", async (done) => {
      const { undone } = this;
      const change = done.at(-1);
      if (!change) return "";
      await change.undo();
      const last = done.at(-1) === change; // else something was recorded meanwhile
      done.splice(done.indexOf(change), 1);
      if (last) undone.push(change);
      return change.label;
    });
  }

  /** @returns {Promise<string>} */
  redo() {
    return this.#inTurn("", async (done) => {
      const { undone } = this;
      const change = undone.at(-1);
      if (!change) return "";
      await change.redo();
      if (undone.at(-1) === change) undone.pop();
      done.push(change);
      return change.label;
    });
  }

  clear() {
    this.done = [];
    this.undone = [];
  }
}

/**
 * Settings with one change of them taken back; what was set otherwise since stays.
 * @template {Record<string, any>} T
 * @param {T} now
 * @param {T} before
 * @param {T} after that change
 * @returns {T}
 */
export function takenBack(now, before, after) {
  const back = Object.entries(before).filter(([name, v]) => v !== after[name] && now[name] === after[name]);
  return { ...now, ...Object.fromEntries(back) };
}

export class Store {
  constructor() {
    this.state = initialState();
    /** @type {Set<(state: PageState, before: PageState) => void>} */
    this.listeners = new Set();
  }

  /** @param {Message|OwnMessage} message */
  dispatch(message) {
    const before = this.state;
    this.state = reduce(before, message);
    if (this.state === before) return;
    for (const listener of this.listeners) listener(this.state, before);
  }

  /**
   * @param {(state: PageState, before: PageState) => void} listener
   * @returns {() => void} ends it
   */
  subscribe(listener) {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }
}

/** Preferences of this browser; a browser that refuses storage gets defaults. */
export const prefs = {
  /**
   * @template T
   * @param {string} key
   * @param {T} fallback
   * @returns {T}
   */
  get(key, fallback) {
    try {
      const text = localStorage.getItem("pulsewright." + key);
      return text === null ? fallback : JSON.parse(text);
    } catch {
      return fallback;
    }
  },
  /**
   * @param {string} key
   * @param {unknown} value
   */
  set(key, value) {
    try {
      localStorage.setItem("pulsewright." + key, JSON.stringify(value));
    } catch {
      // Private windows may refuse: the choice holds until the page closes.
    }
  },
};
