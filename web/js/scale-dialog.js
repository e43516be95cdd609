// How counts become volts: the converter, the rails, the gain.

import { PRESETS, fitting, spanOf } from "./converters.js";
import { button, dialog, fill, h, numberField, select, setText } from "./dom.js";
import { numberOf, significant } from "./format.js";
import { scaleDialogWords as W } from "./words.js";

/** @import {Channel, ScaleSettings} from "./types.js" */

/** A channel's scale, as set. @typedef {{channel: number, scale: ScaleSettings}} ScaleOf */

/**
 * A scale for one column, or for all of its board: gain and polarity stay with each column.
 * @param {number} index
 * @param {ScaleSettings} scale
 * @param {Pick<Channel, "scale">[]} channels all there are
 * @param {boolean} all
 * @returns {ScaleOf[]}
 */
export function scalesOf(index, scale, channels, all) {
  const others = all ? channels.flatMap((c, channel) => (channel === index ? [] : [{ channel, scale: { ...scale, gain: c.scale.gain, invert: c.scale.invert } }])) : [];
  return [{ channel: index, scale }, ...others];
}

export class ScaleDialog {
  /** @param {{set: (scales: ScaleOf[]) => Promise<unknown>, id?: string}} options id begins those of its fields */
  constructor(options) {
    this.options = options;
    const own = options.id ?? "scale";
    this.channel = 0;
    /** @type {Channel[]} */
    this.channels = [];
    this.turn = 0;
    const number = (/** @type {string} */ id, /** @type {string} */ label, /** @type {string} */ unit, /** @type {string} */ hint = "") => {
      const input = numberField(`${own}-${id}`);
      return { label, input, row: h("label", { class: "field" }, h("span", {}, label), h("span", { class: "with-unit" }, input, h("span", {}, unit)), hint ? h("small", {}, hint) : null) };
    };
    const check = (/** @type {string} */ id, /** @type {string} */ label) => {
      const input = h("input", { type: "checkbox", id: `${own}-${id}`, "data-testid": `${own}-${id}` });
      return { input, row: h("label", { class: "check" }, input, h("span", {}, label)) };
    };
    this.source = h("select", { id: `${own}-source`, "data-testid": `${own}-source` },
      h("option", { value: "board" }, W.asTheBoardOrFile), h("option", { value: "converter" }, W.fromTheConvertersReferenceAnd), h("option", { value: "fullscale" }, W.fromTheMeasuredFullScale), h("option", { value: "unknown" }, W.unknownShowCounts));
    this.preset = select(`${own}-preset`, [["", W.chooseOrFillInBelow], ...PRESETS.map((p) => /** @type {[string, string]} */ ([p.id, p.label]))], (id) => this.#take(id));
    this.presetHint = h("small", {});
    this.fits = button(`${own}-fits`, "", () => this.#takeFitting(), { class: "quiet" });
    this.decimals = h("p", { class: "hint", "data-testid": `${own}-decimals`, hidden: true }, W.theNumbersSoFarHave);
    this.span = h("div", { class: "scale-span", "data-testid": `${own}-span` });
    this.reference = number("reference", W.referenceVoltage, "V", W.fullScaleTheVoltsAt);
    this.bits = number("bits", W.bits, "bit", W.n10BitsCount0To);
    this.signed = check("signed", W.countsAreSignedAboutZero);
    this.full = number("full", W.fullScale, "V", W.voltsAtTheHighestCount);
    this.low = number("rail-low", W.lowerRail, "V");
    this.high = number("rail-high", W.upperRail, "V", W.leaveEmptyWhenUnknown);
    this.mid = number("mid-rail", "Mid-rail", "V", W.theReferenceTheSignalRests);
    this.gain = number("gain", W.gainBeforeTheConverter, "×", W.dividedOutVoltsAreThen);
    this.numbers = [this.reference, this.bits, this.full, this.low, this.high, this.mid, this.gain];
    this.invert = check("invert", W.turnTheSignalUpsideDown);
    this.all = check("all", W.theSameForAllColumns);
    this.all.row.lastElementChild?.append(h("small", {}, " " + W.gainPolarityStay));
    this.error = h("p", { class: "error", role: "alert" });
    this.converter = h("fieldset", {}, h("legend", {}, W.converter), this.reference.row, this.bits.row, this.signed.row, this.span);
    this.sound = h("fieldset", {}, h("legend", {}, W.soundInput), this.full.row);
    this.form = h("form", { class: "scale-form" },
      this.fits, this.decimals,
      h("label", { class: "field" }, h("span", {}, W.usualOnes), this.preset, this.presetHint),
      h("label", { class: "field" }, h("span", {}, W.voltsCome), this.source), this.converter, this.sound,
      h("fieldset", {}, h("legend", {}, W.board), h("div", { class: "two" }, this.low.row, this.high.row), this.mid.row, this.gain.row, this.invert.row),
      this.all.row, this.error, h("div", { class: "dialog-foot" }, h("button", { type: "submit", class: "accent", "data-testid": `${own}-apply` }, W.apply)));
    this.source.addEventListener("change", () => this.#enable());
    for (const e of [this.reference.input, this.bits.input, this.signed.input]) e.addEventListener("input", () => this.#draw());
    this.form.addEventListener("submit", (e) => {
      e.preventDefault();
      this.#apply();
    });
    this.dialog = dialog(`${own}-dialog`, W.whatIsACountWorth, this.form);
    this.title = /** @type {HTMLElement} */ (this.dialog.querySelector("h2"));
  }

  /**
   * @param {number} index
   * @param {Channel[]} channels all there are
   * @param {{low: number, high: number}|null} [seen] the counts so far, where it is counts that are shown
   */
  show(index, channels, seen = null) {
    const channel = channels[index];
    setText(this.title, channels.length > 1 ? W.whatIsACountOf(channel.label) : W.whatIsACountWorth);
    this.channel = index;
    this.channels = channels;
    this.all.row.hidden = channels.length < 2;
    this.all.input.checked = channels.length > 1 && channels.every((c, i) => i === index || c.unit === "counts");
    this.turn++;
    this.form.inert = false;
    const whole = !seen || Number.isInteger(seen.low) && Number.isInteger(seen.high);
    const fit = seen && whole ? fitting(seen.low, seen.high) : null;
    this.fit = fit;
    this.fits.hidden = !fit;
    if (seen && fit) setText(this.fits, W.theCountsSoFarTo(seen.low, seen.high, fit.bits, fit.signed ? W.signed : ""));
    this.decimals.hidden = whole;
    this.preset.value = "";
    setText(this.presetHint, "");
    const s = channel.scale;
    this.before = s;
    this.source.value = s.source;
    write(this.reference.input, s.referenceVolts);
    write(this.bits.input, s.bits);
    this.signed.input.checked = s.signed;
    write(this.full.input, s.fullScaleVolts || null);
    write(this.low.input, s.supplyLowVolts);
    write(this.high.input, s.supplyHighVolts);
    write(this.mid.input, s.midRailVolts);
    write(this.gain.input, s.gain);
    this.invert.input.checked = s.invert;
    setText(this.error, "");
    this.#enable();
    this.dialog.showModal();
  }

  /** @param {string} id of a preset */
  #take(id) {
    const p = PRESETS.find((x) => x.id === id);
    setText(this.presetHint, p?.what ?? "");
    if (!p) return;
    this.source.value = p.source;
    if (p.source === "fullscale") write(this.full.input, p.volts);
    else {
      write(this.reference.input, p.volts);
      write(this.bits.input, p.bits);
      this.signed.input.checked = p.signed;
    }
    this.#enable();
  }

  /** Takes the bits that the counts fit; the reference is the user's to say. */
  #takeFitting() {
    if (!this.fit) return;
    this.source.value = "converter";
    write(this.bits.input, this.fit.bits);
    this.signed.input.checked = this.fit.signed;
    const usual = PRESETS.find((p) => p.source === "converter" && p.bits === this.fit?.bits && p.signed === this.fit?.signed);
    if (usual) write(this.reference.input, usual.volts);
    this.#enable();
    this.reference.input.focus();
    this.reference.input.select();
  }

  /** Draws full scale: the ends in volts and in counts. */
  #draw() {
    const volts = read(this.reference.input) ?? 0, bits = read(this.bits.input) ?? 0;
    this.span.hidden = !(volts > 0 && bits >= 1 && bits <= 32);
    if (this.span.hidden) return;
    const signed = this.signed.input.checked;
    const s = spanOf({ volts, bits, signed });
    const end = (/** @type {string} */ at, /** @type {number} */ v, /** @type {string} */ count) => h("span", { class: at }, `${v < 0 ? "−" : ""}${significant(Math.abs(v), 5)} V`, h("small", {}, count));
    fill(this.span, end("left", s.low, W.count(s.lowCount).replace("-", "−")), signed ? end("middle", 0, W.count0) : null, end("right", s.high, W.aboveCount(s.highCount)));
  }

  #enable() {
    this.#draw();
    this.converter.disabled = this.converter.hidden = this.source.value !== "converter";
    this.sound.disabled = this.sound.hidden = this.source.value !== "fullscale";
  }

