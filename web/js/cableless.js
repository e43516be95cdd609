// Boards without a cable, in the source dialog: over the network, or by a pipe.

import { button, h, select, setText } from "./dom.js";

/** @typedef {{how: string, host: string, here: string, port: string, path: string}} Cableless */

/**
 * The address of a board without a cable, or what is missing, as an Error.
 * @param {Cableless} c
 */
export function cablelessAddress(c) {
  const host = c.host.trim(), path = c.path.trim();
  if (c.how === "fifo") {
    if (!path) throw new Error("Write the pipe’s path, such as /tmp/board.");
    return "fifo:" + path;
  }
  const port = Number(c.port);
  if (!Number.isInteger(port) || port < 1 || port > 65535) throw new Error(`Port ${c.port || "(empty)"}: give a whole number from 1 to 65535.`);
  if (c.how === "tcp") {
    if (!host) throw new Error("Write the board’s name or address, such as 192.168.1.7.");
    if (/[?\s/]/.test(host)) throw new Error(`“${host}” is no name or address: leave out what is before and after it, such as http://.`);
    return `tcp:${host.includes(":") && !host.startsWith("[") ? `[${host}]` : host}:${port}`;
  }
  return `${c.how}:${c.here ? (c.here.includes(":") ? `[${c.here}]` : c.here) + ":" : ""}${port}`;
}

const HINTS = /** @type {Record<string, string>} */ ({
  tcp: "The board’s program listens on a port; this program connects to it.",
  "tcp-listen": "The board’s program connects to a port of this computer. This program waits ten seconds for it.",
  udp: "The board’s program sends packets of whole lines to a port of this computer. Packets can get lost: a column seq shows how many.",
  fifo: "Another program on this computer writes lines into a named pipe (mkfifo).",
});

export class CablelessForm {
  /** @param {(address: string) => void} open */
  constructor(open) {
    this.open = open;
    this.how = select("cableless-how", [["tcp", "this program calls the board (TCP)"], ["tcp-listen", "the board calls this computer (TCP)"], ["udp", "the board sends packets (UDP)"], ["fifo", "a pipe on this computer"]], () => this.#show());
    const field = (/** @type {string} */ id, /** @type {string} */ label, /** @type {Record<string, string>} */ attributes) => {
      const input = h("input", { type: "text", id: `cableless-${id}`, "data-testid": `cableless-${id}`, autocomplete: "off", spellcheck: "false", ...attributes });
      return { input, row: h("label", { class: "pick" }, h("span", {}, label), input) };
    };
    this.host = field("host", "Board’s name or address", { placeholder: "192.168.1.7" });
    this.port = field("port", "Port", { value: "3333", inputmode: "numeric" });
    this.path = field("path", "Path of the pipe", { placeholder: "/tmp/board" });
    this.here = select("cableless-here", [["", "this computer only"]], () => this.#show());
    this.hereRow = h("label", { class: "pick" }, h("span", {}, "Who may reach it"), this.here);
    this.hint = h("p", { class: "hint", "data-testid": "cableless-hint" });
    this.error = h("p", { class: "error", role: "alert", "data-testid": "cableless-error" });
    this.root = h("section", { class: "choice-list" }, h("h3", {}, "Board without a cable"),
      h("div", { class: "picks" }, h("label", { class: "pick" }, h("span", {}, "How"), this.how), this.host.row, this.hereRow, this.port.row, this.path.row),
      this.hint, this.error, button("cableless-open", "Open", () => this.#open()));
    this.#show();
  }

  /** @param {string[]} hosts addresses of the computer that runs the program */
  offer(hosts) {
    const before = this.here.value;
    this.here.replaceChildren(h("option", { value: "" }, "this computer only"), ...hosts.map((a) => h("option", { value: a }, `the network at ${a}`)), h("option", { value: "0.0.0.0" }, "every network"));
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
    const open = listens && this.here.value ? " No password is asked: everybody in that network can send in the board’s place." : "";
    setText(this.hint, HINTS[how] + " Lines or frames are the same as by cable." + open);
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
