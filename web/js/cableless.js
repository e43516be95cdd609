// Boards without a cable, in the source dialog: over the network, or by a pipe.

import { button, h, select, setText } from "./dom.js";
import { cablelessWords as W } from "./words.js";

/** @typedef {{how: string, host: string, here: string, port: string, path: string}} Cableless */

/**
 * The address of a board without a cable, or what is missing, as an Error.
 * @param {Cableless} c
 */
export function cablelessAddress(c) {
  const host = c.host.trim(), path = c.path.trim();
  if (c.how === "fifo") {
    if (!path) throw new Error(W.writeThePipesPathSuch);
    return "fifo:" + path;
  }
  const port = Number(c.port);
  if (!Number.isInteger(port) || port < 1 || port > 65535) throw new Error(W.portGiveAWholeNumber(c.port || "(empty)"));
  if (c.how === "tcp") {
    if (!host) throw new Error(W.writeTheBoardsNameOr);
    if (/[?\s/]/.test(host)) throw new Error(`“${host}” is no name or address: leave out what is before and after it, such as http://.`);
    return `tcp:${host.includes(":") && !host.startsWith("[") ? `[${host}]` : host}:${port}`;
  }
  return `${c.how}:${c.here ? (c.here.includes(":") ? `[${c.here}]` : c.here) + ":" : ""}${port}`;
}

const HINTS = /** @type {Record<string, string>} */ ({
  tcp: W.theBoardsProgramListensOn,
  "tcp-listen": W.theBoardsProgramConnectsTo,
  udp: W.theBoardsProgramSendsPackets,
  fifo: W.anotherProgramOnThisComputer,
});

export class CablelessForm {
  /** @param {(address: string) => void} open */
  constructor(open) {
    this.open = open;
    this.how = select("cableless-how", [["tcp", W.thisProgramCallsTheBoard], ["tcp-listen", W.theBoardCallsThisComputer], ["udp", W.theBoardSendsPacketsUDP], ["fifo", W.aPipeOnThisComputer]], () => this.#show());
    const field = (/** @type {string} */ id, /** @type {string} */ label, /** @type {Record<string, string>} */ attributes) => {
      const input = h("input", { type: "text", id: `cableless-${id}`, "data-testid": `cableless-${id}`, autocomplete: "off", spellcheck: "false", ...attributes });
      return { input, row: h("label", { class: "pick" }, h("span", {}, label), input) };
    };
    this.host = field("host", W.boardsNameOrAddress, { placeholder: "192.168.1.7" });
    this.port = field("port", W.port, { value: "3333", inputmode: "numeric" });
    this.path = field("path", W.pathOfThePipe, { placeholder: "/tmp/board" });
    this.here = select("cableless-here", [["", W.thisComputerOnly]], () => this.#show());
    this.hereRow = h("label", { class: "pick" }, h("span", {}, W.whoMayReachIt), this.here);
    this.hint = h("p", { class: "hint", "data-testid": "cableless-hint" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "cableless-error" });
    this.root = h("section", { class: "choice-list" }, h("h3", {}, W.boardWithoutACable),
      h("div", { class: "picks" }, h("label", { class: "pick" }, h("span", {}, W.how), this.how), this.host.row, this.hereRow, this.port.row, this.path.row),
      this.hint, this.error, button("cableless-open", W.open, () => this.#open()));
    this.#show();
  }

  /** @param {string[]} hosts addresses of the computer that runs the program */
  offer(hosts) {
    const before = this.here.value;
    this.here.replaceChildren(h("option", { value: "" }, W.thisComputerOnly), ...hosts.map((a) => h("option", { value: a }, W.theNetworkAt(a))), h("option", { value: "0.0.0.0" }, W.everyNetwork));
    this.here.value = [...this.here.options].some((o) => o.value === before) ? before : "";
    this.#show();
  }

  #show() {
    const how = this.how.value;
    const listens = how === "tcp-listen" || how === "udp";
    this.host.row.hidden = how !== "tcp";
    this.hereRow.hidden = !listens;
    this.port.row.hidden = how === "fifo";
    this.path.row.hidden = how !== "fifo";
    const open = listens && this.here.value ? W.noPasswordIsAskedEverybody : "";
    setText(this.hint, HINTS[how] + W.linesOrFramesAreThe + open);
    setText(this.error, "");
  }

  #open() {
    setText(this.error, "");
    try {
      this.open(cablelessAddress({ how: this.how.value, host: this.host.input.value, here: this.here.value, port: this.port.input.value, path: this.path.input.value }));
    } catch (e) {
      setText(this.error, e instanceof Error ? e.message : String(e));
    }
  }
}
