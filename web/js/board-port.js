// A board on the computer that shows the page: reads its serial port by Web Serial,
// where the browser has it, and sends the bytes to the program as they come. The
// program decodes them as those of a port of its own. One page sends at a time.

import { request } from "./api.js";
import { boardPortWords as W } from "./words.js";

/** What may wait to be sent. Beyond it the port is not read, and the browser's own buffer fills. */
const MOST_WAITING_BYTES = 256_000;
/** Of one message, without its number. */
const MOST_BYTES = 16_384;
/** The browser's buffer: a second and a half of the fastest common port. */
const BUFFER_BYTES = 262_144;
const READY_MS = 8000;
const ALIVE_MS = 3000;
/** In this tab's own memory: what it was sending, so that a reload goes on with it. */
const SENDING = W.pulsewrightPort;

export const BAUDS = [115200, 9600, 19200, 38400, 57600, 230400, 250000, 460800, 500000, 921600, 1000000, 2000000];

/**
 * What is used of Web Serial (a draft of the Web Incubator Community Group).
 * @typedef {{usbVendorId?: number, usbProductId?: number}} PortInfo
 * @typedef {{open: (o: {baudRate: number, bufferSize?: number}) => Promise<void>, close: () => Promise<void>, readable: ReadableStream<Uint8Array>|null,
 *   setSignals?: (s: {dataTerminalReady: boolean}) => Promise<void>, getInfo: () => PortInfo}} Port
 * @typedef {EventTarget & {requestPort: () => Promise<Port>, getPorts: () => Promise<Port[]>}} Serial
 */
/**
 * A port of this page's, and what is read of it: `opening` is the number of the newest
 * opening, 0 while it is closed.
 * @typedef {{port: Port, opening: number, reader: ReadableStreamDefaultReader<Uint8Array>|null}} Hold
 */
/** @typedef {{state: "off"|"starting"|"on"|"lost", text: string, warning: string, device: string}} PortState */

/** @returns {Serial|undefined} */
function serial() {
  return /** @type {{serial?: Serial}} */ (/** @type {unknown} */ (navigator)).serial;
}

/**
 * A name by which the board is found again: its USB identity.
 * @param {PortInfo} info
 */
export function portName(info) {
  const hex = (/** @type {number} */ n) => n.toString(16).padStart(4, "0");
  return info.usbVendorId === undefined ? "port" : `${hex(info.usbVendorId)}:${hex(info.usbProductId ?? 0)}`;
}

/**
 * What went wrong with a port, for a person.
 * @param {unknown} e
 */
export function portProblem(e) {
  const name = e instanceof DOMException || e instanceof Error ? e.name : "";
  switch (name) {
    case "NotFoundError":
      return W.noPortWasChosenPlug;
    case "NetworkError":
    case "InvalidStateError":
      return W.thePortCannotBeOpened;
    case "SecurityError":
    case "NotAllowedError":
      return W.theBrowserRefusedThePort;
  }
  return e instanceof Error ? e.message : String(e);
}

