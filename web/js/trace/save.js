// Save what is seen: a picture (PNG), a drawing (SVG) or numbers (CSV).

import { button, dialog, h, setText } from "../dom.js";
import { csvOf, svgOf } from "./export.js";
import { sceneOf } from "./scene.js";
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
      choice("save-csv", W.numbersCSV, W.theSamplesOfEachTrace, () => this.#numbers())));
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

  #scene() {
    const { view } = this.trace;
    const began = Date.parse(this.options.began());
    const from = Math.max(0, view.end - view.samplesAcross) / view.rateHz;
    const when = Number.isFinite(began) ? new Date(began + from * 1000) : new Date();
    return { scene: sceneOf(this.trace, this.options.source(), `${when.toLocaleString("en-GB", { dateStyle: "medium", timeStyle: "medium" })}${this.trace.paper.on ? `, ${this.trace.paperText()}` : ""}`), when };
  }

  #drawing() {
    const { rings } = this.trace;
    if (!rings) return;
    const { scene, when } = this.#scene();
    this.#give(new Blob([svgOf(scene, rings)], { type: "image/svg+xml" }), when, "svg");
  }

  #numbers() {
    const { rings, view, lanes, beats, channels } = this.trace;
    if (!rings) return;
    const { scene, when } = this.#scene();
    const text = csvOf({
      from: scene.from, to: scene.to, rateHz: view.rateHz, title: `${scene.title}, ${scene.subtitle}`,
      lanes: lanes.map((l) => ({ name: this.trace.laneName(l), unit: l.unit, channel: l.probe.channel, point: l.probe.point })),
      beats: channels.map((c, i) => ({ name: c.label, samples: (beats[i]?.beats ?? []).map((b) => b.sample) })),
    }, rings);
    this.#give(new Blob([text], { type: "text/csv" }), when, "csv");
  }

  async #picture() {
    const { rings } = this.trace;
    if (!rings) return;
    const { scene, when } = this.#scene();
    const address = URL.createObjectURL(new Blob([svgOf({ ...scene, mmPerPx: 0 }, rings)], { type: "image/svg+xml" }));
    try {
      const image = new Image();
      image.src = address;
      await image.decode();
      const canvas = h("canvas", { width: image.naturalWidth * SHARP, height: image.naturalHeight * SHARP });
      const ctx = canvas.getContext("2d");
      if (!ctx) throw new Error(W.noCanvas);
      ctx.drawImage(image, 0, 0, canvas.width, canvas.height);
      const blob = await new Promise((/** @type {(b: Blob|null) => void} */ done) => canvas.toBlob(done, "image/png"));
      if (!blob) throw new Error(W.noPicture);
      this.#give(blob, when, "png");
    } catch {
      setText(this.error, W.thisBrowserCouldNotMake);
    } finally {
      URL.revokeObjectURL(address);
    }
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
