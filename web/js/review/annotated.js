// Beats that somebody annotated in a recording, at the foot of each lane: a ring, with the letter of its
// type where it is not a normal one; what the score says of them while its panel is open.

import { firstFrom } from "./window.js";

/** @import {Sheet} from "./sheet.js" */
/** @import {Palette} from "../theme.js" */
/** @typedef {{sample: number, type: string}} Annotated */
/** What the score says: where annotated beats were missed, and found ones are not annotated. @typedef {{missed: number[], extra: number[], at: number}} Faults */

/** Rings nearer to each other are not drawn. */
const LEAST_APART_CSS = 5;

/**
 * @param {Sheet} sheet
 * @param {Palette} palette
 * @param {number} top of the lane, px
 * @param {number} bottom
 */
export function paintAnnotated(sheet, palette, top, bottom) {
  const { ctx, ratio, window: w, annotated, faults } = sheet;
  const a = firstFrom(annotated, Math.ceil(w.from));
  const b = firstFrom(annotated, w.to);
  if ((b - a) * LEAST_APART_CSS * ratio > sheet.widthPx) return;
  const y = bottom - 7 * ratio;
  const missed = new Set(faults?.missed ?? []);
  ctx.textAlign = "left";
  ctx.textBaseline = "middle";
  ctx.lineWidth = 1.4 * ratio;
  for (let i = a; i < b; i++) {
    const { sample, type } = annotated[i];
    const x = sheet.xPx(sample);
    if (x < sheet.leftPx) continue;
    ctx.strokeStyle = missed.has(sample) ? palette.traces[1] : palette.mark;
    ring(ctx, x, y, 3.5 * ratio);
    if (missed.has(sample)) line(ctx, x, top, x, y - 5 * ratio);
    ctx.fillStyle = palette.ink;
    if (type !== "N" && type !== "?") ctx.fillText(type, x + 6 * ratio, y);
  }
  ctx.strokeStyle = palette.traces[1];
  for (const sample of faults?.extra ?? []) {
    const x = sheet.xPx(sample);
    if (sample < w.from || sample >= w.to || x < sheet.leftPx) continue;
    line(ctx, x, top, x, y - 5 * ratio);
    line(ctx, x - 4 * ratio, y - 4 * ratio, x + 4 * ratio, y + 4 * ratio);
    line(ctx, x - 4 * ratio, y + 4 * ratio, x + 4 * ratio, y - 4 * ratio);
  }
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x @param {number} y @param {number} r */
function ring(ctx, x, y, r) {
  ctx.beginPath();
  ctx.arc(x, y, r, 0, 2 * Math.PI);
  ctx.stroke();
}

/** @param {CanvasRenderingContext2D} ctx @param {number} x1 @param {number} y1 @param {number} x2 @param {number} y2 */
function line(ctx, x1, y1, x2, y2) {
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.stroke();
}