export class BoardPort {
  /** @param {{changed: (state: PortState) => void}} options */
  constructor(options) {
    this.options = options;
    /** @type {PortState} */
    this.state = { state: "off", text: "", warning: "", device: "" };
    /** @type {Hold|null} */
    this.hold = null;
    /** @type {WebSocket|null} */
    this.socket = null;
    this.baud = BAUDS[0];
    this.alive = 0;
    this.run = 0;
    /** Openings and closings, one after the other. @type {Promise<void>} */
    this.work = Promise.resolve();
    window.addEventListener("pagehide", () => this.#end(W.thePageThatSentThe));
    serial()?.addEventListener("connect", () => void this.#again());
  }

  /** Why this page cannot reach a port, "" when it can. */
  static missing() {
    if (!window.isSecureContext) return W.theBrowserGivesSerialPorts;
    if (!serial()) return W.thisBrowserCannotReachSerial;
    return "";
  }

  /**
   * Asks for a port and makes it the source. Must come straight from a press. Throws a sentence.
   * @param {number} baud
   */
  async choose(baud) {
    try {
      const port = await serial()?.requestPort();
      if (port) await this.start(port, baud);
    } catch (e) {
      throw new Error(portProblem(e), { cause: e });
    }
  }

  /**
   * Sends a port and makes it the source; or, where the program is waiting for it to come
   * back, lets the program go on with it by itself. Throws a sentence.
   * @param {Port} port
   * @param {number} baud
   * @param {boolean} [waitedFor]
   */
  async start(port, baud, waitedFor = false) {
    this.#release();
    const run = ++this.run;
    const hold = (this.hold = /** @type {Hold} */ ({ port, opening: 0, reader: null }));
    this.baud = baud;
    const device = portName(port.getInfo());
    this.#set({ state: "starting", text: W.openingThePort, warning: "", device });
    try {
      this.socket = await this.#connect(device, hold);
      if (run !== this.run) return;
      if (!waitedFor) await request("PUT", "/source", { address: `serial:browser/${device}?baud=${baud}` });
      if (run !== this.run) return;
      this.#set({ state: "on", text: W.thisPageSendsTheBoard(device) });
      this.#remember();
    } catch (e) {
      if (run !== this.run) return;
      this.#release();
      this.#set({ state: "off", text: "" });
      throw new Error(portProblem(e), { cause: e });
    }
  }

  /**
   * @param {string} device
   * @param {Hold} hold
   * @returns {Promise<WebSocket>}
   */
  #connect(device, hold) {
    return new Promise((resolve, reject) => {
      const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/v1/serial`, "pulsewright.serial.v1");
      const timer = window.setTimeout(() => {
        reject(new Error(W.theProgramDoesNotTake));
        socket.close();
      }, READY_MS);
      socket.onopen = () => socket.send(JSON.stringify({ device }));
      socket.onmessage = (e) => {
        const m = JSON.parse(String(e.data));
        if (m.type === "open") this.work = this.work.then(() => this.#reopen(socket, hold, m));
        if (m.type !== "ready") return;
        window.clearTimeout(timer);
        if (this.hold !== hold) socket.close(1000);
        this.alive = window.setInterval(() => socket.readyState === WebSocket.OPEN && socket.send('{"type":"alive"}'), ALIVE_MS);
        socket.onclose = (c) => this.socket === socket && this.#closed(c.reason);
        resolve(socket);
      };
      socket.onclose = (e) => {
        window.clearTimeout(timer);
        reject(new Error(e.reason ? W.theProgramDoesNotTake2(e.reason) : W.theProgramDoesNotTake3));
      };
    });
  }

  /**
   * Opens the port at a baud rate, anew where it is open, and begins to read it.
   * @param {WebSocket} socket
   * @param {Hold} hold
   * @param {{id: number, baud: number}} order
   */
  async #reopen(socket, hold, { id, baud }) {
    if (this.hold !== hold) return;
    try {
      await this.#shut(hold);
      await hold.port.open({ baudRate: baud, bufferSize: BUFFER_BYTES });
      hold.opening = id;
      // Boards that are USB devices themselves send to nobody who is not ready.
      await hold.port.setSignals?.({ dataTerminalReady: true }).catch(() => {});
      socket.send(JSON.stringify({ type: "opened", id }));
      void this.#read(socket, hold, id);
    } catch (e) {
      if (socket.readyState === WebSocket.OPEN) socket.send(JSON.stringify({ type: "failed", id, text: portProblem(e).slice(0, 160) }));
    }
  }

  /**
   * Sends what comes until the port is opened anew or gone.
   * @param {WebSocket} socket
   * @param {Hold} hold
   * @param {number} id
   */
  async #read(socket, hold, id) {
    while (hold.opening === id && hold.port.readable) {
      const reader = hold.port.readable.getReader();
      hold.reader = reader;
      try {
        for (;;) {
          const { value, done } = await reader.read();
          if (done) return;
          for (let at = 0; at < value.length; at += MOST_BYTES) this.#send(socket, id, value.subarray(at, at + MOST_BYTES));
          while (socket.readyState === WebSocket.OPEN && socket.bufferedAmount > MOST_WAITING_BYTES) await new Promise((go) => window.setTimeout(go, 10));
        }
      } catch {
        // A broken byte or a full buffer ends this stream and the port gives a new one; a
        // port that was unplugged gives none.
      } finally {
        reader.releaseLock();
        if (hold.reader === reader) hold.reader = null;
      }
    }
    if (hold.opening === id && this.hold === hold) this.#lost(W.theBoardWasUnplugged);
  }

  /**
   * @param {WebSocket} socket
   * @param {number} id
   * @param {Uint8Array} bytes
   */
  #send(socket, id, bytes) {
    if (socket.readyState !== WebSocket.OPEN) return;
    const message = new Uint8Array(4 + bytes.length);
    new DataView(message.buffer).setUint32(0, id, true);
    message.set(bytes, 4);
    socket.send(message);
  }

  /**
   * Closes a port, if it is open.
   * @param {Hold} hold
   */
  async #shut(hold) {
    if (hold.opening === 0) return;
    hold.opening = 0;
    await hold.reader?.cancel().catch(() => {});
    await hold.port.close().catch(() => {});
  }

  #remember() {
    try {
      window.sessionStorage.setItem(SENDING, JSON.stringify({ device: this.state.device, baud: this.baud }));
    } catch {
      // A tab without memory begins anew after a reload.
    }
  }

  /** After a reload: goes on with what this tab was sending when the program waits for it. Throws a sentence. */
  async resume() {
    let text = null;
    try {
      text = window.sessionStorage.getItem(SENDING);
    } catch {
      return;
    }
    if (!text || this.state.state !== "off" || BoardPort.missing()) return;
    const { device, baud } = JSON.parse(text);
    const found = await this.#find(device);
    if (found) await this.start(found, baud, true);
  }

  /** @param {string} device */
  async #find(device) {
    return (await serial()?.getPorts())?.find((p) => portName(p.getInfo()) === device);
  }

  /** @param {string} text */
  #end(text) {
    const socket = this.socket;
    this.socket = null;
    if (socket?.readyState === WebSocket.OPEN) {
      socket.send(JSON.stringify({ type: "end", text }));
      socket.close(1000);
    }
  }

  /** @param {string} reason of the program's for closing */
  #closed(reason) {
    this.#release();
    const chosen = reason.startsWith("another");
    if (chosen) this.#set({ state: "off", text: W.thisPageNoLongerSends(reason), warning: "" });
    else this.#set({ state: "lost", text: reason ? W.theBoardsPortStopped(reason) : W.theConnectionThatCarriedThe });
  }

  /** @param {string} text */
  #lost(text) {
    this.#end(text);
    this.#release();
    this.#set({ state: "lost", text: W.itGoesOnWhenIt(this.state.device, text), warning: "" });
  }

  /** A port came: the one that was lost may be back. */
  async #again() {
    if (this.state.state !== "lost") return;
    try {
      const back = await this.#find(this.state.device);
      if (back && this.state.state === "lost") await this.start(back, this.baud, true);
    } catch (e) {
      this.#set({ state: "lost", text: e instanceof Error ? e.message : String(e) });
    }
  }

  #release() {
    window.clearInterval(this.alive);
    const socket = this.socket;
    this.socket = null;
    socket?.close(1000);
    const hold = this.hold;
    this.hold = null;
    if (hold) this.work = this.work.then(() => this.#shut(hold));
  }

  /** @param {Partial<PortState>} change */
  #set(change) {
    this.state = { ...this.state, ...change };
    this.options.changed(this.state);
  }
}
