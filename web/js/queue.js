// What a person asks for is done one after the other, in the order asked; of what is only said, the newest waits.

/**
 * Hands on at once, and with a gap after: of what comes meanwhile the newest waits.
 * @template T
 * @param {(what: T) => void} hand
 * @param {number} gapMs
 * @returns {(what: T) => void}
 */
export function spaced(hand, gapMs) {
  let free = 0;
  let waits = 0;
  return function next(what) {
    window.clearTimeout(waits);
    const rest = free - performance.now();
    if (rest > 0) waits = window.setTimeout(() => next(what), rest);
    else {
      free = performance.now() + gapMs;
      hand(what);
    }
  };
}

export class Queue {
  constructor() {
    /** What is asked for and not done yet. @type {Set<string>} */
    this.wishes = new Set();
    this.last = Promise.resolve();
  }

  get busy() {
    return this.wishes.size > 0;
  }

  /**
   * The same wish, asked for again before it is done, is one.
   * @param {string} wish
   * @param {() => Promise<void>} what never fails
   */
  do(wish, what) {
    if (this.wishes.has(wish)) return this.last;
    this.wishes.add(wish);
    this.last = this.last.then(what).finally(() => this.wishes.delete(wish));
    return this.last;
  }
}
