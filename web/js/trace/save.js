// Save what is seen: a picture (PNG), a drawing (SVG) or numbers (CSV); or print it true to scale.

import { button, dialog, h, setText } from "../dom.js";
import { paint } from "../scene/canvas.js";
import { paperPalette } from "../scene/picture.js";
import { framed } from "../scene/scene.js";
import { svgOf } from "../scene/svg.js";
import { csvOf } from "./csv.js";
import { AID } from "../words.js";
import { traceSaveWords as W } from "../words.js";

/** @import {TracePanel} from "./trace.js" */

/** A picture has so many dots for each of the page's. */
const SHARP = 2;

export class SaveDialog {
  /**
   * @param {TracePanel} trace
   * @param {{source: () => string, began: () => string, announce: (text: string) => void}} options began: wall clock of index 0
   */
  constructor(trace, options) {
    this.trace = trace;
    this.options = options;
    this.what = h("p", { class: "hint", "data-testid": "save-what" });
    this.error = h("p", { class: "error", role: "alert" });
    const choice = (/** @type {string} */ id, /** @type {string} */ name, /** @type {string} */ text, /** @type {() => void} */ run) => {
      const b = button(id, "", run, { class: "choice" });
      b.append(h("b", {}, name), h("span", {}, text));
      return b;
    };
    this.dialog = dialog("save-dialog", W.saveThisView, this.what, this.error, h("div", { class: "choice-list" },
      choice("save-png", W.picturePNG, W.forAMessageOrA, () => this.#picture()),
      choice("save-svg", W.drawingSVG, W.sharpAtAnySizeWith, () => this.#drawing()),
      choice("save-csv", W.numbersCSV, W.theSamplesOfEachTrace, () => this.#numbers()),
      choice("save-true", W.printTrue, W.secondsAre25, () => this.#print())));
  }

  show() {
    if (this.dialog.open) return;
    setText(this.error, "");
    const ready = this.trace.rings !== null && this.trace.lanes.length > 0;
    // Nothing moves while somebody chooses.
    if (ready && !this.trace.view.held) {
      this.trace.toggleFreeze();
      this.thaw = true;
    }
    setText(this.what, ready ? W.sAcross(this.trace.lanes.length === 1 ? W.oneTrace : this.trace.lanes.length + " traces", Number(this.trace.view.secondsAcross.toPrecision(3))) : W.thereIsNoTraceYet);
    for (const b of this.dialog.querySelectorAll(".choice")) if (b instanceof HTMLButtonElement) b.disabled = !ready;
    this.dialog.showModal();
    this.dialog.addEventListener("close", () => {
      if (this.thaw) this.trace.live();
      this.thaw = false;
    }, { once: true });
  }

  /** What is seen, with a heading. */
  #seen() {
    const { view, paper, mm } = this.trace;
    const began = Date.parse(this.options.began());
    const from = Math.max(0, view.end - view.samplesAcross) / view.rateHz;
    const when = Number.isFinite(began) ? new Date(began + from * 1000) : new Date();
    const title = this.options.source();
    const subtitle = `${when.toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "medium" })}${paper.on ? `, ${mm.text()}` : ""}`;
    const scene = this.trace.seenScene();
    return { title, subtitle, when, scene: scene && framed(scene, { title, subtitle, foot: AID }) };
  }

  #drawing() {
    const { scene, title, when } = this.#seen();
    if (scene) this.#give(new Blob([svgOf(scene, paperPalette(), { title, mmPerPx: this.trace.paper.on ? this.trace.mm.perCss : 0 })], { type: "image/svg+xml" }), when, "svg");
  }

  /** To scale, whatever the screen is; app.js ends it after printing. */
  #print() {
    this.dialog.close();
    this.trace.printTrue = true;
    window.print();
  }

  #numbers() {
    const { rings, view, lanes, beats, channels } = this.trace;
    if (!rings) return;
    const { title, subtitle, when } = this.#seen();
    const text = csvOf({
      from: Math.max(0, Math.ceil(view.indexAt(0))), to: Math.floor(view.end) + 1, rateHz: view.rateHz, title: `${title}, ${subtitle}`,
      lanes: lanes.map((l) => ({ name: this.trace.laneName(l), unit: l.unit, channel: l.probe.channel, point: l.probe.point })),
      beats: channels.map((c, i) => ({ name: c.label, samples: (beats[i]?.beats ?? []).map((b) => b.sample) })),
    }, rings);
    this.#give(new Blob([text], { type: "text/csv" }), when, "csv");
  }

  async #picture() {
    const { scene, when } = this.#seen();
    const canvas = h("canvas", { width: (scene?.width ?? 0) * SHARP, height: (scene?.height ?? 0) * SHARP });
    const ctx = canvas.getContext("2d");
    if (!scene || !ctx) return;
    const palette = paperPalette();
    ctx.fillStyle = palette.paper;
    ctx.fillRect(0, 0, canvas.width, canvas.height);
    paint(ctx, scene.items, palette, { ratio: SHARP });
    const blob = await new Promise((/** @type {(b: Blob|null) => void} */ done) => canvas.toBlob(done, "image/png"));
    if (blob) this.#give(blob, when, "png");
    else setText(this.error, W.thisBrowserCouldNotMake);
  }

  /**
   * @param {Blob} blob
   * @param {Date} when
   * @param {string} ending
   */
  #give(blob, when, ending) {
    const two = (/** @type {number} */ n) => String(n).padStart(2, "0");
    const stamp = `${when.getFullYear()}-${two(when.getMonth() + 1)}-${two(when.getDate())}_${two(when.getHours())}${two(when.getMinutes())}${two(when.getSeconds())}`;
    const address = URL.createObjectURL(blob);
    h("a", { href: address, download: `trace_${stamp}.${ending}` }).click();
    window.setTimeout(() => URL.revokeObjectURL(address), 10000);
    this.dialog.close();
    this.options.announce(W.savedAsTrace(stamp, ending));
  }
}
