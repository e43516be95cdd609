// Light paper and dark slate, and the traces' looks. Colours come from the
// Okabe–Ito palette; the contrast of each on its ground is checked in a test.

import { themeWords as W } from "./words.js";

export const POINT_NAMES = ["scale", "drift", "hum", "smooth", "beats"];
export const POINT_TITLES = [W.afterScale, W.afterDrift, W.afterHum, W.afterSmooth, W.atTheBeatFinder];

/**
 * @typedef {object} Palette
 * @property {string} paper
 * @property {string} ink
 * @property {string} faint text beside the axes
 * @property {string} grid
 * @property {string} gridStrong
 * @property {string} margin the margin line
 * @property {string} gap
 * @property {string} mark beats, cursors
 * @property {string[]} traces by point, of every first channel of two
 * @property {string[]} others by point, of every second one
 */

/** @type {Palette} */
export const LIGHT = {
  paper: "#fdfcf8",
  ink: "#22252b",
  faint: "#63605a",
  grid: "#ebe7dd",
  gridStrong: "#dcd6c8",
  margin: "#e0b4ac",
  gap: "#efeae0",
  mark: "#22252b",
  traces: ["#000000", "#d55e00", "#008c66", "#0072b2", "#000000"],
  others: ["#8f4479", "#9a6400", "#5b7f00", "#a3478a", "#8f4479"],
};

/** @type {Palette} */
export const DARK = {
  paper: "#2a2d31",
  ink: "#efe9dc",
  faint: "#b5aea1",
  grid: "#363a3f",
  gridStrong: "#454a50",
  margin: "#7d5650",
  gap: "#34383d",
  mark: "#efe9dc",
  traces: ["#efe9dc", "#e69f00", "#2bb58b", "#56b4e9", "#efe9dc"],
  others: ["#dba0c6", "#f0cf7a", "#b4d665", "#e391bd", "#dba0c6"],
};

/** For who asks the system for more contrast. @type {Palette} */
export const LIGHT_STRONG = { ...LIGHT, paper: "#ffffff", ink: "#000000", faint: "#3c3a36", grid: "#c4bfb2", gridStrong: "#8a8476", margin: "#b5564a", mark: "#000000" };
/** @type {Palette} */
export const DARK_STRONG = { ...DARK, paper: "#101214", ink: "#ffffff", faint: "#dcd6c9", grid: "#4d5258", gridStrong: "#80868d", margin: "#b77a70", mark: "#ffffff" };

/** What the page wears now; `strong` for more contrast. @type {{palette: Palette, strong: boolean}} */
export const theme = { palette: LIGHT, strong: false };

/**
 * How a trace's line is drawn. `on` and `off` are columns drawn and left out,
 * counted on the sample index, so that the pattern travels with the paper.
 * @typedef {{width: number, on: number, off: number}} LineStyle
 */

/** By point; a second channel's traces take the style further on. @type {LineStyle[]} */
export const STYLES = [
  { width: 1, on: 1, off: 0 },
  { width: 1.5, on: 9, off: 4 },
  { width: 1.5, on: 4, off: 3 },
  { width: 1.9, on: 1, off: 0 },
  { width: 1.4, on: 14, off: 4 },
];

/** Of traces laid over each other, in their order: told apart without colour. @type {LineStyle[]} */
export const OVERLAID = [
  { width: 1.2, on: 1, off: 0 },
  { width: 3, on: 1, off: 0 },
  { width: 2, on: 14, off: 7 },
  { width: 2.4, on: 3, off: 6 },
  { width: 3, on: 26, off: 6 },
  { width: 1.2, on: 7, off: 10 },
  { width: 3.4, on: 3, off: 14 },
  { width: 1.2, on: 20, off: 4 },
];

/**
 * WCAG 2 contrast ratio of two colours #rrggbb.
 * @param {string} a
 * @param {string} b
 */
export function contrast(a, b) {
  const la = luminance(a);
  const lb = luminance(b);
  return (Math.max(la, lb) + 0.05) / (Math.min(la, lb) + 0.05);
}

/** @param {string} colour */
function luminance(colour) {
  const channel = (/** @type {number} */ at) => {
    const v = parseInt(colour.slice(at, at + 2), 16) / 255;
    return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4;
  };
  return 0.2126 * channel(1) + 0.7152 * channel(3) + 0.0722 * channel(5);
}
