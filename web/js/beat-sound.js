// A soft tick at each beat, by the browser's own audio. Off until asked for.

import { beatSoundWords as W } from "./words.js";

/** A tick begins so long after it is asked for: the next audio block. */
const LEAD_SECONDS = 0.005;
/** Ticks are no nearer than this, so that a search-back does not rattle. */
const LEAST_BETWEEN_SECONDS = 0.2;
const LENGTH_SECONDS = 0.06;
const PITCH_HZ = 740;
const LOUDNESS = 0.25;
/** A browser that gives sound says so within this time. */
const ANSWER_MS = 2000;
/** A report that had to wait longer is not sounded: a late tick misleads. */
export const LATEST_MS = 100;

export class BeatSound {
  /** @param {() => AudioContext} [make] */
  constructor(make = () => new AudioContext({ latencyHint: "interactive" })) {
    this.make = make;
    /** @type {AudioContext|null} */
    this.audio = null;
    this.on = false;
    this.ticks = 0;
    this.late = 0;
    /** From the report's arrival to the tick's scheduled start, milliseconds. */
    this.lastDelayMs = NaN;
    this.worstDelayMs = 0;
    this.lastAt = -Infinity;
  }

  /** @returns {Promise<string>} "" or why there is no sound */
  async start() {
    try {
      this.audio ??= this.make();
      // Without an output some browsers never answer.
      const answered = await Promise.race([this.audio.resume().then(() => true), new Promise((later) => window.setTimeout(later, ANSWER_MS))]);
      if (!answered) {
        void this.audio.suspend().catch(() => {});
        return W.theSoundDoesNotBegin;
      }
    } catch {
      this.audio = null;
      return W.thisBrowserGivesNoSound;
    }
    this.on = true;
    return "";
  }

  stop() {
    this.on = false;
    void this.audio?.suspend().catch(() => {});
  }

  /**
   * Sounds a beat whose report arrived at a time of performance.now().
   * @param {number} arrivedMs
   * @returns {number} the delay in milliseconds, NaN when it was not sounded
   */
  tick(arrivedMs) {
    const { audio } = this;
    if (!this.on || !audio || audio.state !== "running") return NaN;
    const at = audio.currentTime + LEAD_SECONDS;
    const delay = performance.now() - arrivedMs + (LEAD_SECONDS + (audio.baseLatency || 0)) * 1000;
    if (delay > LATEST_MS) {
      this.late++;
      return NaN;
    }
    if (at - this.lastAt < LEAST_BETWEEN_SECONDS) return NaN;
    this.lastAt = at;
    const tone = audio.createOscillator();
    const gain = audio.createGain();
    tone.frequency.value = PITCH_HZ;
    gain.gain.setValueAtTime(0, at);
    gain.gain.linearRampToValueAtTime(LOUDNESS, at + 0.003);
    gain.gain.exponentialRampToValueAtTime(0.001, at + LENGTH_SECONDS);
    tone.connect(gain).connect(audio.destination);
    tone.start(at);
    tone.stop(at + LENGTH_SECONDS);
    this.ticks++;
    this.lastDelayMs = delay;
    this.worstDelayMs = Math.max(this.worstDelayMs, delay);
    return delay;
  }

  stats() {
    return { on: this.on, ticks: this.ticks, late: this.late, lastDelayMs: this.lastDelayMs, worstDelayMs: this.worstDelayMs };
  }
}
