// Numbers for people: engineering units, times, rates.

import * as words from "./words.js";
import { formatWords as W } from "./words.js";

const PREFIXES = [
  { factor: 1e3, sign: "k" },
  { factor: 1, sign: "" },
  { factor: 1e-3, sign: "m" },
  { factor: 1e-6, sign: "µ" },
  { factor: 1e-9, sign: "n" },
];
const MINUS = "−";
/** Between a number and its unit. */
const NBSP = "\u00a0";

/**
 * The number that a person wrote, with a decimal point or comma; null for nothing, NaN for what is no number.
 * @param {string} text
 */
export function numberOf(text) {
  const s = text.trim().replace(",", ".").replace(MINUS, "-");
  if (s === "") return null;
  return /^[-+]?(?:\d+\.?\d*|\.\d+)(?:e[-+]?\d+)?$/i.test(s) ? Number(s) : NaN;
}

/**
 * The prefix that shows a magnitude with one to three digits before the point.
 * Units other than the volt and hertz are left as they are.
 * @param {number} magnitude
 * @param {string} unit
 * @returns {{factor: number, unit: string}}
 */
export function prefixFor(magnitude, unit) {
  if (unit !== "V" && unit !== "Hz" && unit !== "s" && unit !== "F" && unit !== "Ω" && !unit.startsWith("V/")) return { factor: 1, unit };
  const size = Math.abs(magnitude);
  if (!(size > 0) || !Number.isFinite(size)) return { factor: 1, unit };
  const last = PREFIXES[PREFIXES.length - 1];
  const p = PREFIXES.find((q) => size >= q.factor * 0.9995) ?? last;
  if (unit === "s" && p.factor > 1) return { factor: 1, unit };
  return { factor: p.factor, unit: p.sign + unit };
}

/**
 * A number with a true minus sign.
 * @param {number} x
 * @param {number} decimals
 */
export function fixed(x, decimals) {
  const text = x.toFixed(decimals);
  if (/^-0\.?0*$/.test(text)) return text.slice(1);
  return text.replace("-", MINUS);
}

/**
 * A value with its unit to so many significant digits, "12.3 mV"; a dash when
 * there is none.
 * @param {number|null|undefined} x
 * @param {string} unit
 * @param {number} [digits]
 */
export function quantity(x, unit, digits = 3) {
  if (x === null || x === undefined || !Number.isFinite(x)) return "–";
  const p = prefixFor(x, unit);
  return significant(x / p.factor, digits) + (p.unit ? NBSP + p.unit : "");
}

/**
 * @param {number} x
 * @param {number} digits significant ones; whole numbers keep all of theirs
 */
export function significant(x, digits) {
  if (x === 0) return "0";
  const exponent = Math.floor(Math.log10(Math.abs(Number(x.toPrecision(digits)))) + 1e-12);
  return fixed(x, Math.max(0, Math.min(9, digits - 1 - exponent)));
}

/**
 * Decimals that tell apart ticks of a step.
 * @param {number} step
 */
export function stepDecimals(step) {
  if (!(step > 0)) return 0;
  return Math.max(0, Math.min(9, -Math.floor(Math.log10(step) + 1e-9)));
}

/**
 * A position in time as m:ss with the decimals a step needs: "0:07", "12:30.5".
 * @param {number} seconds
 * @param {number} [step] seconds between neighbours
 */
export function clockTime(seconds, step = 1) {
  const decimals = stepDecimals(step);
  const sign = seconds < 0 ? MINUS : "";
  const scale = 10 ** decimals;
  const units = Math.round(Math.abs(seconds) * scale);
  const whole = Math.floor(units / scale);
  const minutes = Math.floor(whole / 60);
  const rest = whole % 60;
  const fraction = decimals > 0 ? "." + String(units % scale).padStart(decimals, "0") : "";
  if (minutes >= 60) {
    return `${sign}${Math.floor(minutes / 60)}:${String(minutes % 60).padStart(2, "0")}:${String(rest).padStart(2, "0")}${fraction}`;
  }
  return `${sign}${minutes}:${String(rest).padStart(2, "0")}${fraction}`;
}

/**
 * A length of time: "820 ms", "1.25 s", "3 min 5 s".
 * @param {number} seconds
 */
export function duration(seconds) {
  const size = Math.abs(seconds);
  const sign = seconds < 0 ? MINUS : "";
  if (!Number.isFinite(seconds)) return "–";
  if (size < 1) return sign + Math.round(size * 1000) + NBSP + "ms";
  if (size < 100) return sign + significant(size, 3) + NBSP + "s";
  const minutes = Math.floor(size / 60);
  return `${sign}${minutes}${NBSP}min ${Math.round(size - 60 * minutes)}${NBSP}s`;
}

/**
 * A length of time that counts up: "7 s", "2 min 5 s".
 * @param {number} seconds
 */
export function wholeSeconds(seconds) {
  const whole = Math.max(0, Math.round(seconds));
  return whole < 100 ? whole + NBSP + "s" : duration(whole);
}

/**
 * A sampling rate: "250 Hz", "249.87 Hz", "1.0003 kHz".
 * @param {number} hz
 * @param {number} [digits]
 */
export function rate(hz, digits = 5) {
  if (!(hz > 0)) return "unknown";
  const p = prefixFor(hz, "Hz");
  const text = significant(hz / p.factor, digits);
  return (text.includes(".") ? text.replace(/\.?0+$/, "") : text) + NBSP + p.unit;
}

/**
 * Quality 0…1 in a word.
 * @param {number} quality
 */
export function qualityWord(quality) {
  if (quality >= 0.85) return "clear";
  if (quality >= 0.65) return "good";
  if (quality >= 0.4) return "fair";
  return "poor";
}

/**
 * What a shown rate's signal is worth in words. The quality is how likely the rate is right, which much hum need not spoil: where
 * Check calls the hum poor, only the beats are called clear or good.
 * @param {number} quality
 * @param {{verdicts: {topic: string, grade: string}[]}|undefined} report the newest one of Check's meters
 */
export function signalWords(quality, report) {
  const word = qualityWord(quality);
  const hum = report?.verdicts.some((v) => v.topic === "hum" && v.grade === "poor");
  return hum ? W.beatsInMuchHum(word) : W.signal(word);
}

/** @param {string} state */
export function readingHeading(state) {
  return words.readingStates[state] ?? state;
}

/**
 * A length in bytes.
 * @param {number} n
 */
export function bytes(n) {
  if (n < 1000) return n + NBSP + "B";
  if (n < 1e6) return significant(n / 1e3, 3) + NBSP + "kB";
  if (n < 1e9) return significant(n / 1e6, 3) + NBSP + "MB";
  return significant(n / 1e9, 3) + NBSP + "GB";
}
