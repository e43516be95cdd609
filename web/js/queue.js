// What a person asks for is done one after the other, in the order asked.

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
