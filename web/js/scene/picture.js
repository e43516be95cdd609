// Canvases and what they show: painted again when the colours change, and put on paper as SVG.

import { h } from "../dom.js";
import { LIGHT, LIGHT_STRONG, theme } from "../theme.js";
import { svgOf } from "./svg.js";

/** @import {Scene} from "./scene.js" */

/** `draw` paints it again; `paper` is the scene for a sheet of paper, null for none; `seen` and `numbers`, lines of CSV, are what can be saved. @typedef {{draw(): void, paper(): Scene|null, seen?(): Scene|null, numbers?(): string}} Picture */

/** A4 and Letter upright between margins of 12 mm, at 96 pixels an inch. */
export const PAPER_CSS = 700;

/** @type {WeakMap<Element, Picture>} */
const pictures = new WeakMap();

/**
 * @param {HTMLCanvasElement} canvas
 * @param {Picture} picture
 */
export function register(canvas, picture) {
  pictures.set(canvas, picture);
}

/** @param {ParentNode} [root] @returns {[HTMLCanvasElement, Picture][]} those in it */
function all(root = document) {
  return [...root.querySelectorAll("canvas")].flatMap((c) => {
    const p = pictures.get(c);
    return p ? [/** @type {[HTMLCanvasElement, Picture]} */ ([c, p])] : [];
  });
}

/** The colours changed. */
export function repaint() {
  for (const [, p] of all()) p.draw();
}

/** @param {HTMLCanvasElement} canvas */
function shows(canvas) {
  return canvas.clientWidth > 0 && canvas.clientHeight > 0;
}

/** What can be saved of a view. @param {HTMLElement} root */
export function seenIn(root) {
  return all(root).flatMap(([canvas, p]) => {
    const scene = shows(canvas) ? p.seen?.() : null;
    return scene ? [{ scene, numbers: p.numbers?.() ?? "" }] : [];
  });
}

/** Black on white, whatever the screen is. */
export function paperPalette() {
  return { ...(theme.strong ? LIGHT_STRONG : LIGHT), paper: "#ffffff" };
}

/** Lays each picture that is seen on paper, beside its canvas; print.css shows it there alone. */
export function toPaper() {
  fromPaper();
  for (const [canvas, p] of all()) {
    const scene = shows(canvas) ? p.paper() : null;
    if (!scene) continue;
    const svg = svgOf(scene, paperPalette(), { title: canvas.getAttribute("aria-label") ?? "" });
    canvas.after(h("div", { class: "on-paper" }, new DOMParser().parseFromString(svg, "image/svg+xml").documentElement));
    canvas.parentElement?.classList.add("has-paper");
  }
}

/**
 * Words in the foot of every printed page, until they are taken away: in its margin or, where the browser has no margin
 * boxes (CSS Paged Media), in the corner above it.
 * @param {string} text
 * @returns {() => void}
 */
export function pageFoot(text) {
  if (!("CSSMarginRule" in window)) {
    const foot = h("p", { class: "page-foot" }, text);
    document.documentElement.append(foot); // what hides parts of the page leaves it
    return () => foot.remove();
  }
  const sheet = new window.CSSStyleSheet();
  sheet.replaceSync(`@page { @bottom-center { content: ${JSON.stringify(text)}; font: 8pt sans-serif; color: #000000; } }`);
  document.adoptedStyleSheets = [...document.adoptedStyleSheets, sheet];
  return () => {
    document.adoptedStyleSheets = document.adoptedStyleSheets.filter((s) => s !== sheet);
  };
}

/** Takes them away again. */
export function fromPaper() {
  for (const e of document.querySelectorAll(".on-paper")) e.remove();
  for (const e of document.querySelectorAll(".has-paper")) e.classList.remove("has-paper");
}
