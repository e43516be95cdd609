// Sound through the browser's own audio input: asks for it, has the browser's
// processing switched off and looks that it is, and sends the samples to the
// program. One page sends at a time.

import { request } from "./api.js";
import { audioInputWords as W } from "./words.js";

const PROCESSING = /** @type {const} */ (["echoCancellation", "noiseSuppression", "autoGainControl"]);
/** What may wait to be sent: two seconds at 48 kHz, two channels. More is given up and shows as a gap. */
const MOST_WAITING_BYTES = 768_000;
const READY_MS = 8000;
const ALIVE_MS = 3000;
/** In this tab's own memory: what it was sending, so that a reload goes on with it. */
const SENDING = W.pulsewrightSound;

/** @typedef {{id: string, name: string}} Input */
/** @typedef {{id: string, channels: 1|2, side: "left"|"right"|"both", keep: "slow"|"full"}} InputChoice */
/** @typedef {{state: "off"|"starting"|"on"|"lost", text: string, warning: string, device: string, rateHz: number}} InputState */

/**
 * What went wrong, for a person.
 * @param {unknown} e
 */
export function mediaProblem(e) {
  const name = e instanceof DOMException || e instanceof Error ? e.name : "";
  switch (name) {
    case "NotAllowedError":
    case "SecurityError":
      return W.theBrowserRefusedTheAudio;
    case "NotFoundError":
      return W.thisBrowserFindsNoAudio;
    case "NotReadableError":
    case "AbortError":
      return W.theAudioInputCannotBe;
    case "OverconstrainedError":
      return W.theAudioInputChosenIs;
  }
  return e instanceof Error ? e.message : String(e);
}

/** The names of what a track's settings say is still on, and of what they do not tell.
 * @param {Record<string, unknown>} settings */
export function processingOf(settings) {
  return {
    on: PROCESSING.filter((p) => settings[p] === true || (typeof settings[p] === "string" && settings[p] !== "")),
    unsure: PROCESSING.filter((p) => settings[p] === undefined),
  };
}

/**
 * The address under which the program knows a device of the browser.
 * @param {string} name
 * @param {InputChoice} choice
 */
export function browserAddress(name, choice) {
  const clean = name.replace(/[\u0000-\u001f\u007f?\ufffd]/g, " ").split(/\s+/).filter(Boolean).join(" ");
  const options = [];
  if (choice.keep === "full") options.push("keep=full");
  if (choice.side !== "left") options.push("side=" + choice.side);
  return `sound:browser/${clean}${options.length > 0 ? "?" + options.join("&") : ""}`;
}

