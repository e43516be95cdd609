// Times of a recording for people: from its beginning, or of the clock on the wall. Pure, no DOM.

import { clockTime, stepDecimals } from "../format.js";

const DAY = 86400;

export class Times {
  constructor() {
    /** Whether the wall's clock is shown. */
    this.clock = false;
    /** Seconds of the day, here, at the first sample; NaN where it is not known. */
    this.zeroSeconds = NaN;
  }

  /** @param {string} [started] an RFC 3339 time */
  begin(started) {
    const t = started ? new Date(started) : null;
    const known = t && !Number.isNaN(t.getTime()) && t.getFullYear() >= 1971;
    this.zeroSeconds = known ? t.getHours() * 3600 + t.getMinutes() * 60 + t.getSeconds() + t.getMilliseconds() / 1000 : NaN;
  }

  get known() {
    return !Number.isNaN(this.zeroSeconds);
  }

  /** What is added to seconds of the recording before they are shown. */
  get zero() {
    return this.clock && this.known ? this.zeroSeconds : 0;
  }

  /**
   * A time as it is shown.
   * @param {number} seconds with zero added
   * @param {number} [step] between neighbours
   */
  label(seconds, step = 1) {
    return this.clock && this.known ? ofDay(seconds, step) : clockTime(seconds, step);
  }

  /** @param {number} seconds of the recording @param {number} [step] */
  text(seconds, step = 1) {
    return this.label(seconds + this.zero, step);
  }

  /**
   * The seconds of the recording that a person means: "83.5", "1:23.5", "1:02:03"; of the wall's clock, where that is
   * shown, its first such time from the recording's beginning on. NaN when it is no time.
   * @param {string} text
   */
  parse(text) {
    const parts = text.trim().replace(",", ".").split(":");
    if (parts.length > 3 || parts.some((p, i) => !(i < parts.length - 1 ? /^\d+$/ : /^\d+(\.\d*)?$/).test(p))) return NaN;
    const numbers = parts.map(Number);
    if (numbers.slice(1).some((n) => n >= 60)) return NaN;
    if (!(this.clock && this.known) || parts.length === 1) return numbers.reduce((sum, n) => sum * 60 + n, 0);
    const [hours, minutes, seconds = 0] = numbers;
    if (hours > 23) return NaN;
    const after = (hours * 3600 + minutes * 60 + seconds - this.zeroSeconds) % DAY;
    return after < 0 ? after + DAY : after;
  }
}

/** @param {number} seconds of a day @param {number} step */
function ofDay(seconds, step) {
  const decimals = stepDecimals(step);
  const scale = 10 ** decimals;
  const units = Math.round((((seconds % DAY) + DAY) % DAY) * scale) % (DAY * scale);
  const whole = Math.floor(units / scale);
  const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
  return `${two(Math.floor(whole / 3600))}:${two(Math.floor(whole / 60) % 60)}:${two(whole % 60)}${decimals > 0 ? "." + String(units % scale).padStart(decimals, "0") : ""}`;
}
