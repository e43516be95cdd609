// The trimmer's part of the Check drawer: the simulated board's trimmer to turn, and
// advice on the resistor to set for a capacitor.

import { request } from "../api.js";
import { button, h, setText } from "../dom.js";
import { quantity, significant } from "../format.js";
import { Plot } from "../plot.js";
import { prefs } from "../store.js";
import { decibels, hzToStop, parsePart, part, percent, STOPS, stopToHz, typeset } from "./figures.js";
import { drawerTrimmerWords as W } from "../words.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PageState} from "../store.js" */

/** How the slider's turning is sent: at most so often. */
const SEND_MS = 120;

/** @param {number} hz */
export function cornerText(hz) {
  return hz > 0 ? significant(hz, 3) + " Hz" : "out";
}

/** A slider for the simulated board's trimmer; hidden for other sources. */
export class DemoTrimmer {
  /** @param {DrawerContext} ctx */
  constructor(ctx) {
    this.ctx = ctx;
    this.slider = h("input", { type: "range", id: "trimmer-slider", "data-testid": "trimmer-slider", min: "0", max: String(STOPS + 1), step: "1", "aria-describedby": "trimmer-hint" });
    this.value = h("output", { for: "trimmer-slider", "data-testid": "trimmer-value" });
    this.root = h("div", { class: "demo-trimmer", "data-testid": "demo-trimmer" },
      h("label", { for: "trimmer-slider" }, W.practiceTrimmer), this.value, this.slider,
      h("p", { class: "hint ends", "aria-hidden": "true" }, h("span", {}, "1 Hz"), h("span", {}, W.n200HzOff)),
      h("p", { class: "hint", id: "trimmer-hint" }, W.turnItDownUntilThe));
    this.wanted = -1;
    this.sending = false;
    this.timer = 0;
    this.slider.addEventListener("input", () => this.turn(stopToHz(Number(this.slider.value))));
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const hz = state.server?.trimmerHz;
    this.root.hidden = typeof hz !== "number";
    this.slider.disabled = state.server?.owner === false;
    if (typeof hz === "number" && this.wanted < 0) this.#show(hz);
  }

  /** @param {number} hz */
  #show(hz) {
    const stop = hzToStop(hz);
    // A corner between stops shows as it is.
    if (stopToHz(Number(this.slider.value)) !== hz) this.slider.value = String(stop);
    setText(this.value, hz > 0 ? W.cornerAt(cornerText(hz)) : W.outNoLowPass);
    this.slider.setAttribute("aria-valuetext", hz > 0 ? W.cornerAt(cornerText(hz)) : W.outNoLowPass2);
  }

  /**
   * Turns the trimmer; the newest wish is sent when the last has been answered.
   * @param {number} hz
   */
  async turn(hz) {
    this.wanted = hz;
    this.#show(hz);
    if (this.sending) return;
    this.sending = true;
    try {
      for (let sent = -1; sent !== this.wanted;) {
        sent = this.wanted;
        await request("PUT", "/demo", { trimmerHz: sent });
        await new Promise((done) => (this.timer = window.setTimeout(done, SEND_MS)));
      }
    } catch (e) {
      this.ctx.problem(e instanceof Error ? e.message : String(e));
    } finally {
      this.sending = false;
      this.wanted = -1;
      this.changed(this.ctx.store.state);
    }
  }
}