export class AudioInput {
  /** @param {{changed: (state: InputState) => void}} options */
  constructor(options) {
    this.options = options;
    /** @type {InputState} */
    this.state = { state: "off", text: "", warning: "", device: "", rateHz: 0 };
    /** @type {MediaStream|null} */
    this.media = null;
    /** @type {AudioContext|null} */
    this.audio = null;
    /** @type {AudioWorkletNode|null} */
    this.node = null;
    /** @type {MediaStreamAudioSourceNode|null} */
    this.input = null;
    /** @type {WebSocket|null} */
    this.socket = null;
    /** @type {InputChoice|null} */
    this.choice = null;
    this.alive = 0;
    this.givenUp = 0;
    this.run = 0;
    window.addEventListener("pagehide", () => this.#end(W.thePageThatSentThe));
    document.addEventListener("visibilitychange", () => {
      if (this.state.state !== "on") return;
      this.#say(document.hidden ? W.thePageThatSendsThe : W.thePageThatSendsThe2);
      if (!document.hidden) void this.audio?.resume();
    });
    navigator.mediaDevices?.addEventListener?.("devicechange", () => void this.#again());
  }

  /** Why this page cannot have an audio input, "" when it can. */
  static missing() {
    if (!window.isSecureContext || !navigator.mediaDevices?.getUserMedia) return W.theBrowserGivesItsAudio;
    if (typeof AudioContext === "undefined" || typeof AudioWorkletNode === "undefined") return W.thisBrowserHasNoAudio;
    return "";
  }

  /**
   * The audio inputs; asks for permission first, since without it they have no names.
   * @returns {Promise<Input[]>}
   */
  async list() {
    try {
      if (!(await navigator.mediaDevices.enumerateDevices()).some((d) => d.kind === "audioinput" && d.label)) {
        const asked = await navigator.mediaDevices.getUserMedia({ audio: true });
        asked.getTracks().forEach((t) => t.stop());
      }
      const all = (await navigator.mediaDevices.enumerateDevices()).filter((d) => d.kind === "audioinput");
      // "default" and "communications" are second names of inputs that are listed themselves.
      const own = all.filter((d) => d.deviceId !== "default" && d.deviceId !== "communications");
      return (own.length > 0 ? own : all).map((d, i) => ({ id: d.deviceId, name: d.label || W.audioInput(i + 1) }));
    } catch (e) {
      throw new Error(mediaProblem(e), { cause: e });
    }
  }

  /**
   * Opens an input, sends it, and makes it the source; or, where the program is
   * waiting for it to come back, lets the program go on with it by itself. Throws
   * a sentence.
   * @param {InputChoice} choice
   * @param {boolean} [waitedFor]
   */
  async start(choice, waitedFor = false) {
    this.#release();
    const run = ++this.run;
    this.choice = choice;
    this.#set({ state: "starting", text: W.openingTheAudioInput, warning: "" });
    try {
      const address = await this.#open(choice, run);
      if (run !== this.run) return;
      if (!waitedFor) await request("PUT", "/source", { address });
      if (run !== this.run) return;
      this.#set({ state: "on", text: W.thisPageSendsTheSound(this.state.device) });
      this.#remember();
      this.#wake();
    } catch (e) {
      if (run !== this.run) return;
      this.#release();
      this.#set({ state: "off", text: "" });
      throw new Error(mediaProblem(e), { cause: e });
    }
  }

  /**
   * @param {InputChoice} choice
   * @param {number} run
   */
  async #open(choice, run) {
    /** @type {MediaTrackConstraints} */
    const audio = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: { ideal: choice.channels } };
    if (choice.id) audio.deviceId = { exact: choice.id };
    const media = await navigator.mediaDevices.getUserMedia({ audio });
    if (run !== this.run) {
      media.getTracks().forEach((t) => t.stop());
      throw new Error(W.anotherInputWasChosen);
    }
    this.media = media;
    const track = media.getAudioTracks()[0];
    const settings = /** @type {MediaTrackSettings & Record<string, unknown>} */ (track.getSettings());
    const { on, unsure } = processingOf(settings);
    // The input runs with the output: a tenth of a second of buffer, so that a busy moment loses nothing.
    this.audio = new AudioContext({ sampleRate: settings.sampleRate || undefined, latencyHint: 0.1 });
    const context = this.audio;
    await context.audioWorklet.addModule("js/audio-worklet.js");
    void context.resume();
    const channels = choice.side === "left" ? 1 : Math.min(choice.channels, Number(settings.channelCount ?? choice.channels)) === 2 ? 2 : 1;
    if (choice.side !== "left" && channels < 2) throw new Error(W.givesOneChannelInThis(track.label));
    this.input = context.createMediaStreamSource(media);
    this.node = new AudioWorkletNode(context, "pulsewright-capture", { numberOfInputs: 1, numberOfOutputs: 1, channelCount: channels, channelCountMode: "explicit", channelInterpretation: "discrete", processorOptions: { channels } });
    const socket = await this.#connect({ device: track.label || W.audioInput2, rateHz: context.sampleRate, channels, processing: on, unsure });
    this.socket = socket;
    this.node.port.onmessage = (e) => this.#send(socket, e.data);
    this.input.connect(this.node).connect(context.destination); // its output is silence; unconnected nodes may be left out of work
    track.addEventListener("ended", () => this.#lost(W.theAudioInputWasUnplugged));
    track.addEventListener("mute", () => this.#say(W.theSystemHasMutedThe));
    track.addEventListener("unmute", () => this.#say(W.theAudioInputIsNo));
    context.addEventListener("statechange", () => {
      if (context !== this.audio || context.state === "running" || context.state === "closed") return;
      this.#say(W.theBrowserPutTheSound);
      void context.resume();
    });
    this.alive = window.setInterval(() => socket.readyState === WebSocket.OPEN && socket.send('{"type":"alive"}'), ALIVE_MS);
    const warning = on.length > 0 ? W.theBrowserStillHasOn(on.join(", ")) : unsure.length > 0 ? W.theBrowserDoesNotTell(unsure.join(", ")) : "";
    this.#set({ device: track.label || W.audioInput2, rateHz: context.sampleRate, warning });
    return browserAddress(track.label || W.audioInput2, choice);
  }

  /**
   * @param {object} hello
   * @returns {Promise<WebSocket>}
   */
  #connect(hello) {
    return new Promise((resolve, reject) => {
      const socket = new WebSocket(`${location.protocol === "https:" ? "wss" : "ws"}://${location.host}/api/v1/audio`, "pulsewright.audio.v1");
      const timer = window.setTimeout(() => {
        reject(new Error(W.theProgramDoesNotTake));
        socket.close();
      }, READY_MS);
      socket.onopen = () => socket.send(JSON.stringify(hello));
      socket.onmessage = () => {
        window.clearTimeout(timer);
        socket.onclose = (e) => this.socket === socket && this.#closed(e.reason);
        resolve(socket);
      };
      socket.onclose = (e) => {
        window.clearTimeout(timer);
        reject(new Error(e.reason ? W.theProgramDoesNotTake2(e.reason) : W.theProgramDoesNotTake3));
      };
    });
  }

  /**
   * @param {WebSocket} socket
   * @param {ArrayBuffer} frame
   */
  #send(socket, frame) {
    if (socket.readyState !== WebSocket.OPEN) return;
    if (socket.bufferedAmount > MOST_WAITING_BYTES) {
      this.givenUp++;
      return;
    }
    socket.send(frame);
  }

  #remember() {
    try {
      window.sessionStorage.setItem(SENDING, JSON.stringify({ choice: this.choice, device: this.state.device }));
    } catch {
      // A tab without memory begins anew after a reload.
    }
  }

