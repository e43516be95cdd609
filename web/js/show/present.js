// One page presents, the others follow: what Show shows goes by PUT /presenter to all pages,
// and comes back to them by the stream's message `presenter`.

import { request } from "../api.js";

/** @import {Presentation} from "../types.js" */

/** No more often than so, well below what a visitor may ask. */
const LEAST_BETWEEN_MS = 80;
const NAME_KEY = "presenting-page";

/** This page's name, which outlives a reload. */
function ownName() {
  try {
    let name = window.sessionStorage.getItem(NAME_KEY);
    if (!name) window.sessionStorage.setItem(NAME_KEY, (name = Math.random().toString(36).slice(2, 12)));
    return name;
  } catch {
    return Math.random().toString(36).slice(2, 12);
  }
}

export class Present {
  /**
   * @param {{changed: () => void, failed: (text: string) => void, adopt: (p: Presentation) => boolean}} options changed: something to show; failed: why not;
   * adopt: this page, loaded anew, presented this; false: it cannot go on
   */
  constructor(options) {
    this.options = options;
    this.name = ownName();
    /** What is presented by whatever page, null for nothing. @type {Presentation|null} */
    this.state = null;
    /** This page presents. */
    this.driving = false;
    /** Nothing of its own came back yet. */
    this.beginning = false;
    /** Its end did not come back yet. */
    this.ending = false;
    /** The page beside which this one looks alone. @type {string|null} */
    this.aloneFrom = null;
    this.timer = 0;
    this.sentAt = 0;
    this.sent = "";
    /** The request on its way. @type {Promise<unknown>} */
    this.flying = Promise.resolve();
    /** @type {(() => Presentation)|null} */
    this.next = null;
  }

  /** This page looks alone though another presents. */
  get alone() {
    return this.state !== null && this.state.by === this.aloneFrom;
  }

  /** What this page follows, null when it looks alone. */
  get followed() {
    return this.state && !this.driving && !this.alone ? this.state : null;
  }

  /** Another page presents. */
  get offered() {
    return this.state !== null && !this.driving;
  }

  /** A message of the stream. @param {Presentation} m */
  take(m) {
    if (this.beginning && m.by !== this.name) return; // of what was before
    if (this.ending && m.on && m.by === this.name) return;
    this.beginning = this.ending = false;
    if (!m.on) this.aloneFrom = null;
    this.state = m.on ? m : null;
    const drove = this.driving;
    this.driving = m.on && m.by === this.name;
    if (this.driving && !drove && !this.options.adopt(m)) {
      this.end();
      return;
    }
    this.options.changed();
  }

  /** The connection was lost: what is presented is told anew when it stands again. */
  forget() {
    if (!this.state || this.driving) return;
    this.state = null;
    this.options.changed();
  }

  /** @param {boolean} alone */
  look(alone) {
    this.aloneFrom = alone && this.state ? this.state.by : null;
    this.options.changed();
  }

  /** @param {() => Presentation} what */
  begin(what) {
    this.driving = this.beginning = true;
    this.ending = false;
    this.sent = "";
    this.put(what);
  }

  end() {
    this.driving = this.beginning = false;
    this.ending = true;
    this.state = null;
    this.next = null;
    window.clearTimeout(this.timer);
    this.timer = 0;
    this.#request({ on: false }).catch((e) => this.options.failed(e.message));
    this.options.changed();
  }

  /** One after the other, so that none overtakes another. @param {Presentation|{on: false}} p */
  #request(p) {
    const send = () => request("PUT", "/presenter", p);
    return (this.flying = this.flying.then(send, send));
  }

  /**
   * Hands on what is shown, the newest of it when called often.
   * @param {() => Presentation} what
   */
  put(what) {
    if (!this.driving) return;
    this.next = what;
    if (this.timer) return;
    this.timer = window.setTimeout(() => void this.#send(), Math.max(0, this.sentAt + LEAST_BETWEEN_MS - performance.now()));
  }

  async #send() {
    const p = this.next?.();
    this.next = null;
    const text = JSON.stringify(p);
    if (p && this.driving && text !== this.sent) {
      this.sent = text;
      this.sentAt = performance.now();
      try {
        await this.#request(p);
      } catch (e) {
        this.sent = "";
        this.beginning = false;
        this.options.failed(e instanceof Error ? e.message : String(e));
      }
    }
    this.timer = 0;
    if (this.next) this.put(this.next);
  }
}
