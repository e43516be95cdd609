// A picture as plain data: what lies where, in CSS pixels, with colours by their role in the
// palette. canvas.js paints a scene on the screen, svg.js for paper and files. No DOM.

/** @import {Palette} from "../theme.js" */

/** A role of the palette ("ink", "grid", "trace3", "other0" …) or a CSS colour. @typedef {string} Colour */
/** A filled rectangle; `hatch`: thin slanted lines over it. @typedef {{kind: "box", x: number, y: number, width: number, height: number, colour: Colour, alpha?: number, hatch?: Colour}} Box */
/** Straight lines, x1, y1, x2, y2 of each. @typedef {{kind: "lines", at: number[], colour: Colour, width?: number, dash?: number[]}} Lines */
/** A line from point to point, broken where one is not finite; `fill`: the area it closes instead. @typedef {{kind: "path", x: ArrayLike<number>, y: ArrayLike<number>, colour: Colour, width?: number, dash?: number[], fill?: boolean, alpha?: number}} Path */
/**
 * Values at equal distances: value k, of [from, to), stands at k modulo `size`, its place is
 * x0 + k·dx and bottom − (value − base)·scale, held between top and bottom. `low` and `high` are
 * one array for samples; two for columns of lowest and highest. `on` and `off` pixels are drawn
 * and left out, counted from k = 0, so that the pattern travels with the paper.
 * @typedef {object} Trace
 * @property {"trace"} kind
 * @property {ArrayLike<number>} low
 * @property {ArrayLike<number>} high
 * @property {number} size
 * @property {number} from
 * @property {number} to
 * @property {number} x0
 * @property {number} dx
 * @property {number} top
 * @property {number} bottom
 * @property {number} base
 * @property {number} scale
 * @property {Colour} colour
 * @property {number} width
 * @property {number} [on]
 * @property {number} [off]
 */
/** "down" points down from its point, the others lie about it. @typedef {"dot"|"ring"|"triangle"|"cross"|"square"|"down"} Mark */
/** One sign at x, y of each point; filled when it has a `fill`. @typedef {{kind: "marks", mark: Mark, at: number[], size: number, colour: Colour, width?: number, fill?: Colour}} Marks */
/** y is the middle of the letters; `halo`: a rim of the ground, to be read over a trace. @typedef {{kind: "words", x: number, y: number, text: string, colour: Colour, size: number, align?: "left"|"center"|"right", italic?: boolean, halo?: boolean, most?: number}} Words */
/** What lies outside of the rectangle is not seen; all of it is moved `down` so far. @typedef {{kind: "clip", x: number, y: number, width: number, height: number, items: Item[], down?: number}} Clip */
/** @typedef {Box|Lines|Path|Trace|Marks|Words|Clip} Item */
/** In the order of painting. @typedef {{width: number, height: number, items: Item[]}} Scene */
/** @typedef {{moveTo(x: number, y: number): void, lineTo(x: number, y: number): void}} Pen */

export const SANS = 'system-ui, "Segoe UI", "Helvetica Neue", "DejaVu Sans", sans-serif';
export const SERIF = '"Iowan Old Style", "Palatino Linotype", Palatino, Georgia, "DejaVu Serif", serif';
/** From the middle of the letters to the line they stand on, of their size. */
export const DROP = 0.35;
export const HATCH_CSS = 8;
const HEADING = 44;
const FOOT = 18;
/** Samples so far apart are shown as dots too. */
const DOT_SPACING_CSS = 9;

/**
 * @param {Palette} palette
 * @param {Colour} role
 * @returns {string}
 */
export function colourOf(palette, role) {
  const own = palette[/** @type {"ink"} */ (role)];
  if (own) return own;
  if (role.startsWith("trace")) return palette.traces[Number(role[5])];
  return role.startsWith("other") ? palette.others[Number(role[5])] : role;
}

/**
 * One below the other.
 * @param {Scene[]} scenes
 * @returns {Scene}
 */
export function stacked(scenes) {
  let down = 0;
  /** @type {Item[]} */
  const items = [];
  for (const { width, height, items: own } of scenes) {
    items.push({ kind: "clip", x: 0, y: 0, width, height, items: own, down });
    down += height;
  }
  return { width: Math.max(0, ...scenes.map((s) => s.width)), height: down, items };
}

/**
 * With a heading above and a line below, for a file.
 * @param {Scene} scene
 * @param {{title: string, subtitle: string, foot: string}} words
 * @returns {Scene}
 */