  #forget() {
    try {
      window.sessionStorage.removeItem(SENDING);
    } catch {
      // Nothing was remembered either.
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
    if (!text || this.state.state !== "off" || AudioInput.missing()) return;
    const { choice, device } = JSON.parse(text);
    const found = (await navigator.mediaDevices.enumerateDevices()).find((d) => d.kind === "audioinput" && d.label === device);
    if (found) await this.start({ ...choice, id: found.deviceId }, true);
  }

  /** A browser may hold sound back until somebody touches the page. */
  #wake() {
    const context = this.audio;
    if (!context || context.state === "running") return;
    const on = this.state.text;
    window.setTimeout(() => {
      if (context !== this.audio || context.state === "running") return;
      this.#set({ text: W.theBrowserHoldsTheSound });
      const go = async () => {
        await context.resume();
        if (context === this.audio) this.#set({ text: on });
      };
      document.addEventListener("pointerdown", go, { once: true });
      document.addEventListener("keydown", go, { once: true });
    }, 1000);
  }

  /** @param {string} text goes where a board's own words go */
  #say(text) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(JSON.stringify({ type: "say", text }));
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
    if (reason.startsWith("another")) this.#forget();
    if (reason.startsWith("another")) this.#set({ state: "off", text: W.thisPageNoLongerSends(reason), warning: "" });
    else this.#set({ state: "lost", text: reason ? W.theSoundStopped(reason) : W.theConnectionThatCarriedThe });
  }

  /** @param {string} text */
  #lost(text) {
    const device = this.state.device;
    this.#end(text);
    this.#release();
    this.#set({ state: "lost", text: W.itGoesOnWhenIt(device, text), warning: "" });
  }

  /** A device came or went: the one that was lost may be back. */
  async #again() {
    if (this.state.state !== "lost" || !this.choice) return;
    const back = (await navigator.mediaDevices.enumerateDevices()).find((d) => d.kind === "audioinput" && d.label === this.state.device);
    if (!back || this.state.state !== "lost") return;
    try {
      await this.start({ ...this.choice, id: back.deviceId }, true);
    } catch (e) {
      this.#set({ state: "lost", text: e instanceof Error ? e.message : String(e) });
    }
  }

  stop() {
    this.run++;
    this.#forget();
    this.#end(W.theSoundWasStoppedOn);
    this.#release();
    this.#set({ state: "off", text: "", warning: "" });
  }

  #release() {
    window.clearInterval(this.alive);
    const socket = this.socket;
    this.socket = null;
    socket?.close(1000);
    this.node?.port.postMessage("stop");
    this.input?.disconnect();
    this.node?.disconnect();
    this.media?.getTracks().forEach((t) => t.stop());
    if (this.audio && this.audio.state !== "closed") void this.audio.close();
    this.node = this.input = this.media = this.audio = null;
  }

  /** @param {Partial<InputState>} change */
  #set(change) {
    this.state = { ...this.state, ...change };
    this.options.changed(this.state);
  }
}