/** The form and its answer. */
export class TrimmerAdvice {
  /**
   * @param {DrawerContext} ctx
   * @param {DemoTrimmer} demo
   */
  constructor(ctx, demo) {
    this.ctx = ctx;
    this.demo = demo;
    this.advice = /** @type {import("../wire.js").Advice|null} */ (null);
    const kept = prefs.get("trimmer parts", { capacitor: "1 µF", presentOhms: "", presentFarads: "", trimmer: "", target: "−40" });
    const field = (/** @type {string} */ id, /** @type {string} */ label, /** @type {string} */ value, /** @type {string} */ placeholder) => {
      const input = h("input", { type: "text", id: "advice-" + id, "data-testid": "advice-" + id, autocomplete: "off", spellcheck: "false", placeholder });
      input.value = value;
      return { input, row: h("label", { class: "part" }, h("span", {}, label), input) };
    };
    this.capacitor = field("capacitor", W.capacitorToUse, kept.capacitor, "1 µF");
    this.presentOhms = field("present-ohms", W.presentResistor, kept.presentOhms, "none");
    this.presentFarads = field("present-farads", W.presentCapacitor, kept.presentFarads, "none");
    this.trimmer = field("trimmer", W.trimmersValue, kept.trimmer, "any");
    this.target = field("target", W.humWantedDBOfThe, kept.target, "−40");
    this.error = h("p", { class: "error", role: "alert", "data-testid": "advice-error" });
    this.presentNote = h("p", { class: "hint" });
    const form = h("form", { class: "parts" }, this.capacitor.row, this.trimmer.row, this.presentOhms.row, this.presentFarads.row, this.target.row,
      this.presentNote,
      h("div", { class: "row" }, h("button", { type: "submit", class: "accent", "data-testid": "advice-ask" }, W.advise)), this.error);
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      this.ask();
    });
    this.text = h("p", { class: "verdict", "data-testid": "advice-text" });
    this.facts = h("dl", { class: "facts" });
    this.set = button("advice-set", W.turnThePracticeBoardsTrimmer, () => this.#turn(), { hidden: true });
    this.figure = h("div", { class: "chart small" });
    this.legend = h("p", { class: "hint" }, W.solidHumLeftDashedPulse);
    this.answer = h("div", { class: "advice", "aria-live": "polite" }, this.text, this.facts, this.set, this.figure, this.legend);
    this.answer.hidden = true;
    this.root = h("details", { class: "fold", "data-testid": "advice" }, h("summary", {}, W.whichResistorAdviceOnThe),
      h("p", { class: "hint" }, W.forASinglePoleLow), form, this.answer);
    this.plot = new Plot(this.figure, { label: W.humAndPulseAgainstThe });
    this.root.addEventListener("toggle", () => this.#draw());
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const hz = state.server?.trimmerHz;
    const demo = typeof hz === "number";
    this.set.hidden = !demo || !((this.advice?.e24Ohms ?? 0) > 0);
    this.set.disabled = state.server?.owner === false;
    this.presentOhms.input.disabled = this.presentFarads.input.disabled = demo;
    setText(this.presentNote, demo ? (hz > 0 ? W.thePracticeBoardsLowPass(cornerText(hz)) : W.thePracticeBoardHasNo) : W.nameTheLowPassThat);
  }

  /** The query, or an error that names the field. */
  #query() {
    const q = new URLSearchParams();
    const read = (/** @type {{input: HTMLInputElement, row: HTMLElement}} */ f, /** @type {"F"|"Ω"} */ unit, /** @type {string} */ name) => {
      const v = parsePart(f.input.value, unit);
      const bad = v !== null && !(v > 0);
      f.input.setAttribute("aria-invalid", String(bad));
      if (bad) {
        f.input.focus();
        throw new Error(W.isNotTheValueOf(f.input.value, unit === "F" ? W.capacitorWrite100NFOr : W.resistorWrite47kOr));
      }
      if (v !== null && name) q.set(name, String(v));
      return v;
    };
    const farads = read(this.capacitor, "F", "capacitorFarads");
    read(this.trimmer, "Ω", "trimmerOhms");
    const hz = this.ctx.store.state.server?.trimmerHz;
    if (typeof hz === "number") {
      if (hz > 0) {
        const c = farads ?? 1e-6;
        q.set("presentFarads", String(c));
        q.set("presentOhms", String(1 / (2 * Math.PI * hz * c)));
      }
    } else {
      const ohms = read(this.presentOhms, "Ω", "presentOhms");
      const present = read(this.presentFarads, "F", "presentFarads");
      if ((ohms === null) !== (present === null)) throw new Error(W.nameThePresentResistorAnd);
    }
    const target = this.target.input.value.replace("−", "-").replace(",", ".").replace(/\s*dB$/, "").trim();
    if (target !== "") {
      if (!(Number(target) < 0)) throw new Error(W.aTargetOfDBIt(this.target.input.value));
      q.set("targetDb", String(Number(target)));
    }
    return q;
  }

  async ask() {
    setText(this.error, "");
    try {
      const q = this.#query();
      prefs.set("trimmer parts", { capacitor: this.capacitor.input.value, presentOhms: this.presentOhms.input.value, presentFarads: this.presentFarads.input.value, trimmer: this.trimmer.input.value, target: this.target.input.value });
      this.advice = await request("GET", `/channels/${this.ctx.channel()}/trimmer?${q}`);
    } catch (e) {
      this.advice = null;
      this.answer.hidden = true;
      setText(this.error, e instanceof Error ? e.message : String(e));
      return;
    }
    this.#show();
  }

  #show() {
    const a = this.advice;
    if (!a) return;
    const unit = this.ctx.store.state.server?.channels[this.ctx.channel()]?.unit ?? "V";
    this.answer.hidden = false;
    setText(this.text, typeset(a.text));
    const left = a.e24Ohms > 0 ? a.withE24 : a.best;
    /** @type {[string, string, string][]} */
    const rows = [];
    if (a.e24Ohms > 0) {
      rows.push([W.resistor, W.e24Exactly(part(a.e24Ohms, "Ω", 2), part(a.resistorOhms, "Ω")), "advice-resistor"]);
      rows.push([W.trimmer, a.trimmerReason ? typeset(a.trimmerReason) : W.ofTheWayOn(percent(a.trimmerShare), part(a.trimmerOhms, "Ω", 2)), "advice-position"]);
    }
    rows.push([W.corner, cornerText(left.cornerHz), "advice-corner"]);
    rows.push([W.humThen, W.rmsOfThePulse(quantity(left.humVoltsRms, unit), decibels(left.humToPulseDb)), "advice-hum"]);
    rows.push([W.pulseThen, W.ofNow(quantity(left.pulseVolts, unit), percent(left.pulseGain)), "advice-pulse"]);
    this.facts.replaceChildren(...rows.flatMap(([term, value, id]) => [h("dt", {}, term), h("dd", { "data-testid": id }, value)]));
    this.facts.dataset.humVoltsRms = String(left.humVoltsRms);
    this.changed(this.ctx.store.state);
    this.#draw();
  }

  #draw() {
    const a = this.advice;
    if (!a || !this.root.open) return;
    const x = a.rows.map((r) => r.cornerHz);
    const hum = a.rows.map((r) => r.humGainDb);
    const pulse = a.rows.map((r) => 20 * Math.log10(r.pulseGain));
    const all = [...hum, ...pulse, 0];
    const left = a.e24Ohms > 0 ? a.withE24 : a.best;
    this.plot.set({ low: x[0], high: x[x.length - 1], log: true, unit: "Hz", label: "corner" }, { low: Math.min(...all) - 3, high: Math.max(...all) + 3, unit: "dB" },
      [{ x, y: hum, colour: "trace2", width: 2 }, { x, y: pulse, colour: "trace1", width: 2, dash: [7, 4] }],
      [{ x: left.cornerHz, label: cornerText(left.cornerHz) }]);
  }

  #turn() {
    const a = this.advice;
    if (!a) return;
    this.demo.turn((a.e24Ohms > 0 ? a.withE24 : a.best).cornerHz);
    this.ctx.announce(W.thePracticeBoardsTrimmerIs);
  }

  destroy() {
    this.plot.destroy();
  }
}
