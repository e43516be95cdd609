// What is seen on the paper, as a drawing (SVG) or as numbers (CSV). Pure: a
// scene goes in, text comes out.

import { AID } from "../words.js";

/** @import {Rings} from "../rings.js" */
/** @import {Palette} from "../theme.js" */

/**
 * @typedef {object} SceneLane
 * @property {string} name
 * @property {string} unit
 * @property {number} channel
 * @property {number} point
 * @property {string} colour
 * @property {number} width of the line
 * @property {string} dashes "" for none
 * @property {number} top
 * @property {number} height
 * @property {number} low
 * @property {number} high
 * @property {{y: number, text: string}[]} ticks
 * @property {string} unitText
 * @property {{x: number, filled: boolean, text: string}[]} beats
 */
/**
 * All lengths in CSS pixels of the page; x of samples from indexAt 0 at `left`.
 * @typedef {object} Scene
 * @property {string} title
 * @property {string} subtitle
 * @property {number} width
 * @property {number} height of the sheet, without title
 * @property {number} left of the plot
 * @property {number} axis y of the time axis
 * @property {Palette} palette
 * @property {SceneLane[]} lanes
 * @property {boolean} overlaid
 * @property {{x: number, text: string}[]} times
 * @property {{x: number, strong: boolean}[]} verticals
 * @property {{y: number, strong: boolean}[]} horizontals
 * @property {{x1: number, x2: number, text: string}[]} gaps
 * @property {{x: number, text: string}[]} notes
 * @property {{a: number, b: number, text: string}|null} cursors
 * @property {number} from first sample shown
 * @property {number} to one past the last
 * @property {number} samplesPerPx
 * @property {(index: number) => number} xOf
 * @property {number} mmPerPx width and height in true millimetres; 0 leaves them pixels
 */

const TITLE = 44;
const FOOT = 18;
const SANS = "system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif";
const SERIF = "Georgia, 'DejaVu Serif', serif";

/** @param {string} text */
function escaped(text) {
  // XML 1.0 has no place for other control characters, not even escaped.
  return text.replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]/g, "").replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;").replace(/"/g, "&quot;");
}

/** @param {number} v */
function short(v) {
  return String(Math.round(v * 100) / 100);
}

/**
 * The path of one lane: every sample, or lowest and highest of each pixel when
 * several share one.
 * @param {Scene} s
 * @param {SceneLane} lane
 * @param {Rings} rings
 */
export function lanePath(s, lane, rings) {
  const ring = rings.ring(lane.channel, lane.point);
  const scale = lane.height / (lane.high - lane.low);
  const bottom = lane.top + lane.height;
  const y = (/** @type {number} */ v) => Math.min(bottom, Math.max(lane.top, bottom - (v - lane.low) * scale));
  const from = Math.max(rings.start, s.from);
  const to = Math.min(rings.end, s.to);
  /** @type {string[]} */
  const out = [];
  let pen = false;
  const at = (/** @type {number} */ x, /** @type {number} */ v) => {
    out.push(`${pen ? "L" : "M"}${short(x)} ${short(y(v))}`);
    pen = true;
  };
  if (s.samplesPerPx < 1.5) {
    for (let i = from; i < to; i++) {
      const v = ring[i % rings.capacity];
      if (Number.isNaN(v)) pen = false;
      else at(s.xOf(i), v);
    }
    return out.join("");
  }
  let last = NaN;
  for (let k = Math.floor(from / s.samplesPerPx); k * s.samplesPerPx < to; k++) {
    let low = Infinity;
    let high = -Infinity;
    const end = Math.min(to, Math.ceil((k + 1) * s.samplesPerPx));
    for (let i = Math.max(from, Math.ceil(k * s.samplesPerPx)); i < end; i++) {
      const v = ring[i % rings.capacity];
      if (v < low) low = v;
      if (v > high) high = v;
    }
    if (low > high) {
      pen = false;
      continue;
    }
    const x = s.xOf((k + 0.5) * s.samplesPerPx);
    const up = !(Math.abs(high - last) < Math.abs(low - last));
    at(x, up ? low : high);
    if (high !== low) at(x, up ? high : low);
    last = up ? high : low;
  }
  return out.join("");
}

/**
 * @param {Scene} s
 * @param {Rings} rings
 */
