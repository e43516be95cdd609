// The Firmware drawer: the signal path as C for the board's own processor.

import { request } from "../api.js";
import { fill, h, select, setText } from "../dom.js";
import { registerDrawer } from "../drawers.js";
import { significant } from "../format.js";
import { prefs } from "../store.js";

/** @import {DrawerContext} from "../drawers.js" */
/** @import {PageState} from "../store.js" */

/** @typedef {{form: string, bits: number, signed: boolean, rateHz: number, sections: number, fraction: number, cyclesAvr: number, stateBytes: number, errorDb: number, errorHz: number, code: string}} Firmware */

const AVR_HZ = 16e6;

export class FirmwarePanel {
  /**
   * @param {HTMLElement} root
   * @param {DrawerContext} ctx
   */
  constructor(root, ctx) {
    this.ctx = ctx;
    /** @type {{form: string, bits: string}} */
    this.choice = prefs.get("firmware", { form: "exact", bits: "" });
    this.asked = "";
    this.over = false;
    const keep = () => {
      prefs.set("firmware", this.choice);
      this.asked = "";
      this.changed(this.ctx.store.state);
    };
    const form = select("firmware-form", [["exact", "exact: 64-bit sums"], ["small", "small: 32-bit sums"]], (v) => {
      this.choice.form = v;
      keep();
    });
    form.value = this.choice.form;
    const bits = select("firmware-bits", [["", "as the board says"], ...[8, 10, 12, 16, 18, 24].map((n) => /** @type {[string, string]} */ ([String(n), `${n} bits`]))], (v) => {
      this.choice.bits = v;
      keep();
    });
    bits.value = this.choice.bits;
    this.facts = h("dl", { class: "facts", "data-testid": "firmware-facts" });
    this.problem = h("p", { class: "error", role: "status", "data-testid": "firmware-problem" });
    this.save = h("a", { class: "button", download: "pulsewright_path.h", "data-testid": "firmware-save" }, "Save pulsewright_path.h");
    this.code = h("pre", { class: "firmware-code", tabindex: "0", "aria-label": "The path as C", "data-testid": "firmware-code" });
    this.all = h("div", {}, this.facts, h("p", { class: "row" }, this.save), this.code);
    root.append(
      h("p", { class: "hint" }, "The same filters in integer C for your board. The program’s tests check the C bit for bit."),
      h("div", { class: "picks" },
        h("label", { class: "pick" }, h("span", {}, "Arithmetic"), form),
        h("label", { class: "pick" }, h("span", {}, "Converter"), bits)),
      this.problem, this.all);
    this.changed(ctx.store.state);
  }

  /** @param {PageState} state */
  changed(state) {
    const channel = this.ctx.channel();
    const path = state.server?.channels[channel]?.path;
    if (!path) return;
    const query = `form=${this.choice.form}${this.choice.bits ? "&bits=" + this.choice.bits : ""}`;
    const key = JSON.stringify([channel, path, state.server?.rateHz, query]);
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
    const where = `/channels/${channel}/path/firmware?${query}`;
    try {
      /** @type {Firmware} */
      const f = await request("GET", where);
      if (this.over || key !== this.asked) return;
      setText(this.problem, "");
      this.all.hidden = false;
      this.save.setAttribute("href", `/api/v1${where}&download=1`);
      setText(this.code, f.code);
      const share = (100 * f.cyclesAvr * f.rateHz) / AVR_HZ;
      const rows = [
        ["Reads", `${f.bits}-bit counts, ${f.signed ? "signed" : "from 0"}, ${significant(f.rateHz, 4)} a second`],
        ["Gives", f.fraction > 0 ? `counts × ${2 ** f.fraction}` : "counts"],
        ["Rounding moves the gain", f.errorDb < 0.001 ? "by less than 0.001 dB" : `by up to ${significant(f.errorDb, 2)} dB, at ${significant(f.errorHz, 2)} Hz`],
        ["On an 8-bit AVR", `about ${f.cyclesAvr} cycles a sample, ${significant(share, 2)} % of 16 MHz${share > 80 ? ": too slow for it" : ""}`],
        ["Memory", `${f.stateBytes} bytes`],
      ];
      fill(this.facts, ...rows.flatMap(([term, value]) => [h("dt", {}, term), h("dd", {}, value)]));
    } catch (e) {
      if (this.over || key !== this.asked) return;
      this.all.hidden = true;
      setText(this.problem, e instanceof Error ? e.message : String(e));
    }
  }

  destroy() {
    this.over = true;
  }
}

registerDrawer({ id: "firmware", title: "Firmware", key: "g", inPath: true, create: (root, ctx) => new FirmwarePanel(root, ctx) });