  async #apply() {
    const wrong = this.numbers.find((f) => !f.input.matches(":disabled") && Number.isNaN(read(f.input)));
    if (wrong) {
      setText(this.error, W.isNoNumber(wrong.label, wrong.input.value));
      wrong.input.focus();
      return;
    }
    const gain = read(this.gain.input);
    /** @type {ScaleSettings} */
    const scale = {
      source: /** @type {ScaleSettings["source"]} */ (this.source.value),
      referenceVolts: read(this.reference.input) ?? 0,
      bits: read(this.bits.input) ?? 0,
      signed: this.signed.input.checked,
      fullScaleVolts: read(this.full.input) ?? 0,
      couplingHz: this.before?.couplingHz ?? 0,
      couplingFloorHz: this.before?.couplingFloorHz ?? 0,
      supplyLowVolts: read(this.low.input),
      supplyHighVolts: read(this.high.input),
      midRailVolts: read(this.mid.input),
      gain: gain ?? 1,
      invert: this.invert.input.checked,
    };
    const mine = ++this.turn; // the dialog may be closed and shown anew meanwhile
    const focused = document.activeElement;
    this.form.inert = true;
    try {
      await this.options.set(scalesOf(this.channel, scale, this.channels, this.all.input.checked));
      if (mine === this.turn) this.dialog.close();
    } catch (e) {
      if (mine === this.turn) setText(this.error, e instanceof Error ? e.message : String(e));
    }
    if (mine !== this.turn) return;
    this.form.inert = false;
    if (this.dialog.open && focused instanceof HTMLElement) focused.focus();
  }
}

/**
 * @param {HTMLInputElement} input
 * @param {number|null|undefined} v
 */
function write(input, v) {
  input.value = v === null || v === undefined ? "" : String(Number(v.toPrecision(8)));
}

/** @param {HTMLInputElement} input */
function read(input) {
  return numberOf(input.value);
}
