// Paints a scene on a canvas.

import { colourOf, DROP, hatching, SANS, SERIF, signPoints, walk } from "./scene.js";

/** @import {Box, Item, Lines, Marks, Path, Words} from "./scene.js" */
/** @import {Palette} from "../theme.js" */

/** What the canvas has: to set it again costs as much as to paint. */
const has = { font: "", align: "", fill: "", stroke: "" };

function forget() {
  has.font = has.align = has.fill = has.stroke = "";
}

/** @param {CanvasRenderingContext2D} ctx @param {string} colour */
function fillWith(ctx, colour) {
  if (colour !== has.fill) ctx.fillStyle = has.fill = colour;
}

/** A stroke without length paints nothing. */
const STUB = 0.4;

/** Canvas pixels for one of the page's. */
export function pixelRatio() {
  return Math.min(2, window.devicePixelRatio || 1);
}

/**
 * Gives a canvas the pixels of a box.
 * @param {HTMLCanvasElement} canvas
 * @param {HTMLElement} room
 * @returns {boolean} false when there is no room to paint in
 */
export function fit(canvas, room) {
  const width = Math.round(room.clientWidth * pixelRatio());
  const height = Math.round(room.clientHeight * pixelRatio());
  if (width < 2 || height < 2) return false;
  if (canvas.width !== width) canvas.width = width;
  if (canvas.height !== height) canvas.height = height;
  return true;
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Item[]} items in CSS pixels
 * @param {Palette} palette
 * @param {{left?: number, ratio?: number}} [on] left: what lies there is at the canvas's left edge
 */
export function paint(ctx, items, palette, on = {}) {
  const { left = 0, ratio = pixelRatio() } = on;
  ctx.save();
  ctx.setTransform(ratio, 0, 0, ratio, -left * ratio, 0);
  ctx.lineJoin = "round";
  forget();
  paintAll(ctx, items, palette, ratio);
  ctx.restore();
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Item[]} items
 * @param {Palette} palette
 * @param {number} ratio
 */
function paintAll(ctx, items, palette, ratio) {
  for (const item of items) {
    if (item.kind === "clip") {
      ctx.save();
      ctx.translate(0, item.down ?? 0);
      ctx.beginPath();
      ctx.rect(item.x, item.y, item.width, item.height);
      ctx.clip();
      paintAll(ctx, item.items, palette, ratio);
      ctx.restore();
      forget();
      continue;
    }
    if ("at" in item && item.at.length === 0) continue;
    const colour = colourOf(palette, item.colour);
    if (item.kind === "words" || item.kind === "box") {
      fillWith(ctx, colour);
      if (item.kind === "words") words(ctx, item, palette);
      else box(ctx, item, palette, ratio);
      continue;
    }
    if (colour !== has.stroke) ctx.strokeStyle = has.stroke = colour;
    ctx.lineWidth = item.width ?? 1;
    if (item.kind === "trace") {
      ctx.beginPath();
      walk(item, ctx, STUB);
      ctx.stroke();
    } else if (item.kind === "lines") lines(ctx, item, ratio);
    else if (item.kind === "path") path(ctx, item, colour);
    else marks(ctx, item, palette);
  }
}

/**
 * Lines across and up lie on whole canvas pixels.
 * @param {CanvasRenderingContext2D} ctx
 * @param {Lines} item
 * @param {number} ratio
 */
function lines(ctx, item, ratio) {
  const thick = Math.max(1, Math.round(ctx.lineWidth * ratio));
  const half = (thick % 2) / 2;
  const snap = (/** @type {number} */ v) => (Math.round(v * ratio - half) + half) / ratio;
  ctx.lineWidth = thick / ratio;
  if (item.dash) ctx.setLineDash(item.dash);
  ctx.beginPath();
  const { at } = item;
  for (let i = 0; i < at.length; i += 4) {
    const up = at[i] === at[i + 2];
    const across = at[i + 1] === at[i + 3];
    ctx.moveTo(up ? snap(at[i]) : at[i], across ? snap(at[i + 1]) : at[i + 1]);
    ctx.lineTo(up ? snap(at[i]) : at[i + 2], across ? snap(at[i + 1]) : at[i + 3]);
  }
  ctx.stroke();
  if (item.dash) ctx.setLineDash([]);
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Box} item
 * @param {Palette} palette
 * @param {number} ratio
 */
function box(ctx, item, palette, ratio) {
  ctx.globalAlpha = item.alpha ?? 1;
  ctx.fillRect(item.x, item.y, item.width, item.height);
  ctx.globalAlpha = 1;
  if (!item.hatch) return;
  paintAll(ctx, [{ kind: "clip", x: item.x, y: item.y, width: item.width, height: item.height, items: [{ kind: "lines", at: hatching(item), colour: item.hatch }] }], palette, ratio);
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Path} item
 * @param {string} colour
 */
function path(ctx, item, colour) {
  if (item.dash) ctx.setLineDash(item.dash);
  ctx.globalAlpha = item.alpha ?? 1;
  ctx.beginPath();
  let pen = false;
  for (let i = 0; i < item.x.length; i++) {
    const x = item.x[i];
    const y = item.y[i];
    const there = x - x === 0 && y - y === 0;
    if (there) pen ? ctx.lineTo(x, y) : ctx.moveTo(x, y);
    pen = there;
  }
  if (item.fill) {
    fillWith(ctx, colour);
    ctx.fill();
  } else ctx.stroke();
  ctx.globalAlpha = 1;
  if (item.dash) ctx.setLineDash([]);
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Marks} item
 * @param {Palette} palette
 */
function marks(ctx, item, palette) {
  const { at, mark, size } = item;
  ctx.beginPath();
  for (let i = 0; i < at.length; i += 2) {
    if (mark === "dot" || mark === "ring") {
      ctx.moveTo(at[i] + size, at[i + 1]);
      ctx.arc(at[i], at[i + 1], size, 0, 2 * Math.PI);
    }
    for (const p of signPoints(mark, at[i], at[i + 1], size)) {
      ctx.moveTo(p[0], p[1]);
      for (let k = 2; k < p.length; k += 2) ctx.lineTo(p[k], p[k + 1]);
    }
  }
  if (item.fill) {
    fillWith(ctx, colourOf(palette, item.fill));
    ctx.fill();
  }
  if (item.fill !== item.colour) ctx.stroke();
}

/**
 * @param {CanvasRenderingContext2D} ctx
 * @param {Words} item
 * @param {Palette} palette
 */
function words(ctx, item, palette) {
  const font = `${item.italic ? "italic " : ""}${item.size}px ${item.italic ? SERIF : SANS}`;
  if (font !== has.font) ctx.font = has.font = font;
  const align = item.align ?? "left";
  if (align !== has.align) ctx.textAlign = has.align = align;
  const y = item.y + DROP * item.size;
  if (item.halo) {
    ctx.strokeStyle = has.stroke = palette.paper;
    ctx.lineWidth = 5;
    ctx.strokeText(item.text, item.x, y);
  }
  ctx.fillText(item.text, item.x, y, item.most);
}
