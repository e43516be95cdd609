// Converters and sound inputs that people have, as choices for the scale.

import { convertersWords as W } from "./words.js";

/**
 * @typedef {object} Preset
 * @property {string} id
 * @property {string} label
 * @property {"converter"|"fullscale"} source
 * @property {number} volts the reference, or full scale
 * @property {number} bits 0 for a sound input
 * @property {boolean} signed
 * @property {string} what
 */

/**
 * Sound levels: nominal −10 dBV and +4 dBu are trade practice; full scale is taken as +6 dBV
 * (2 V rms, common practice of sound cards) and as +18 dBu (EBU R 68), in peak volts.
 * @type {Preset[]}
 */
export const PRESETS = [
  { id: "5v10", label: W.n5V10Bits, source: "converter", volts: 5, bits: 10, signed: false, what: W.analogReadOnA5V },
  { id: "3v12", label: W.n33V12Bits, source: "converter", volts: 3.3, bits: 12, signed: false, what: W.analogReadOnMost33 },
  { id: "4v16", label: W.n4096V16Bits, source: "converter", volts: 4.096, bits: 16, signed: true, what: W.aConverterOfItsOwn },
  { id: "2v24", label: W.n25V24Bits, source: "converter", volts: 2.5, bits: 24, signed: true, what: W.a24BitConverterWith },
  { id: "home", label: W.soundInputHomeLevel10, source: "fullscale", volts: peak(1, 6), bits: 0, signed: true, what: W.about28VAt },
  { id: "studio", label: W.soundInputStudioLevel4, source: "fullscale", volts: peak(Math.sqrt(0.6), 18), bits: 0, signed: true, what: W.about87VAt },
];

/**
 * Peak volts of a sine of a level above a reference in volts rms.
 * @param {number} volts
 * @param {number} decibels
 */
function peak(volts, decibels) {
  return Number((volts * 10 ** (decibels / 20) * Math.SQRT2).toPrecision(4));
}

/**
 * The ends of a converter: counts and the volts they stand for. The reference is the volts at one
 * more than the highest count; a signed converter reaches from minus the reference to it.
 * @param {{volts: number, bits: number, signed: boolean}} c
 */
export function spanOf(c) {
  const span = 2 ** c.bits;
  return c.signed ? { low: -c.volts, high: c.volts, lowCount: -span / 2, highCount: span / 2 - 1 } : { low: 0, high: c.volts, lowCount: 0, highCount: span - 1 };
}

/**
 * How many bits counts from low to high look like: the usual converter they fit and half of
 * which they need; null when they fit none.
 * @param {number} low
 * @param {number} high
 * @returns {{bits: number, signed: boolean}|null}
 */
export function fitting(low, high) {
  if (!(high > low) || !Number.isInteger(low) || !Number.isInteger(high)) return null;
  const signed = low < 0;
  for (const bits of signed ? [12, 16, 24] : [8, 10, 12, 14, 16, 24]) {
    const s = spanOf({ volts: 1, bits, signed });
    if (low >= s.lowCount && high <= s.highCount) return { bits, signed };
  }
  return null;
}
