// Beats as they come, before the program has confirmed them: for a tick that is not late. Only where a rate is
// shown; what it told is held against the confirmed beats.

import { quantile } from "../loop.js";

/** A peak counts from this share of the usual height on, and has passed when it fell to this share of itself. */
const HEIGHT_SHARE = 0.55;
const PASSED_SHARE = 0.8;
/** No second one within this share of the usual interval; a confirmed beat belongs to one told so near. */
const APART_SHARE = 0.6;
const SAME_SHARE = 0.35;
/** What is not confirmed after so long was no beat. */
const WAIT_SECONDS = 2.5;
/** Confirmed beats that heights and intervals are taken from, where they are looked for, and ticks kept for the count. */
const LEARNT = 8;
const LEAST = 4;
const BEFORE_SECONDS = 0.05;
const AFTER_SECONDS = 0.3;
const KEPT = 60;

/** @param {number[]} list */
const median = (list) => quantile([...list].sort((a, b) => a - b), 0.5);

/** @typedef {{ring: Float32Array, capacity: number, start: number, end: number, rateHz: number}} Signal the band-pass's points, as rings keep them */

export class EarlyBeats {
  constructor() {
    this.next = -1;
    this.peak = 0;
    this.peakAt = -1;
    this.last = -Infinity;
    this.learntAt = -1;
    this.height = NaN;
    this.sign = 1;
    this.interval = NaN;
    /** @type {{at: number, heard: number}[]} told and not yet confirmed: the peak, and the newest sample then */
    this.told = [];
    /** @type {{late: number, wrong: boolean}[]} the newest last */
    this.outcomes = [];
  }

  /**
   * Height, sign and interval of the newest confirmed beats.
   * @param {Signal} s
   * @param {number[]} beats their samples
   */
  #learn(s, beats) {
    const newest = beats.slice(-LEARNT);
    if (newest.length < LEAST) return false;
    const last = newest[newest.length - 1];
    if (last === this.learntAt) return true;
    this.learntAt = last;
    const peaks = newest.map((b) => {
      let most = 0;
      const to = Math.min(s.end, b + Math.round(AFTER_SECONDS * s.rateHz));
      for (let i = Math.max(s.start, b - Math.round(BEFORE_SECONDS * s.rateHz)); i < to; i++) {
        const v = s.ring[i % s.capacity];
        if (Math.abs(v) > Math.abs(most)) most = v;
      }
      return most;
    });
    this.sign = Math.sign(median(peaks)) || 1;
    this.height = median(peaks.map(Math.abs));
    this.interval = median(newest.slice(1).map((b, i) => b - newest[i]));
    return true;
  }

  /**
   * Takes in what is new of the signal.
   * @param {Signal} s
   * @param {number[]} beats samples of the confirmed ones
   * @returns {boolean} whether a beat came
   */
  push(s, beats) {
    if (!this.#learn(s, beats) || !(this.height > 0)) {
      this.next = s.end;
      return false;
    }
    if (this.next < s.start || this.next > s.end) this.next = s.end;
    let came = false;
    for (; this.next < s.end; this.next++) {
      const v = this.sign * s.ring[this.next % s.capacity];
      if (Number.isNaN(v)) this.peak = 0;
      else if (v > this.peak) {
        this.peak = v;
        this.peakAt = this.next;
      } else if (v < PASSED_SHARE * this.peak) {
        if (this.peak > HEIGHT_SHARE * this.height && this.peakAt - this.last > APART_SHARE * this.interval) {
          this.last = this.peakAt;
          this.told.push({ at: this.peakAt, heard: s.end });
          came = true;
        }
        this.peak = Math.max(0, v);
      }
    }
    const gone = this.told.filter((t) => s.end - t.at > WAIT_SECONDS * s.rateHz);
    this.told = this.told.slice(gone.length);
    for (let i = 0; i < gone.length; i++) this.#keep({ late: NaN, wrong: true });
    return came;
  }

  /**
   * The program confirms a beat.
   * @param {number} sample
   * @param {number} rateHz
   */
  confirm(sample, rateHz) {
    const i = this.told.findIndex((t) => Math.abs(t.at - sample) < SAME_SHARE * this.interval);
    if (i < 0) return;
    const [t] = this.told.splice(i, 1);
    this.#keep({ late: (t.heard - sample) / rateHz, wrong: false });
  }

  /** @param {{late: number, wrong: boolean}} o */
  #keep(o) {
    this.outcomes = [...this.outcomes, o].slice(-KEPT);
  }

  /** How late the ticks come in the middle, seconds, and how many of those kept were no beats. */
  stats() {
    const right = this.outcomes.filter((o) => !o.wrong).map((o) => o.late);
    return { ticks: this.outcomes.length, wrong: this.outcomes.length - right.length, lateSeconds: right.length > 0 ? median(right) : NaN };
  }
}