export function svgOf(s, rings) {
  const p = s.palette;
  const height = s.height + TITLE + FOOT;
  const size = s.mmPerPx > 0 ? [`${short(s.width * s.mmPerPx)}mm`, `${short(height * s.mmPerPx)}mm`] : [short(s.width), short(height)];
  /** @type {string[]} */
  const o = [];
  const line = (/** @type {number} */ x1, /** @type {number} */ y1, /** @type {number} */ x2, /** @type {number} */ y2, /** @type {string} */ colour, w = 1) =>
    o.push(`<line x1="${short(x1)}" y1="${short(y1)}" x2="${short(x2)}" y2="${short(y2)}" stroke="${colour}" stroke-width="${w}"/>`);
  const text = (/** @type {number} */ x, /** @type {number} */ y, /** @type {string} */ t, /** @type {string} */ colour, anchor = "start", font = `font-family="${SANS}" font-size="11.5"`) =>
    o.push(`<text x="${short(x)}" y="${short(y)}" fill="${colour}" text-anchor="${anchor}" ${font}>${escaped(t)}</text>`);
  o.push(`<svg xmlns="http://www.w3.org/2000/svg" width="${size[0]}" height="${size[1]}" viewBox="0 0 ${short(s.width)} ${short(height)}">`);
  o.push(`<title>${escaped(s.title)}</title>`);
  o.push(`<rect width="${short(s.width)}" height="${short(height)}" fill="${p.paper}"/>`);
  text(12, 19, s.title, p.ink, "start", `font-family="${SERIF}" font-size="15" font-style="italic"`);
  text(12, 36, s.subtitle, p.faint);
  o.push(`<g transform="translate(0 ${TITLE})">`);
  for (const h of s.horizontals) line(s.left, h.y, s.width, h.y, h.strong ? p.gridStrong : p.grid, 0.8);
  for (const v of s.verticals) line(v.x, 0, v.x, s.axis, v.strong ? p.gridStrong : p.grid, 0.8);
  for (const g of s.gaps) {
    o.push(`<rect x="${short(g.x1)}" y="0" width="${short(Math.max(1, g.x2 - g.x1))}" height="${short(s.axis)}" fill="${p.gap}"/>`);
    text(Math.max(s.left, g.x1) + 5, s.axis - 9, g.text, p.ink, "start", `font-family="${SERIF}" font-size="12" font-style="italic"`);
  }
  line(s.left, s.axis, s.width, s.axis, p.gridStrong);
  line(s.left, 0, s.left, s.height, p.margin);
  for (const t of s.times) text(t.x, s.axis + 17, t.text, p.faint, "middle");
  let labelX = s.left + 8;
  s.lanes.forEach((lane, i) => {
    if (!s.overlaid || i === 0) {
      for (const t of lane.ticks) text(s.left - 8, Math.min(t.y + 4, lane.top + lane.height - 2), t.text, p.faint, "end");
      text(s.left - 8, lane.top - 8, lane.unitText, p.faint, "end", `font-family="${SERIF}" font-size="11.5" font-style="italic"`);
      if (i > 0) line(s.left, lane.top - 24, s.width, lane.top - 24, p.gridStrong);
    }
    o.push(`<path d="${lanePath(s, lane, rings)}" fill="none" stroke="${lane.colour}" stroke-width="${lane.width}" stroke-linejoin="round"${lane.dashes ? ` stroke-dasharray="${lane.dashes}"` : ""}/>`);
    const y = s.overlaid ? 14 : lane.top - 9;
    o.push(`<line x1="${short(labelX)}" y1="${short(y - 4)}" x2="${short(labelX + 22)}" y2="${short(y - 4)}" stroke="${lane.colour}" stroke-width="${lane.width}"${lane.dashes ? ` stroke-dasharray="${lane.dashes}"` : ""}/>`);
    text(labelX + 28, y, lane.name, p.ink);
    if (s.overlaid) labelX += 48 + lane.name.length * 7;
    for (const b of lane.beats) {
      o.push(`<path d="M${short(b.x - 3.5)} ${short(lane.top)}h7l-3.5 6z" fill="${b.filled ? p.mark : "none"}" stroke="${p.mark}"/>`);
      if (b.text) text(b.x, lane.top - 5, b.text, p.faint, "middle", `font-family="${SANS}" font-size="10.5"`);
    }
  });
  for (const n of s.notes) {
    line(n.x, 0, n.x, s.axis, p.margin);
    text(n.x + 5, s.axis - 29, n.text, p.ink, "start", `font-family="${SERIF}" font-size="12.5" font-style="italic"`);
  }
  if (s.cursors) {
    line(s.cursors.a, 0, s.cursors.a, s.axis, p.mark);
    line(s.cursors.b, 0, s.cursors.b, s.axis, p.mark);
    text(s.width - 10, s.axis - 9, s.cursors.text, p.ink, "end");
  }
  o.push("</g>");
  text(12, height - 6, AID, p.faint, "start", `font-family="${SANS}" font-size="11"`);
  o.push("</svg>");
  return o.join("\n");
}

/** @param {string} name */
function quoted(name) {
  return /[",\r\n]|^[# ]|^$/.test(name) ? `"${name.replace(/"/g, '""')}"` : name;
}

/**
 * Rows of the samples in [from, to): time since the first in seconds, then one
 * column a trace. Samples without a value are empty; rows without any are left
 * out. Beats and the first sample's place stand in comments in front.
 * @param {{from: number, to: number, rateHz: number, lanes: {name: string, unit: string, channel: number, point: number}[], beats: {name: string, samples: number[]}[], title: string}} s
 * @param {Rings} rings
 */
export function csvOf(s, rings) {
  const from = Math.max(rings.start, s.from);
  const to = Math.min(rings.end, s.to);
  const digits = Math.max(6, Math.ceil(Math.log10(s.rateHz)) + 3);
  const seconds = (/** @type {number} */ i) => ((i - from) / s.rateHz).toFixed(digits);
  const rows = [`# ${AID}`, `# ${s.title.replace(/[\r\n]+/g, " ")}`, `# rate ${Number(s.rateHz.toPrecision(10))} Hz`, `# first sample ${from}`];
  for (const b of s.beats) {
    const inside = b.samples.filter((i) => i >= from && i < to);
    if (inside.length > 0) rows.push(`# beats of ${b.name.replace(/[\r\n]+/g, " ")}, s: ${inside.map(seconds).join(" ")}`);
  }
  rows.push(["time_s", ...s.lanes.map((l) => quoted(l.name + (l.unit ? ` [${l.unit}]` : "")))].join(","));
  const columns = s.lanes.map((l) => rings.ring(l.channel, l.point));
  for (let i = from; i < to; i++) {
    const values = columns.map((c) => c[i % rings.capacity]);
    if (values.every((v) => Number.isNaN(v))) continue;
    // A float32 is told by nine digits (IEEE 754).
    rows.push([seconds(i), ...values.map((v) => (Number.isNaN(v) ? "" : String(Number(v.toPrecision(9)))))].join(","));
  }
  return rows.join("\r\n") + "\r\n";
}
