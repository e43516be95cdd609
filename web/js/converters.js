// Converters and sound inputs that people have, as choices for the scale.

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
  { id: "5v10", label: "5 V, 10 bits", source: "converter", volts: 5, bits: 10, signed: false, what: "analogRead on a 5 V board" },
  { id: "3v12", label: "3.3 V, 12 bits", source: "converter", volts: 3.3, bits: 12, signed: false, what: "analogRead on most 3.3 V boards" },
  { id: "4v16", label: "±4.096 V, 16 bits, signed", source: "converter", volts: 4.096, bits: 16, signed: true, what: "a converter of its own on I²C, at gain 1" },
  { id: "2v24", label: "±2.5 V, 24 bits, signed", source: "converter", volts: 2.5, bits: 24, signed: true, what: "a 24-bit converter with a 2.5 V reference; divide the reference by its gain" },
  { id: "home", label: "sound input, home level (−10 dBV)", source: "fullscale", volts: peak(1, 6), bits: 0, signed: true, what: "about 2.8 V at full scale; measure it to be sure" },
  { id: "studio", label: "sound input, studio level (+4 dBu)", source: "fullscale", volts: peak(Math.sqrt(0.6), 18), bits: 0, signed: true, what: "about 8.7 V at full scale; measure it to be sure" },
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
