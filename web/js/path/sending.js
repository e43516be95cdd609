// Changes of the path on their way to the program: one at a time, each built on the last
// that was applied, and shown until the program's state has it.

/** @import {History} from "../store.js" */
/** @import {PathSettings} from "../types.js" */
/** Sets one thing, told by its label. @typedef {{channel: number, label: string, edit: (path: PathSettings) => void}} Edit */

/** Without its state so long after the answer, another has set the path since. */
const OVERDUE_MS = 3000;

export class Sending {
  /** @param {{history: History, put: (channel: number, path: PathSettings) => Promise<PathSettings>, received: (channel: number) => PathSettings|undefined}} options received: as the newest state says */
  constructor(options) {
    this.options = options;
    /** On its way, then waiting. @type {Edit[]} */
    this.edits = [];
    /** @type {Edit|null} */
    this.flying = null;
    /** Until the state has it. @type {Map<number, {path: PathSettings, at: number}>} */
    this.applied = new Map();
  }

  /**
   * The path as the program has it.
   * @param {number} channel
   */
  settled(channel) {
    const received = this.options.received(channel);
    const last = this.applied.get(channel);
    if (last && received && JSON.stringify(last.path) !== JSON.stringify(received) && performance.now() - last.at < OVERDUE_MS) return last.path;
    this.applied.delete(channel);
    return received;
  }

  /**
   * The same with what is on its way.
   * @param {number} channel
   */
  now(channel) {
    const path = structuredClone(this.settled(channel));
    if (path) for (const e of this.edits) if (e.channel === channel) e.edit(path);
    return path;
  }

  /**
   * @param {number} channel
   * @param {PathSettings} path as the program says that it applied it
   */
  took(channel, path) {
    this.applied.set(channel, { path, at: performance.now() });
    this.settled(channel); // its state may have come before the answer
    return path;
  }

  /**
   * @param {number} channel
   * @param {PathSettings} path
   */
  async put(channel, path) {
    return this.took(channel, await this.options.put(channel, path));
  }

  /**
   * Sends an edit in its turn; it takes the place of one with the same label that waits last.
   * @param {Edit} mine
   */
  async change(mine) {
    const { channel, label } = mine;
    const last = this.edits.at(-1);
    if (last && last !== this.flying && last.channel === channel && last.label === label) {
      last.edit = mine.edit;
      return;
    }
    this.edits.push(mine);
    try {
      await this.options.history.make(async () => {
        this.flying = mine;
        const before = this.settled(channel);
        if (!before) return null;
        const next = structuredClone(before);
        mine.edit(next);
        const after = await this.put(channel, next);
        return { label, undo: () => this.put(channel, before), redo: () => this.put(channel, after) };
      });
    } finally {
      this.edits = this.edits.filter((e) => e !== mine);
    }
  }

  /** Of another source. */
  clear() {
    this.edits = [];
    this.applied.clear();
  }
}
