// Cautions for electrodes on a person: shown once for each source, always at hand.

import { button, dialog, h } from "./dom.js";
import { prefs } from "./store.js";

const KEY = "cautions";
const MOST_REMEMBERED = 200;

export class Cautions {
  constructor() {
    /** @type {string} */
    this.address = "";
    this.ack = button("cautions-ack", "I have read this", () => this.#acknowledge(), { class: "accent" });
    this.dialog = dialog("cautions-dialog", "Before anybody is wired to a board",
      h("ul", { class: "cautions" },
        h("li", {}, h("b", {}, "A learning aid, not a medical device."), " Nothing here may be used to diagnose, to treat or to raise an alarm."),
        h("li", {}, h("b", {}, "Electrodes on a person: batteries only."), " Unplug the computer’s charger, monitor, projector and wired network, or put a medically rated isolator between. A USB cable ties the electrodes to a mains charger, and one fault in it can kill."),
        h("li", {}, h("b", {}, "Never"), " with a pacemaker or another implant, on broken skin, or near defibrillation."),
        h("li", {}, h("b", {}, "A light-only finger sensor is safer,"), " but it too must run on low voltage and be enclosed. Do not stare into bright or infrared LEDs."),
        h("li", {}, "Local rules and the people licensed to judge them come before anything said here.")),
      h("div", { class: "dialog-foot" }, this.ack));
    this.dialog.addEventListener("cancel", (e) => {
      if (this.mustAcknowledge) e.preventDefault();
    });
    this.mustAcknowledge = false;
  }

  /** Shows them at any time. */
  show() {
    if (!this.dialog.open) this.dialog.showModal();
    this.ack.focus();
  }

  /**
   * Shows them when a source with electrodes has not been acknowledged.
   * @param {string} address
   * @param {boolean} electrodes
   */
  consider(address, electrodes) {
    if (this.mustAcknowledge && (address !== this.address || !electrodes)) this.#let();
    if (!electrodes || !address || this.dialog.open) return;
    if (prefs.get(KEY, /** @type {string[]} */ ([])).includes(address)) return;
    this.address = address;
    this.mustAcknowledge = true;
    this.dialog.classList.add("must");
    this.show();
  }

  #acknowledge() {
    if (this.mustAcknowledge) {
      const list = prefs.get(KEY, /** @type {string[]} */ ([]));
      if (!list.includes(this.address)) prefs.set(KEY, [...list, this.address].slice(-MOST_REMEMBERED));
    }
    this.#let();
  }

  #let() {
    this.mustAcknowledge = false;
    this.dialog.classList.remove("must");
    this.dialog.close();
  }
}
