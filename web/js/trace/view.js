// Which samples lie where on the paper: pure arithmetic, no DOM.

/** Pixels of the playhead's patience: how fast it closes on the newest sample. */
const CATCH_UP_PER_SECOND = 5;
const SNAP_SECONDS = 0.4;
/** Seconds across by zooming. */
export const LEAST_SECONDS = 0.1;
export const MOST_SECONDS = 600;
/** A cursor's handle with a little room. */
const HANDLE_CSS = 24;

/**
 * Moves the playhead towards the newest sample at the pace of the samples, so
 * that lumpy arrival does not make the paper jerk. Never beyond the newest.
 * @param {number} head samples
 * @param {number} newest one past the newest sample
 * @param {number} rateHz
 * @param {number} elapsedSeconds since the last call
 */
export function advance(head, newest, rateHz, elapsedSeconds) {
  const behind = newest - head;
  if (!(behind > 0)) return newest;
  if (behind > SNAP_SECONDS * rateHz) return newest;
  const next = head + rateHz * elapsedSeconds + behind * Math.min(1, CATCH_UP_PER_SECOND * elapsedSeconds);
  return Math.min(next, newest);
}

/** The window on the paper. */
export class View {
  constructor() {
    this.secondsAcross = 10;
    this.rateHz = 250;
    this.widthPx = 1000;
    /** Right edge in samples. */
    this.end = 0;
    /** Right edge is held (frozen or scrolled back); else it follows. */
    this.held = false;
    /** The paper turns by half windows instead of gliding. */
    this.turns = false;
  }

  get samplesPerPx() {
    return (this.secondsAcross * this.rateHz) / this.widthPx;
  }

  get samplesAcross() {
    return this.secondsAcross * this.rateHz;
  }

  /** Several samples share a pixel column. */
  get inColumns() {
    return this.samplesPerPx >= 1.5;
  }

  /** The absolute column just beyond the right edge; columns hang on the index. */
  get originColumns() {
    const end = this.end / this.samplesPerPx;
    return this.inColumns ? Math.floor(end) : end;
  }

  /** @param {number} index */
  xPx(index) {
    return this.widthPx + index / this.samplesPerPx - this.originColumns;
  }

  /** @param {number} xPx */
  indexAt(xPx) {
    return (xPx - this.widthPx + this.originColumns) * this.samplesPerPx;
  }

  /**
   * Places the right edge for a playhead while it is not held.
   * @param {number} head
   */
  follow(head) {
    if (this.held) return;
    if (!this.turns) {
      this.end = head;
      return;
    }
    const half = this.samplesAcross / 2;
    this.end = Math.max(this.samplesAcross, Math.ceil(head / half) * half);
  }

  /**
   * Moves the right edge by samples, within what is kept; reaching the newest
   * lets it follow again.
   * @param {number} samples
   * @param {number} start oldest sample kept
   * @param {number} newest
   */
  scroll(samples, start, newest) {
    const least = Math.min(newest, start + this.samplesAcross);
    const end = Math.max(least, this.end + samples);
    if (end >= newest) {
      this.held = false;
      this.end = newest;
    } else {
      this.held = true;
      this.end = end;
    }
  }

  /**
   * Keeps a held window within what is kept.
   * @param {number} start
   * @param {number} newest
   */
  clamp(start, newest) {
    if (!this.held) return;
    this.end = Math.min(Math.max(this.end, Math.min(newest, start + this.samplesAcross)), newest);
  }
}

/**
 * Δt, ΔV and the rate between two places.
 * @param {number} a sample
 * @param {number} b sample
 * @param {number} rateHz
 * @returns {{seconds: number, bpm: number, hz: number}}
 */
export function between(a, b, rateHz) {
  const seconds = (b - a) / rateHz;
  const size = Math.abs(seconds);
  return { seconds, bpm: size > 0 ? 60 / size : NaN, hz: size > 0 ? 1 / size : NaN };
}

/**
 * How far a cursor's handle moves aside, so that two near each other can both be read
 * and taken hold of.
 * @param {number} own place, CSS pixels
 * @param {number} other
 * @param {boolean} first of two at one place
 */
export function asideCss(own, other, first) {
  const apart = Math.abs(own - other);
  if (apart >= HANDLE_CSS) return 0;
  return ((own === other ? first : own < other) ? -1 : 1) * (HANDLE_CSS - apart) / 2;
}
