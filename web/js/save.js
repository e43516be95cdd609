// Save what is seen of a view: a picture (PNG), a drawing (SVG) or numbers (CSV); or print it true to scale.

import { button, byId, dialog, h, setText } from "./dom.js";
import { paint } from "./scene/canvas.js";
import { paperPalette, seenIn } from "./scene/picture.js";
import { framed, stacked } from "./scene/scene.js";
import { svgOf } from "./scene/svg.js";
import { AID } from "./words.js";
import { saveWords as W } from "./words.js";

/**
 * @typedef {object} Saving
 * @property {HTMLElement} root the pictures in it are saved
 * @property {string} name of the file, before the time
 * @property {string} title
 * @property {string} subtitle
 * @property {string} [what] said above the choices
 * @property {Date} [when] now, if not told
 * @property {(heading: string) => string} [numbers] else those of its charts
 * @property {number} [mmPerPx] of its true length
 * @property {() => void} [print] before it is printed true to scale
 * @property {() => void} [closed]
 */

/** A picture has so many dots for each of the page's. */
const SHARP = 2;

class SaveDialog {
  constructor() {
    /** @type {Saving|null} */
    this.saving = null;
    this.what = h("p", { class: "hint", "data-testid": "save-what" });
    this.error = h("p", { class: "error", role: "alert" });
    const choice = (/** @type {string} */ id, /** @type {string} */ name, /** @type {string} */ text, /** @type {(s: Saving) => unknown} */ run) => {
      const b = button(id, "", () => this.saving && run(this.saving), { class: "choice" });
      b.append(h("b", {}, name), h("span", {}, text));
      return b;
    };
    this.print = choice("save-true", W.printTrue, W.secondsAre25, (s) => this.#print(s));
    this.choices = [
      choice("save-png", W.picturePNG, W.forAMessageOrA, (s) => this.#picture(s)),
      choice("save-svg", W.drawingSVG, W.sharpAtAnySizeWith, (s) => this.#give(s, svgOf(this.#scene(s), paperPalette(), s), "svg", "image/svg+xml")),
      choice("save-csv", W.numbersCSV, W.theNumbersDrawn, (s) => this.#give(s, numbersOf(s), "csv", "text/csv")),
      this.print,
    ];
    this.dialog = dialog("save-dialog", W.saveThisView, this.what, this.error, h("div", { class: "choice-list" }, this.choices));
    this.dialog.addEventListener("close", () => this.saving?.closed?.());
  }

  /** @param {Saving} s */
  show(s) {
    if (this.dialog.open) return;
    this.saving = s;
    const ready = seenIn(s.root).length > 0;
    setText(this.error, "");
    setText(this.what, ready ? s.what ?? "" : W.thereIsNothingDrawn);
    for (const b of this.choices) b.disabled = !ready;
    this.print.hidden = !s.print;
    this.dialog.showModal();
  }

  /** @param {Saving} s */
  #scene(s) {
    return framed(stacked(seenIn(s.root).map((p) => p.scene)), { title: s.title, subtitle: s.subtitle, foot: AID });
  }

  /** @param {Saving} s */
  #print(s) {
    this.dialog.close();
    s.print?.();
    window.print();
  }

  /** @param {Saving} s */
  async #picture(s) {
    const scene = this.#scene(s);
    const canvas = h("canvas", { width: scene.width * SHARP, height: scene.height * SHARP });
    const ctx = canvas.getContext("2d");
    if (!ctx) return;
    const palette = paperPalette();
    ctx.fillStyle = palette.paper;
    ctx.fillRect(0, 0, canvas.width, canvas.height);
    paint(ctx, scene.items, palette, { ratio: SHARP });
    const blob = await new Promise((/** @type {(b: Blob|null) => void} */ done) => canvas.toBlob(done, "image/png"));
    if (blob) this.#give(s, blob, "png", "image/png");
    else setText(this.error, W.thisBrowserCouldNotMake);
  }

  /**
   * @param {Saving} s
   * @param {BlobPart} content
   * @param {string} ending
   * @param {string} type
   */
  #give(s, content, ending, type) {
    const when = s.when ?? new Date();
    const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
    const stamp = `${when.getFullYear()}-${two(when.getMonth() + 1)}-${two(when.getDate())}_${two(when.getHours())}${two(when.getMinutes())}${two(when.getSeconds())}`;
    const address = URL.createObjectURL(new Blob([content], { type }));
    const file = `${s.name}_${stamp}.${ending}`;
    h("a", { href: address, download: file }).click();
    window.setTimeout(() => URL.revokeObjectURL(address), 10000);
    this.dialog.close();
    byId("live-region").textContent = W.savedAs(file);
  }
}

/** @param {Saving} s */
function numbersOf(s) {
  const heading = `${s.title}, ${s.subtitle}`;
  return s.numbers?.(heading) ?? [`# ${AID}`, `# ${heading}`, ...seenIn(s.root).map((p) => p.numbers)].join("\r\n") + "\r\n";
}

/** @type {SaveDialog|null} */
let one = null;

/** Offers what is seen of a view as a file. @param {Saving} saving */
export function save(saving) {
  one ??= new SaveDialog();
  one.show(saving);
}
