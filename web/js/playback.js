// Controls of a replayed recording: pause, speed, position, loop.

import { api } from "./api.js";
import { button, h, select, setText } from "./dom.js";
import { clockTime } from "./format.js";
import { SPEEDS } from "./review/library.js";
import { playbackWords as W } from "./words.js";

/** @import {ServerState} from "./types.js" */

/** The last samples may come in one block with others. */
const END_SECONDS = 0.1;

export class PlaybackPanel {
  /**
   * @param {HTMLElement} root
   * @param {{problem: (text: string) => void}} options
   */
  constructor(root, options) {
    this.root = root;
    this.options = options;
    this.play = button("playback-pause", W.pause, () => this.#send({ speed: this.speed > 0 ? 0 : this.resume }));
    this.slider = h("input", { type: "range", min: "0", max: "1", step: "1", id: "playback-position", "data-testid": "playback-position", "aria-label": W.positionInTheRecording });
    this.time = h("span", { class: "playback-time", "data-testid": "playback-time" });
    this.speeds = select("playback-speed", SPEEDS.map((n) => [String(n), `${n}×`]), (v) => this.#send({ speed: Number(v) }), { "aria-label": W.speed });
    this.loop = h("input", { type: "checkbox", id: "playback-loop", "data-testid": "playback-loop" });
    this.loop.addEventListener("change", () => this.#send({ loop: this.loop.checked }));
    this.slider.addEventListener("input", () => {
      this.dragging = true;
      this.#showTime(Number(this.slider.value));
    });
    this.slider.addEventListener("change", () => {
      this.dragging = false;
      this.#send({ position: Number(this.slider.value) });
    });
    this.speeds.value = "1";
    this.skip = h("input", { type: "checkbox", id: "playback-skip", "data-testid": "playback-skip" });
    this.skip.addEventListener("change", () => this.#send({ skipGaps: this.skip.checked }));
    this.skipLabel = h("label", { class: "check", hidden: true }, this.skip, h("span", {}, W.skipGaps));
    root.append(h("span", { class: "margin-word" }, "replay"), this.play, this.slider, this.time, this.speeds, h("label", { class: "check" }, this.loop, h("span", {}, "loop")), this.skipLabel);
    root.hidden = true;
    this.speed = 1;
    this.resume = 1;
    this.dragging = false;
    /** Nothing more comes until it is sought. */
    this.atEnd = false;
    this.position = 0;
    this.length = 1;
    this.baseIndex = 0;
    this.rateHz = 1;
    this.decimation = 1;
    /** @type {unknown} */
    this.last = null;
  }

  /** @param {{position?: number, speed?: number, loop?: boolean, skipGaps?: boolean}} what */
  async #send(what) {
    try {
      await api.playback(what);
      this.options.problem("");
    } catch (e) {
      this.options.problem(e instanceof Error ? e.message : String(e));
    }
  }

  /**
   * @param {ServerState|null} server
   * @param {boolean} owner
   */
  update(server, owner) {
    const p = server?.playback;
    this.root.hidden = !p;
    if (!p) this.atEnd = false;
    if (!p || !server) return;
    if (server.playback !== this.last) {
      this.last = server.playback;
      this.position = p.position;
      this.baseIndex = -1; // the newest sample at the next tick
    }
    this.length = p.length;
    this.speed = p.speed;
    if (p.speed > 0) this.resume = p.speed;
    this.rateHz = server.sourceRateHz || server.rateHz;
    this.decimation = Math.max(1, server.decimation || 1);
    this.loop.checked = p.loop;
    this.skip.checked = p.skipGaps;
    this.skipLabel.hidden = !(p.gaps > 0);
    setText(this.play, p.speed > 0 ? W.pause : W.play);
    if (p.speed > 0) {
      const text = String(p.speed);
      if (![...this.speeds.options].some((o) => o.value === text)) this.speeds.append(h("option", { value: text }, `${text}×`));
      this.speeds.value = text;
    }
    this.slider.max = String(Math.max(1, p.length));
    for (const e of [this.play, this.slider, this.speeds, this.loop, this.skip]) e.disabled = !owner;
  }

  /** @param {number} newest session index of the newest sample */
  tick(newest) {
    if (this.root.hidden || this.dragging) return;
    if (this.baseIndex < 0) this.baseIndex = newest;
    let at = this.position + Math.max(0, newest - this.baseIndex) * this.decimation;
    if (at > this.length) at = this.loop.checked ? at % Math.max(1, this.length) : this.length;
    this.slider.value = String(Math.round(at));
    this.atEnd = !this.loop.checked && at >= this.length - END_SECONDS * this.rateHz;
    this.#showTime(at);
  }

  /** @param {number} at samples of the recording */
  #showTime(at) {
    const text = `${clockTime(at / this.rateHz)} of ${clockTime(this.length / this.rateHz)}${this.atEnd ? W.atItsEnd : ""}`;
    setText(this.time, text);
    this.slider.setAttribute("aria-valuetext", text);
  }

  destroy() {
    this.root.replaceChildren();
  }
}