export function framed(scene, words) {
  const { width, height } = scene;
  const bottom = HEADING + height;
  return { width, height: bottom + FOOT, items: [
    { kind: "words", x: 12, y: 15, text: words.title, colour: "ink", size: 15, italic: true },
    { kind: "words", x: 12, y: 33, text: words.subtitle, colour: "faint", size: 11.5 },
    { kind: "clip", x: 0, y: 0, width, height, items: scene.items, down: HEADING },
    { kind: "words", x: 12, y: bottom + 9, text: words.foot, colour: "faint", size: 11 },
  ] };
}

/**
 * About how wide words are; every face has its own measure.
 * @param {string} text
 * @param {number} size
 */
export function widthOf(text, size) {
  return text.length * size * 0.62;
}

/**
 * Draws a trace with a pen: from column to column at the nearer end.
 * @param {Trace} t
 * @param {Pen} pen
 * @param {number} stub so much longer is a column's beginning: a pen that paints no points needs it
 */
export function walk(t, pen, stub = 0) {
  const { low, high, size, from, to, x0, dx, top, bottom, base, scale } = t;
  // Of samples far apart whole ones are drawn and left out, at least a piece of line each.
  const wide = dx > 2;
  const on = wide && t.off ? Math.max(2, Math.round((t.on ?? 1) / dx)) : t.on ?? 1;
  const off = wide && t.off ? Math.max(2, Math.round(t.off / dx)) : t.off ?? 0;
  const period = stub > 0 ? on + off : on;
  let slot = from % size;
  let last = NaN;
  for (let k = from; k < to; k++) {
    const a = low[slot];
    const b = high[slot];
    if (++slot === size) slot = 0;
    if (!(a <= b) || (period > on && Math.floor(wide ? k : k * dx) % period >= on)) {
      last = NaN;
      continue;
    }
    const x = x0 + k * dx;
    let y1 = bottom - (a - base) * scale;
    let y2 = bottom - (b - base) * scale;
    if (y1 > bottom) y1 = bottom;
    else if (y1 < top) y1 = top;
    if (y2 < top) y2 = top;
    else if (y2 > bottom) y2 = bottom;
    if (last !== last) {
      pen.moveTo(x, y1 + stub);
      pen.lineTo(x, y2);
      last = y2;
    } else if (Math.abs(y1 - last) <= Math.abs(y2 - last)) {
      pen.lineTo(x, y1);
      if (y2 !== y1) pen.lineTo(x, y2);
      last = y2;
    } else {
      pen.lineTo(x, y2);
      pen.lineTo(x, y1);
      last = y1;
    }
  }
}

/**
 * The trace, with its samples as dots where they lie far apart.
 * @param {Trace} t
 * @returns {Item[]}
 */
export function withDots(t) {
  if (t.low !== t.high || t.dx < DOT_SPACING_CSS) return [t];
  /** @type {number[]} */
  const at = [];
  for (let k = t.from; k < t.to; k++) {
    const y = t.bottom - (t.low[k % t.size] - t.base) * t.scale;
    if (y >= t.top && y <= t.bottom) at.push(t.x0 + k * t.dx, y);
  }
  return [t, { kind: "marks", mark: "square", at, size: 1.25, colour: t.colour, fill: t.colour }];
}

/**
 * The slanted lines over a box, from its lower edge up.
 * @param {Box} b
 * @returns {number[]}
 */
export function hatching(b) {
  /** @type {number[]} */
  const at = [];
  for (let x = b.x - b.height; x < b.x + b.width; x += HATCH_CSS) at.push(x, b.y + b.height, x + b.height, b.y);
  return at;
}

/**
 * The points of a sign, closed, for a pen; none for what is round.
 * @param {Mark} mark
 * @param {number} x
 * @param {number} y
 * @param {number} r
 * @returns {number[][]} one list for each stroke
 */
export function signPoints(mark, x, y, r) {
  if (mark === "triangle") return [[x, y - 1.15 * r, x + r, y + 0.85 * r, x - r, y + 0.85 * r, x, y - 1.15 * r]];
  if (mark === "down") return [[x - r, y, x + r, y, x, y + 1.7 * r, x - r, y]];
  if (mark === "square") return [[x - r, y - r, x + r, y - r, x + r, y + r, x - r, y + r, x - r, y - r]];
  if (mark === "cross") return [[x - r, y - r, x + r, y + r], [x + r, y - r, x - r, y + r]];
  return [];
}
