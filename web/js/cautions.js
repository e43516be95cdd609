// Cautions, always at hand; and the question whether somebody is wired, before a live
// source opens. Who has answered is asked again after the source was away, after two
// hours, when electrodes appear, and for another person.

import { button, dialog, h, setText } from "./dom.js";
import { prefs } from "./store.js";
import * as words from "./words.js";

const KEY = "wired";
const HOLDS_MS = 2 * 3600 * 1000;
const MOST_REMEMBERED = 50;

/** @typedef {"yes"|"finger"|"nobody"} Wired */
/** @typedef {{is: Wired, at: number}} Answer at: milliseconds since 1970 */

/**
 * Whether somebody may be wired to a source now: not for demos and recordings.
 * @param {string} address
 */
export function isLive(address) {
  return address !== "" && !/^(demo|file):/.test(address);
}

/**
 * Whether an answer still holds.
 * @param {Answer|undefined} answer
 * @param {number} now milliseconds since 1970
 * @param {boolean} electrodes an ECG is among the signals
 */
export function holds(answer, now, electrodes) {
  if (!answer || !(now - answer.at < HOLDS_MS) || answer.at > now) return false;
  return answer.is === "yes" || !electrodes;
}

/**
 * A source's name for its answer: options do not make it another one, nor does the
 * name that a browser's input or port gets once it is open.
 * @param {string} address
 */
export function answerName(address) {
  return /^(sound|serial):browser/.exec(address)?.[0] ?? address.split("?")[0];
}

function list() {
  return h("ul", { class: "cautions" }, words.cautions.map(([head, text]) => h("li", {}, h("b", {}, head), text)));
}

function wiringLink() {
  return h("a", { href: "/wiring.html", target: "_blank", rel: "noopener" }, words.wired.page);
}

export class Cautions {
  constructor() {
    this.ack = button("cautions-ack", words.wired.read, () => this.dialog.close(), { class: "accent" });
    this.dialog = dialog("cautions-dialog", words.wired.before, list(), h("div", { class: "dialog-foot" }, wiringLink(), this.ack));
    const answer = (/** @type {Wired} */ is) => button("wired-" + is, words.wired[is], () => this.#choose(is));
    this.source = h("p", { class: "hint" });
    this.choices = h("div", { class: "row wired-choices" }, answer("yes"), answer("finger"), answer("nobody"));
    this.read = button("wired-ack", words.wired.read, () => this.#done("yes"), { class: "accent" });
    this.warning = h("div", { hidden: true, "data-testid": "wired-cautions" }, list(), h("div", { class: "dialog-foot" }, wiringLink(), this.read));
    this.question = dialog("wired-dialog", words.wired.title, this.source, this.choices, h("p", { class: "hint" }, words.wired.again), this.warning);
    this.question.addEventListener("cancel", (e) => {
      if (this.must) e.preventDefault();
    });
    this.question.addEventListener("close", () => this.#done(null));
    this.must = false;
    /** The button beside the cautions, and what was answered. */
    this.person = button("wired-person", words.wired.person, () => this.askAgain(), { class: "quiet", hidden: true });
    this.said = h("span", { "data-testid": "wired-said" });
    this.address = "";
    this.electrodes = false;
    this.away = false;
    /** @type {((answer: Wired|null) => void)|null} */
    this.answered = null;
  }

  /** Shows the cautions at any time. */
  show() {
    if (!this.dialog.open) this.dialog.showModal();
    this.ack.focus();
  }

  /**
   * Asks before a source opens. null: it shall not open.
   * @param {string} address
   * @returns {Promise<boolean>}
   */
  async mayOpen(address) {
    if (!isLive(address) || holds(this.answer(address), Date.now(), false)) return true;
    return (await this.#ask(address, false)) !== null;
  }

  /** @param {string} address @returns {Answer|undefined} */
  answer(address) {
    return prefs.get(KEY, /** @type {Record<string, Answer>} */ ({}))[answerName(address)];
  }

  /** Whether electrodes are on a person, as far as is known. */
  get wired() {
    return isLive(this.address) && (this.electrodes || this.answer(this.address)?.is === "yes");
  }

  /**
   * What runs now: asks when nobody has answered for it, as when it was opened on the
   * command line, by another page, or came back.
   * @param {{address: string, status: string, electrodes: boolean, owner: boolean}} now
   */
  consider(now) {
    const { address, electrodes, owner } = now;
    if (address !== this.address) this.away = false;
    this.address = address;
    this.electrodes = electrodes;
    const live = isLive(address) && owner;
    if (!live) {
      if (this.must) this.#done(null);
    } else if (now.status === "waiting" || now.status === "failed") {
      if (!this.away) this.#forget(address);
      this.away = true;
    } else if (now.status === "running") {
      this.away = false;
      if (!this.question.open && !this.answered && !holds(this.answer(address), Date.now(), electrodes)) void this.#ask(address, true);
    }
    this.person.hidden = !live;
    const is = live ? this.answer(address)?.is : undefined;
    setText(this.said, is ? words.wired.is[is] : "");
  }

  /** Another person sits down. */
  askAgain() {
    this.#forget(this.address);
    void this.#ask(this.address, true);
  }

  /** @param {string} address */
  #forget(address) {
    const all = prefs.get(KEY, /** @type {Record<string, Answer>} */ ({}));
    delete all[answerName(address)];
    prefs.set(KEY, all);
  }

  /**
   * @param {string} address
   * @param {boolean} must it already runs: there is no way out but an answer
   * @returns {Promise<Wired|null>}
   */
  #ask(address, must) {
    this.must = must;
    this.asked = address;
    this.question.classList.toggle("must", must);
    setText(this.source, address);
    this.warning.hidden = true;
    if (!this.question.open) this.question.showModal();
    return new Promise((resolve) => (this.answered = resolve));
  }

  /** @param {Wired} is */
  #choose(is) {
    if (is !== "yes") {
      this.#done(is);
      return;
    }
    this.warning.hidden = false;
    this.read.scrollIntoView({ block: "nearest" });
    this.read.focus();
  }

  /** @param {Wired|null} is */
  #done(is) {
    const answered = this.answered;
    if (!answered) return;
    this.answered = null;
    if (is && this.asked) {
      const all = Object.entries({ ...prefs.get(KEY, /** @type {Record<string, Answer>} */ ({})), [answerName(this.asked)]: { is, at: Date.now() } });
      prefs.set(KEY, Object.fromEntries(all.slice(-MOST_REMEMBERED)));
    }
    this.must = false;
    this.question.classList.remove("must");
    if (this.question.open) this.question.close();
    answered(is);
  }
}
