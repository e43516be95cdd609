// The source picker, with what a board must print.

import { api, requestText, sentence } from "./api.js";
import { AudioInput } from "./audio-input.js";
import { ColumnsForm } from "./board-columns.js";
import { BAUDS, BoardPort } from "./board-port.js";
import { CablelessForm } from "./cableless.js";
import { button, dialog, fill, h, select, setText } from "./dom.js";
import * as words from "./words.js";

/** @import {Choice, Choices} from "./types.js" */

const EXAMPLE = `# rate 250 Hz
t_us,pulse [mV]
4000,2503.1
8000,2504.9
12000,2507.4`;

export class SourcePicker {
  /** @param {{opened: (address: string) => void, mayOpen: (address: string) => Promise<boolean>, audio: AudioInput, port: BoardPort, source?: () => import("./types.js").SourceInfo|null|undefined}} options */
  constructor(options) {
    this.options = options;
    this.columns = new ColumnsForm((address) => this.open(address));
    this.side = select("sound-side", [["left", "left (or mono)"], ["right", "right"], ["both", "both channels"]], () => {});
    this.keep = select("sound-keep", [["slow", "about 1 kHz"], ["full", "the input’s own rate"]], () => {}, { title: "1 kHz is enough for a heartbeat; the input’s own rate makes large files" });
    this.inputs = h("div", { class: "inputs" });
    this.sound = h("section", { class: "choice-list" });
    this.#soundSection();
    this.baud = select("port-baud", BAUDS.map((b) => [String(b), `${b} baud`]), () => {}, { title: "as in the board’s program, such as Serial.begin(115200)" });
    this.port = h("section", { class: "choice-list" });
    this.#portSection();
    this.cableless = new CablelessForm((address) => this.open(address));
    this.lists = h("div", { class: "choices" });
    this.demos = h("div", { class: "choices" });
    this.listed = "";
    // One and the same after looking again, so that it keeps the focus.
    this.again = button("source-refresh", "Refresh the list", () => this.refresh(), { class: "quiet" });
    this.address = h("input", { type: "text", id: "source-address", "data-testid": "source-address", autocomplete: "off", spellcheck: "false", placeholder: "serial:/dev/ttyACM0?baud=115200" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "source-error" });
    this.busy = h("p", { class: "hint", role: "status" });
    const form = h("form", { class: "address-form" },
      h("label", { for: "source-address" }, "Type an address"),
      h("div", { class: "row" }, this.address, h("button", { type: "submit", "data-testid": "source-open-address", class: "accent" }, "Open")),
      h("p", { class: "hint" }, "serial:PORT · tcp:HOST:PORT · tcp-listen:PORT · udp:PORT · fifo:PATH · sound:DEVICE · file:NAME · demo:finger"));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      this.open(this.address.value.trim());
    });
    this.sketch = h("pre", { "data-testid": "sketch", tabindex: "0", "aria-label": "The example program any_board.ino" });
    this.explain = this.#explain();
    this.explain.addEventListener("toggle", () => this.#fetchSketch());
    this.caution = h("p", { class: "caution-line" }, words.wired.line, " ", h("a", { href: "/wiring.html", target: "_blank", rel: "noopener", "data-testid": "wiring" }, words.wired.page));
    this.dialog = dialog("source-dialog", "Where does the signal come from?",
      this.error, this.busy, this.caution, this.columns.element, this.lists, form, this.demos,
      this.explain);
  }

  #explain() {
    const file = (/** @type {string} */ name, /** @type {string} */ what) => h("p", {}, h("a", { href: `/api/v1/sketch/${name}`, download: `${name}.ino`, "data-testid": `sketch-${name}` }, `${name}.ino`), " ", what);
    return h("details", { class: "explain", "data-testid": "source-explain" }, h("summary", { "data-testid": "source-explain-head" }, "What must a board print? Example programs"),
        h("p", {}, "Numbers, one line for each sample, separated by comma, semicolon, tab or space, at an even pace of 100 to 1000 lines a second and at any usual baud rate. That is all; the baud rate is found by trying."),
        h("p", {}, "A header line with names and units, and a column that carries the board’s own clock (", h("code", {}, "t_ms"), ", ", h("code", {}, "t_us"), ") or counter (", h("code", {}, "seq"), ") make it better:"),
        h("pre", {}, EXAMPLE),
        h("p", {}, "Other text is shown as what the board says."),
        h("p", {}, "Two example programs to load as they are:"),
        file("any_board", "for any board with analogRead, the shortest"),
        file("lamp_clip", "for an ATmega328P at 16 MHz: a timer starts each conversion, so the pace is exact"),
        this.sketch);
  }

  /** Opens the explanation and shows the sketch. */
  showSketch() {
    this.explain.open = true;
    const look = () => {
      this.explain.scrollIntoView();
      this.explain.querySelector("summary")?.focus();
    };
    // The lists of sources that come above it move it down.
    void this.show()?.then(look);
    look();
  }

  async #fetchSketch() {
    if (!this.explain.open || this.sketch.textContent) return;
    try {
      setText(this.sketch, await requestText("/sketch/any_board"));
    } catch (e) {
      setText(this.sketch, e instanceof Error ? e.message : String(e));
    }
  }

  show() {
    if (this.dialog.open) return;
    setText(this.error, "");
    setText(this.busy, "");
    this.columns.show(this.options.source?.());
    this.dialog.showModal();
    return this.refresh();
  }

  async refresh() {
    if (!this.lists.firstChild) fill(this.lists, h("p", { class: "hint" }, "Looking for ports …"));
    try {
      this.#list(await api.sources());
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    }
  }

  /** @param {Choices} c */
  #list(c) {
    const shown = JSON.stringify(c);
    if (shown === this.listed) return; // what has the focus keeps it
    this.listed = shown;
    this.cableless.offer(c.hosts ?? []);
    const focused = document.activeElement === this.again;
    fill(this.lists,
      this.#section("Serial ports", "ports", c.ports, "No port found. Plug the board in, then refresh the list. On Linux your user may have to join the group that owns the port."),
      this.port,
      this.cableless.root,
      this.sound,
      this.#section("Recordings", "recordings", c.recordings, "None yet. Name files on the command line: pulsewright walk.edf"),
      this.#section("Sound inputs of this program", "sounds", c.sounds, ""),
      ...c.problems.map((p) => h("p", { class: "error" }, sentence(p))),
      this.again);
    fill(this.demos, this.#section("Demos, all invented", "demos", c.demos, ""));
    if (focused) this.again.focus();
  }

  /**
   * @param {string} title
   * @param {string} id
   * @param {Choice[]|null} list
   * @param {string} none
   */
  #section(title, id, list, none) {
    const items = (list ?? []).map((c, i) =>
      h("button", { type: "button", class: "choice", "data-testid": `source-${id}-${i}`, "data-address": c.address, onclick: () => this.open(c.address) }, h("b", {}, c.name), c.what ? h("span", {}, c.what) : null));
    if (items.length === 0 && !none) return null;
    return h("section", { class: "choice-list" }, h("h3", {}, title), items.length > 0 ? items : h("p", { class: "hint" }, none));
  }

  #portSection() {
    const missing = BoardPort.missing();
    fill(this.port, h("h3", {}, "Board through this browser"),
      h("p", { class: "hint", "data-testid": "port-hint" }, missing || "The board is plugged into the computer that shows this page. Choose the baud rate that its program sets; the browser then asks for the port."),
      missing ? null : h("div", { class: "picks" }, h("label", { class: "pick" }, h("span", {}, "Baud rate"), this.baud)),
      missing ? null : button("port-choose", "Choose a port …", () => this.#openPort()));
  }

  async #openPort() {
    setText(this.error, "");
    if (!(await this.options.mayOpen("serial:browser"))) return;
    setText(this.busy, "Listening to the board …");
    try {
      await this.options.port.choose(Number(this.baud.value));
      if (this.options.port.state.state !== "on") return;
      this.dialog.close();
      this.options.opened("serial:browser");
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    } finally {
      setText(this.busy, "");
    }
  }

  #soundSection() {
    const missing = AudioInput.missing();
    fill(this.sound, h("h3", {}, "Sound through this browser"),
      h("p", { class: "hint" }, missing || "The audio input of the computer that shows this page. Wire the board through a divider and a series capacitor, never with a person on a mains-powered computer."),
      missing ? null : h("div", { class: "picks" }, h("label", { class: "pick" }, h("span", {}, "Channel"), this.side), h("label", { class: "pick" }, h("span", {}, "Sample rate to record"), this.keep)),
      missing ? null : this.inputs);
    fill(this.inputs, button("sound-look", "Look for audio inputs", () => this.#lookForInputs()));
  }

  async #lookForInputs() {
    setText(this.error, "");
    try {
      const list = await this.options.audio.list();
      if (list.length === 0) throw new Error("This browser finds no audio input. Plug one in, then look again.");
      fill(this.inputs, ...list.map((d, i) => h("button", { type: "button", class: "choice", "data-testid": `sound-input-${i}`, onclick: () => this.#openInput(d.id) }, h("b", {}, d.name), h("span", {}, "through this browser"))),
        button("sound-look", "Look again for audio inputs", () => this.#lookForInputs(), { class: "quiet" }));
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    }
  }

  /** @param {string} id */
  async #openInput(id) {
    setText(this.error, "");
    if (!(await this.options.mayOpen("sound:browser"))) return;
    setText(this.busy, "Opening the audio input …");
    const side = /** @type {"left"|"right"|"both"} */ (this.side.value);
    try {
      await this.options.audio.start({ id, channels: side === "left" ? 1 : 2, side, keep: this.keep.value === "full" ? "full" : "slow" });
      this.dialog.close();
      this.options.opened("sound:browser");
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    } finally {
      setText(this.busy, "");
    }
  }

  /** @param {string} address */
  async open(address) {
    setText(this.error, "");
    if (!address) {
      setText(this.error, "Write an address first, such as serial:/dev/ttyACM0 or demo:finger.");
      return;
    }
    if (!(await this.options.mayOpen(address))) return;
    setText(this.busy, address.startsWith("serial:") ? "Listening to the board; finding its baud rate takes a few seconds …" : /^(tcp|udp|fifo)/.test(address) ? "Waiting for the board …" : "Opening …");
    try {
      await api.open(address);
      this.dialog.close();
      this.options.opened(address);
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    } finally {
      setText(this.busy, "");
    }
  }
}
