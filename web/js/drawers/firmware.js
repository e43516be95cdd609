// The Firmware drawer: the signal path, or a whole program around it, as C for the board's own
// processor; and what that program would make of the live signal.

import { request } from "../api.js";
import { fill, h, select, setText } from "../dom.js";
import { significant } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { firmware as words } from "../words.js";
import { drawerFirmwareWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PageState} from "../store.js" */

/** @typedef {{form: string, bits: number, signed: boolean, rateHz: number, rate: {hz: number, from: string, measuredHz: number, uncertaintyHz: number}, sections: number, fraction: number, cyclesAvr: number, stateBytes: number, errorDb: number, errorHz: number, noiseCounts: number, noiseOfBeat: number, constantBytes: number, code: string, file: string, cost: {cycles: number, flashBytes: number, ramBytes: number}|null, latencySeconds: number}} Firmware */
/** @typedef {{rateHz: number, first: number, filtered: number[], beats: number[], rateBpm: number|null, latencySeconds: number}} OnBoard */

const AVR_HZ = 16e6;
const SEEN_EVERY_MS = 500;
const SEEN_SECONDS = 8;
const SMOOTH = 3;

export class FirmwarePanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    /** @type {{form: string, bits: string, whole: string}} */
    this.choice = { form: "exact", bits: "", whole: "", ...prefs.get("firmware", {}) };
    this.asked = "";
    this.over = false;
    const keep = () => {
      prefs.set("firmware", this.choice);
      this.asked = "";
      this.changed(this.ctx.store.state);
    };
    const form = select("firmware-form", [["exact", W.exact64BitSums], ["small", W.small32BitSums]], (v) => {
      this.choice.form = v;
      keep();
    });
    form.value = this.choice.form;
    const bits = select("firmware-bits", [["", W.asTheBoardSays], ...[8, 10, 12, 16, 18, 24].map((n) => /** @type {[string, string]} */ ([String(n), W.bits(n)]))], (v) => {
      this.choice.bits = v;
      keep();
    });
    bits.value = this.choice.bits;
    const whole = select("firmware-whole", words.targets, (v) => {
      this.choice.whole = v;
      keep();
    });
    whole.value = this.choice.whole;
    this.facts = h("dl", { class: "facts", "data-testid": "firmware-facts" });
    this.problem = h("p", { class: "error", role: "status", "data-testid": "firmware-problem" });
    this.save = h("a", { class: "button", download: "pulsewright_path.h", "data-testid": "firmware-save" }, W.savePulsewrightPathH);
    this.code = h("pre", { class: "firmware-code", tabindex: "0", "aria-label": W.thePathAsC, "data-testid": "firmware-code" });
    this.steps = h("p", { class: "hint", "data-testid": "firmware-steps" });
    this.seenText = h("p", { class: "readout", role: "status", "data-testid": "firmware-seen" });
    this.seenRoot = h("div", { class: "chart firmware-seen" });
    this.seen = h("details", { class: "firmware-seen-all", "data-testid": "firmware-seen-all" },
      h("summary", {}, words.seen), h("p", { class: "hint" }, words.seenHint), this.seenText, this.seenRoot);
    /** @type {Plot|null} */
    this.plot = null;
    this.seen.addEventListener("toggle", () => void this.#look());
    this.timer = window.setInterval(() => void this.#look(), SEEN_EVERY_MS);
    this.all = h("div", {}, this.facts, h("p", { class: "row" }, this.save), this.steps, this.seen, this.code);
    root.append(
      h("p", { class: "hint" }, W.theSameFiltersInInteger),
      h("div", { class: "picks" },
        h("label", { class: "pick" }, h("span", {}, words.what), whole),
        h("label", { class: "pick" }, h("span", {}, W.arithmetic), form),
        h("label", { class: "pick" }, h("span", {}, W.converter), bits)),
      this.problem, this.all);
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const channel = this.ctx.channel();
    const path = state.server?.channels[channel]?.path;
    if (!path) return;
    const query = this.#query() + (this.choice.whole ? "&whole=" + this.choice.whole : "");
    const c = state.server?.channels[channel];
    const key = JSON.stringify([channel, path, c?.kind, c?.scale.invert, state.server?.rateHz, significant(state.server?.clock.uncertaintyHz ?? 0, 1), query]);
    if (key === this.asked) return;
    this.asked = key;
    void this.#ask(channel, query, key);
  }

  /**
   * @param {number} channel
   * @param {string} query
   * @param {string} key
   */
  async #ask(channel, query, key) {
    const where = /** @type {const} */ (`/channels/${channel}/path/firmware?${query}`);
    try {
      /** @type {Firmware} */
      const f = await request("GET", where);
      if (this.over || key !== this.asked) return;
      setText(this.problem, "");
      this.all.hidden = false;
      this.save.setAttribute("href", `/api/v1${where}&download=1`);
      setText(this.code, f.code);
      this.save.setAttribute("download", f.file);
      setText(this.save, W.save(f.file));
      setText(this.steps, f.cost ? words.steps[/** @type {"ino"|"avr"|"c"} */ (this.choice.whole)] : "");
      const cycles = f.cost ? f.cost.cycles : f.cyclesAvr;
      const share = (100 * cycles * f.rateHz) / AVR_HZ;
      const rows = [
        [W.reads, W.bitCountsASecond(f.bits, f.signed ? "signed" : W.from0, significant(f.rateHz, 4))],
        ...(f.rate.from === "exact" ? [] : [[W.itsRate, W.rateFrom[f.rate.from](f.rate.hz, `${significant(f.rate.measuredHz, 5)} ± ${significant(f.rate.uncertaintyHz, 1)}`)]]),
        [W.gives, f.fraction > 0 ? W.counts(2 ** f.fraction) : "counts"],
        [W.roundingMovesTheGain, f.errorDb < 0.001 ? W.byLessThan0001 : W.byUpToDBAt(significant(f.errorDb, 2), significant(f.errorHz, 2))],
        [W.roundingNoise, W.countsOfABeat(significant(f.noiseCounts, 2), significant(100 * f.noiseOfBeat, 2))],
        [W.onAn8BitAVR, W.aboutCyclesASampleOf(cycles, significant(share, 2), share > 80 ? W.tooSlowForIt : "")],
        [W.memory, f.cost ? W.ramOf2048BytesProgram(f.cost.ramBytes, f.cost.flashBytes) : W.ramBytesConstantsBytes(f.stateBytes, f.constantBytes)],
        ...(f.cost ? [[W.aBeatBlinks, W.aboutSAfterItCame(significant(f.latencySeconds, 2))]] : []),
      ];
      fill(this.facts, ...rows.flatMap(([term, value]) => [h("dt", {}, term), h("dd", {}, value)]));
    } catch (e) {
      if (this.over || key !== this.asked) return;
      this.all.hidden = true;
      setText(this.problem, e instanceof Error ? e.message : String(e));
    }
  }

  #query() {
    return `form=${this.choice.form}${this.choice.bits ? "&bits=" + this.choice.bits : ""}`;
  }

  /** Asks what the board would see, while that part is open. */
  async #look() {
    if (!this.seen.open || document.hidden || this.looking || this.over) return;
    this.looking = true;
    const channel = this.ctx.channel();
    try {
      /** @type {OnBoard} */
      const b = await request("GET", `/channels/${channel}/path/firmware/seen?seconds=${SEEN_SECONDS}&${this.#query()}`);
      if (!this.over) this.#show(channel, b);
    } catch (e) {
      if (!this.over) setText(this.seenText, e instanceof Error ? e.message : String(e));
    } finally {
      this.looking = false;
    }
  }

  /**
   * Both lines about their mean, so that an offset the path lets through does not part them.
   * @param {number} channel
   * @param {OnBoard} b
   */
  #show(channel, b) {
    const rings = this.ctx.rings();
    const state = this.ctx.store.state.server?.channels[channel];
    if (!rings || !state || b.filtered.length < 2) {
      setText(this.seenText, words.seenWait);
      return;
    }
    const step = (state.stepVolts || 1);
    const end = b.first + b.filtered.length;
    const x = b.filtered.map((_, i) => (b.first + i - end) / b.rateHz);
    const board = about(b.filtered.map((v) => v * step));
    const page = about(b.filtered.map((_, i) => rings.at(channel, SMOOTH, b.first + i)));
    const beats = this.ctx.beats()[channel];
    const found = beats ? beats.beats.filter((v) => v.sample >= b.first && v.sample < end).length : 0;
    const reading = this.ctx.store.state.readings[channel];
    setText(this.seenText, words.seenRates(b.rateBpm, b.beats.length, reading?.state === "reading" ? reading.rateBpm : null, found));
    this.plot ??= new Plot(this.seenRoot, { label: words.seen });
    const all = [...board, ...page].filter((v) => Number.isFinite(v));
    const low = Math.min(...all);
    const high = Math.max(...all);
    const room = (high - low || 1) * 0.12;
    const at = (/** @type {number} */ i) => board[i - b.first] ?? 0;
    this.plot.set({ low: -SEEN_SECONDS, high: 0, unit: "s", label: "" }, { low: low - room, high: high + 5 * room, unit: state.unit === "V" ? "V" : state.unit, label: "" }, [
      { x, y: page, colour: "faint", width: 3, label: words.computer },
      { x, y: board, colour: "trace3", width: 1.4, dash: [5, 3], label: words.board },
      { x: b.beats.map((s) => (s - end) / b.rateHz), y: b.beats.map((s) => at(s) + room), colour: "trace3", mark: "triangle", label: words.boardBeats },
    ]);
  }

  destroy() {
    this.over = true;
    window.clearInterval(this.timer);
    this.plot?.destroy();
  }
}

/**
 * Values less their mean; what is no number stays.
 * @param {number[]} values
 */
export function about(values) {
  let sum = 0;
  let n = 0;
  for (const v of values) {
    if (Number.isFinite(v)) {
      sum += v;
      n++;
    }
  }
  return values.map((v) => v - sum / Math.max(1, n));
}

/** @type {import("../drawers.js").DrawerSpec} */
export const drawer = { id: "firmware", title: W.firmware, key: "g", inPath: true, create: (root, ctx) => new FirmwarePanel(root, ctx) };
