// True lengths on the screen: 25 mm for a second, 10 mm for a millivolt. Pure
// arithmetic; the screen's dots per millimetre come from a bar fitted to a card.

/** The long edge of a bank card, ID-1 of ISO/IEC 7810. */
export const CARD_MM = 85.6;
/** Until the screen is calibrated: a CSS pixel is taken for 1/96 inch. */
export const GUESS_MM_PER_CSS = 25.4 / 96;
/** And its short edge, for a narrow screen. */
export const CARD_SHORT_MM = 53.98;
/** What a screen can be: from 40 to 1200 dots per inch. */
const LEAST_MM = 25.4 / 1200;
const MOST_MM = 25.4 / 40;

/** Paper speeds, mm per second. */
export const SPEEDS = [12.5, 25, 50];
/** Heights: mm per volt, and how they are said. @type {{mmPerVolt: number, text: string}[]} */
export const HEIGHTS = [
  { mmPerVolt: 5000, text: "5 mm/mV" },
  { mmPerVolt: 10000, text: "10 mm/mV" },
  { mmPerVolt: 20000, text: "20 mm/mV" },
  { mmPerVolt: 5, text: "5 mm/V" },
  { mmPerVolt: 10, text: "10 mm/V" },
  { mmPerVolt: 20, text: "20 mm/V" },
];
/** A chest signal beyond this is one behind an amplifier, told in volts. */
const ELECTRODE_VOLTS = 0.02;

/**
 * Millimetres per device pixel from a bar of so many CSS pixels that is so long on
 * the screen. NaN when no screen is like that.
 * @param {number} barCss
 * @param {number} mm
 * @param {number} devicePixelRatio
 */
export function calibrated(barCss, mm, devicePixelRatio) {
  const v = mm / (barCss * devicePixelRatio);
  return v >= LEAST_MM && v <= MOST_MM ? v : NaN;
}

/**
 * Seconds across a plot so wide.
 * @param {number} widthMm
 * @param {number} mmPerSecond
 */
export function secondsFor(widthMm, mmPerSecond) {
  return widthMm / mmPerSecond;
}

/**
 * Volts up a lane so high.
 * @param {number} heightMm
 * @param {number} mmPerVolt
 */
export function spanFor(heightMm, mmPerVolt) {
  return heightMm / mmPerVolt;
}

/**
 * The height to begin with for a signal that spans so many volts.
 * @param {number} volts
 */
export function heightFor(volts) {
  return volts > ELECTRODE_VOLTS ? 10 : 10000;
}
