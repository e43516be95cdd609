// The source picker, with what a board must print.

import { api, requestText, sentence } from "./api.js";
import { AudioInput } from "./audio-input.js";
import { ColumnsForm } from "./board-columns.js";
import { BAUDS, BoardPort } from "./board-port.js";
import { CablelessForm } from "./cableless.js";
import { button, dialog, fill, h, select, setText } from "./dom.js";
import * as words from "./words.js";
import { sourcesWords as W } from "./words.js";

/** @import {Choice, Choices, Kind} from "./types.js" */

const EXAMPLE = `# rate 250 Hz
t_us,pulse [mV]
4000,2503.1
8000,2504.9
12000,2507.4`;

export class SourcePicker {
  /** @param {{opened: (address: string, told?: string) => void, mayOpen: (address: string) => Promise<boolean>, audio: AudioInput, port: BoardPort, state?: () => import("./types.js").ServerState|null|undefined}} options */
  constructor(options) {
    this.options = options;
    this.columns = new ColumnsForm((address, told) => this.open(address, told), (channel, kind) => api.kind(channel, /** @type {Kind} */ (kind)));
    this.side = select("sound-side", [["left", W.leftOrMono], ["right", "right"], ["both", W.bothChannels]], () => {});
    this.keep = select("sound-keep", [["slow", W.about1KHz], ["full", W.theInputsOwnRate]], () => {}, { title: W.n1KHzIsEnoughFor });
    this.inputs = h("div", { class: "inputs" });
    this.sound = h("section", { class: "choice-list" });
    this.#soundSection();
    this.baud = select("port-baud", BAUDS.map((b) => [String(b), W.baud(b)]), () => {}, { title: W.asInTheBoardsProgram });
    this.port = h("section", { class: "choice-list" });
    this.#portSection();
    this.cableless = new CablelessForm((address) => this.open(address));
    this.lists = h("div", { class: "choices" });
    this.demos = h("div", { class: "choices" });
    this.listed = "";
    // One and the same after looking again, so that it keeps the focus.
    this.again = button("source-refresh", W.refreshTheList, () => this.refresh(), { class: "quiet" });
    this.address = h("input", { type: "text", id: "source-address", "data-testid": "source-address", autocomplete: "off", spellcheck: "false", placeholder: "serial:/dev/ttyACM0?baud=115200" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "source-error" });
    this.busy = h("p", { class: "hint", role: "status" });
    const form = h("form", { class: "address-form" },
      h("label", { for: "source-address" }, W.typeAnAddress),
      h("div", { class: "row" }, this.address, h("button", { type: "submit", "data-testid": "source-open-address", class: "accent" }, W.open)),
      h("p", { class: "hint" }, "serial:PORT · tcp:HOST:PORT · tcp-listen:PORT · udp:PORT · fifo:PATH · sound:DEVICE · file:NAME · demo:finger"));
    form.addEventListener("submit", (e) => {
      e.preventDefault();
      this.open(this.address.value.trim());
    });
    this.sketch = h("pre", { "data-testid": "sketch", tabindex: "0", "aria-label": W.theExampleProgramAnyBoard });
    this.explain = this.#explain();
    this.explain.addEventListener("toggle", () => this.#fetchSketch());
    this.caution = h("p", { class: "caution-line" }, words.wired.line, " ", h("a", { href: "/wiring.html", target: "_blank", rel: "noopener", "data-testid": "wiring" }, words.wired.page));
    this.dialog = dialog("source-dialog", W.whereDoesTheSignalCome,
      this.error, this.busy, this.caution, this.columns.element, this.lists, form, this.demos,
      this.explain);
  }

  #explain() {
    const file = (/** @type {string} */ name, /** @type {string} */ what) => h("p", {}, h("a", { href: `/api/v1/sketch/${name}`, download: `${name}.ino`, "data-testid": `sketch-${name}` }, `${name}.ino`), " ", what);
    return h("details", { class: "explain", "data-testid": "source-explain" }, h("summary", { "data-testid": "source-explain-head" }, W.whatMustABoardPrint),
        h("p", {}, W.numbersOneLineForEach),
        h("p", {}, W.aHeaderLineWithNames, h("code", {}, "t_ms"), ", ", h("code", {}, "t_us"), W.orCounter, h("code", {}, "seq"), W.makeItBetter),
        h("pre", {}, EXAMPLE),
        h("p", {}, W.otherTextIsShownAs),
        h("p", {}, W.twoExampleProgramsToLoad),
        file("any_board", W.forAnyBoardWithAnalogRead),
        file("lamp_clip", W.forAnATmega328PAt16),
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
    const state = this.options.state?.();
    this.columns.show(state?.source, state?.channels);
    this.dialog.showModal();
    return this.refresh();
  }

  async refresh() {
    if (!this.lists.firstChild) fill(this.lists, h("p", { class: "hint" }, W.lookingForPorts));
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
      this.#section(W.serialPorts, "ports", c.ports, W.noPortFoundPlugThe),
      this.port,
      this.cableless.root,
      this.sound,
      this.#section(W.recordings, "recordings", c.recordings, W.noneYetNameFilesOn),
      this.#section(W.soundInputsOfThisProgram, "sounds", c.sounds, ""),
      ...c.problems.map((p) => h("p", { class: "error" }, sentence(p))),
      this.again);
    fill(this.demos, this.#section(W.demosAllInvented, "demos", c.demos, ""));
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
    fill(this.port, h("h3", {}, W.boardThroughThisBrowser),
      h("p", { class: "hint", "data-testid": "port-hint" }, missing || W.theBoardIsPluggedInto),
      missing ? null : h("div", { class: "picks" }, h("label", { class: "pick" }, h("span", {}, W.baudRate), this.baud)),
      missing ? null : button("port-choose", W.chooseAPort, () => this.#openPort()));
  }

  async #openPort() {
    setText(this.error, "");
    if (!(await this.options.mayOpen("serial:browser"))) return;
    setText(this.busy, W.listeningToTheBoard);
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
    fill(this.sound, h("h3", {}, W.soundThroughThisBrowser),
      h("p", { class: "hint" }, missing || W.theAudioInputOfThe),
      missing ? null : h("div", { class: "picks" }, h("label", { class: "pick" }, h("span", {}, W.channel), this.side), h("label", { class: "pick" }, h("span", {}, W.sampleRateToRecord), this.keep)),
      missing ? null : this.inputs);
    fill(this.inputs, button("sound-look", W.lookForAudioInputs, () => this.#lookForInputs()));
  }

  async #lookForInputs() {
    setText(this.error, "");
    try {
      const list = await this.options.audio.list();
      if (list.length === 0) throw new Error(W.thisBrowserFindsNoAudio);
      fill(this.inputs, ...list.map((d, i) => h("button", { type: "button", class: "choice", "data-testid": `sound-input-${i}`, onclick: () => this.#openInput(d.id) }, h("b", {}, d.name), h("span", {}, W.throughThisBrowser))),
        button("sound-look", W.lookAgainForAudioInputs, () => this.#lookForInputs(), { class: "quiet" }));
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    }
  }

  /** @param {string} id */
  async #openInput(id) {
    setText(this.error, "");
    if (!(await this.options.mayOpen("sound:browser"))) return;
    setText(this.busy, W.openingTheAudioInput);
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

  /**
   * @param {string} address
   * @param {string} [told] what the page says once it is open
   */
  async open(address, told = "") {
    setText(this.error, "");
    if (!address) {
      setText(this.error, W.writeAnAddressFirstSuch);
      return;
    }
    if (!(await this.options.mayOpen(address))) return;
    setText(this.busy, address.startsWith("serial:") ? W.listeningToTheBoardFinding : /^(tcp|udp|fifo)/.test(address) ? W.waitingForTheBoard : W.opening);
    try {
      await api.open(address);
      this.dialog.close();
      this.options.opened(address, told);
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    } finally {
      setText(this.busy, "");
    }
  }
}
