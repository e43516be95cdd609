// Writes a scene as SVG, for paper and files. Pure: a scene goes in, text comes out.

import { colourOf, DROP, hatching, SANS, SERIF, signPoints, walk } from "./scene.js";

/** @import {Item, Marks, Path, Pen, Scene, Trace, Words} from "./scene.js" */
/** @import {Palette} from "../theme.js" */

/** @param {string} words */
function escaped(words) {
  // XML 1.0 has no place for other control characters, not even escaped.
  return words.replace(/[\u0000-\u0008\u000b\u000c\u000e-\u001f\ufffe\uffff]/g, "").replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;").replace(/"/g, "&quot;");
}

/** @param {number} v */
function short(v) {
  return String(Math.round(v * 100) / 100);
}

/** @param {number[]} numbers */
function list(numbers) {
  return numbers.map(short).join(" ");
}

/** A pen that writes a path's data. @implements {Pen} */
class Writer {
  /** @type {string[]} */
  out = [];
  /** @param {number} x @param {number} y */
  moveTo(x, y) {
    this.out.push(`M${short(x)} ${short(y)}`);
  }

  /** @param {number} x @param {number} y */
  lineTo(x, y) {
    this.out.push(`L${short(x)} ${short(y)}`);
  }
}

/**
 * The data of a trace's path: a point for each sample, two for each column.
 * @param {Trace} t
 */
export function traceData(t) {
  const w = new Writer();
  walk(t, w);
  return w.out.join("");
}

/** @param {Path} p */
function pathData(p) {
  const w = new Writer();
  let pen = false;
  for (let i = 0; i < p.x.length; i++) {
    const there = Number.isFinite(p.x[i]) && Number.isFinite(p.y[i]);
    if (there && pen) w.lineTo(p.x[i], p.y[i]);
    else if (there) w.moveTo(p.x[i], p.y[i]);
    pen = there;
  }
  return w.out.join("");
}

/** @param {Marks} m */
function marksData(m) {
  const out = [];
  const r = short(m.size);
  for (let i = 0; i < m.at.length; i += 2) {
    const [x, y] = [m.at[i], m.at[i + 1]];
    if (m.mark === "dot" || m.mark === "ring") out.push(`M${short(x - m.size)} ${short(y)}a${r} ${r} 0 1 0 ${short(2 * m.size)} 0a${r} ${r} 0 1 0 ${short(-2 * m.size)} 0z`);
    for (const p of signPoints(m.mark, x, y, m.size)) out.push(`M${list(p)}`);
  }
  return out.join("");
}

/**
 * @param {Words} w
 * @param {Palette} palette
 */
function text(w, palette) {
  const anchor = w.align === "right" ? "end" : w.align === "center" ? "middle" : "start";
  const halo = w.halo ? ` stroke="${palette.paper}" stroke-width="5" stroke-linejoin="round" paint-order="stroke"` : "";
  const face = (w.italic ? SERIF : SANS).replaceAll('"', "'");
  return `<text x="${short(w.x)}" y="${short(w.y + DROP * w.size)}" fill="${colourOf(palette, w.colour)}"${halo} text-anchor="${anchor}" font-family="${face}" font-size="${short(w.size)}"${w.italic ? ' font-style="italic"' : ""}>${escaped(w.text)}</text>`;
}

/**
 * @param {string} data
 * @param {string} colour
 * @param {{width?: number, dash?: number[]}} look
 * @param {string} [more] attributes
 */
function stroke(data, colour, look, more = "") {
  return `<path d="${data}" fill="none" stroke="${colour}" stroke-width="${short(look.width ?? 1)}"${look.dash?.length ? ` stroke-dasharray="${list(look.dash)}"` : ""}${more}/>`;
}

/**
 * @param {Item} item
 * @param {Palette} palette
 * @returns {string}
 */
function element(item, palette) {
  if (item.kind === "clip") {
    const box = list([item.x, item.y, item.width, item.height]);
    return `<svg x="${short(item.x)}" y="${short(item.y + (item.down ?? 0))}" width="${short(item.width)}" height="${short(item.height)}" viewBox="${box}">\n${elements(item.items, palette)}\n</svg>`;
  }
  const colour = colourOf(palette, item.colour);
  switch (item.kind) {
    case "trace":
      return stroke(traceData(item), colour, { width: item.width, dash: item.off ? [item.on ?? 1, item.off] : [] }, ` stroke-linejoin="round"${item.off ? "" : ' stroke-linecap="round"'} class="trace"`);
    case "words":
      return text(item, palette);
    case "lines": {
      let data = "";
      for (let i = 0; i < item.at.length; i += 4) data += `M${list(item.at.slice(i, i + 2))}L${list(item.at.slice(i + 2, i + 4))}`;
      return stroke(data, colour, item);
    }
    case "box": {
      const rect = `<rect x="${short(item.x)}" y="${short(item.y)}" width="${short(item.width)}" height="${short(item.height)}" fill="${colour}"${item.alpha ? ` fill-opacity="${item.alpha}"` : ""}/>`;
      if (!item.hatch) return rect;
      const { x, y, width, height } = item;
      return rect + element({ kind: "clip", x, y, width, height, items: [{ kind: "lines", at: hatching(item), colour: item.hatch }] }, palette);
    }
    case "path":
      if (item.fill) return `<path d="${pathData(item)}z" fill="${colour}" fill-opacity="${item.alpha ?? 1}"/>`;
      return stroke(pathData(item), colour, item, ' stroke-linejoin="round" class="curve"');
    default:
      return `<path d="${marksData(item)}" fill="${item.fill ? colourOf(palette, item.fill) : "none"}" stroke="${item.fill === item.colour ? "none" : colour}" stroke-width="${short(item.width ?? 1)}"/>`;
  }
}

/**
 * @param {Item[]} items
 * @param {Palette} palette
 */
function elements(items, palette) {
  return items.map((i) => element(i, palette)).join("\n");
}

/**
 * The whole drawing. With mmPerPx it has its true length on paper.
 * @param {Scene} scene
 * @param {Palette} palette
 * @param {{title: string, mmPerPx?: number}} options
 * @returns {string}
 */
export function svgOf(scene, palette, options) {
  const { width, height } = scene;
  const size = (/** @type {number} */ px) => (options.mmPerPx ? `${short(px * options.mmPerPx)}mm` : short(px));
  return `<svg xmlns="http://www.w3.org/2000/svg" width="${size(width)}" height="${size(height)}" viewBox="0 0 ${short(width)} ${short(height)}">
<title>${escaped(options.title)}</title>
<rect width="${short(width)}" height="${short(height)}" fill="${palette.paper}"/>
${elements(scene.items, palette)}
</svg>`;
}
