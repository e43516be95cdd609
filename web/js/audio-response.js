// Plays a sweep through the browser's audio output and records what comes back,
// sample by sample in step, for the measurement of a board's frequency response.
// Both runs are made with the same open output and input, so that the time
// between them stays the same.

import { binary, request } from "./api.js";
import { mediaProblem, processingOf } from "./audio-input.js";
import { audioResponseWords as W } from "./words.js";

/** Recorded after the sweep, as the program expects it (dsp/response). */
const TAIL_SECONDS = 3;
const LEAD_SECONDS = 0.4;
const HEADER_BYTES = 32;

/** @typedef {{kind: "loop"|"board", peak: number, level: string}} Run */
/** @typedef {{freqHz: number[], gainDb: number[], phaseDegrees: number[], trust: number[], passbandDb: number, trustedLowHz: number, trustedHighHz: number, corners: {freqHz: number, rising: boolean}[]}} Measured */

/**
 * Puts a capture frame's samples into a recording that begins at a frame.
 * @param {Float32Array} into NaN where nothing has come yet
 * @param {ArrayBuffer} frame
 * @param {number} start the recording's first sample, counted as the frame counts
 */
export function place(into, frame, start) {
  const head = new DataView(frame);
  const first = Number(head.getBigInt64(8, true)) - start;
  const n = head.getUint32(24, true);
  const samples = new Float32Array(frame, HEADER_BYTES, n); // the first channel's
  const from = Math.max(0, -first);
  const to = Math.min(n, into.length - first);
  if (to > from) into.set(samples.subarray(from, to), first + from);
  return first + n >= into.length;
}

export class ResponseBench {
  constructor() {
    /** @type {MediaStream|null} */
    this.media = null;
    /** @type {AudioContext|null} */
    this.audio = null;
    /** @type {AudioWorkletNode|null} */
    this.node = null;
    /** @type {AudioBuffer|null} */
    this.stimulus = null;
    /** @type {AudioBufferSourceNode|null} */
    this.playing = null;
    this.seconds = 20;
    this.warning = "";
    /** @type {((frame: ArrayBuffer) => void)|null} */
    this.take = null;
    /** @type {((reason: Error) => void)|null} */
    this.fail = null;
  }

  get open() {
    return this.audio !== null;
  }

  /**
   * Opens output and input. Throws a sentence.
   * @param {string} deviceId of the input
   */
  async start(deviceId) {
    this.close();
    try {
      /** @type {MediaTrackConstraints} */
      const audio = { echoCancellation: false, noiseSuppression: false, autoGainControl: false, channelCount: { ideal: 1 } };
      if (deviceId) audio.deviceId = { exact: deviceId };
      this.media = await navigator.mediaDevices.getUserMedia({ audio });
      const track = this.media.getAudioTracks()[0];
      const settings = track.getSettings();
      const { on } = processingOf(/** @type {Record<string, unknown>} */ (settings));
      this.warning = on.length > 0 ? W.theBrowserStillHasOn(on.join(", ")) : "";
      const context = new AudioContext({ sampleRate: settings.sampleRate || undefined, latencyHint: 0.2 }); // long buffers: nothing must be lost for 20 s
      this.audio = context;
      await context.audioWorklet.addModule("js/audio-worklet.js");
      await context.resume();
      this.node = new AudioWorkletNode(context, "pulsewright-capture", { numberOfInputs: 1, numberOfOutputs: 1, channelCount: 1, channelCountMode: "explicit", channelInterpretation: "discrete", processorOptions: { channels: 1, absolute: true } });
      this.node.port.onmessage = (e) => this.take?.(e.data);
      context.createMediaStreamSource(this.media).connect(this.node).connect(context.destination);
      track.addEventListener("ended", () => this.#lost(W.theAudioInputWasUnplugged));
      context.addEventListener("statechange", () => context === this.audio && context.state !== "running" && this.#lost(W.theBrowserPutTheSound));
      const data = await binary("GET", `/response/stimulus?rateHz=${context.sampleRate}&seconds=${this.seconds}`);
      const samples = new Float32Array(data);
      this.stimulus = context.createBuffer(1, samples.length, context.sampleRate);
      this.stimulus.copyToChannel(samples, 0);
    } catch (e) {
      this.close();
      throw new Error(mediaProblem(e), { cause: e });
    }
  }

  /**
   * Makes one run and hands it to the program. Throws a sentence.
   * @param {"loop"|"board"} kind
   * @param {number} level of the output, share of full scale
   * @param {(share: number) => void} progress
   * @returns {Promise<Run>}
   */
  async run(kind, level, progress) {
    const context = this.audio;
    const stimulus = this.stimulus;
    if (!context || !stimulus) throw new Error(W.openTheSoundCardFirst);
    const rate = context.sampleRate;
    const total = stimulus.length + Math.round(TAIL_SECONDS * rate);
    const recorded = new Float32Array(total).fill(NaN);
    const begin = Math.ceil((context.currentTime + LEAD_SECONDS) * rate);
    const source = context.createBufferSource();
    const gain = context.createGain();
    gain.gain.value = level;
    source.buffer = stimulus;
    source.connect(gain).connect(context.destination);
    this.playing = source;
    source.start(begin / rate);
    const shown = window.setInterval(() => progress(Math.min(1, Math.max(0, (context.currentTime * rate - begin) / total))), 200);
    try {
      await new Promise((resolve, reject) => {
        this.fail = reject;
        this.take = (frame) => {
          if (place(recorded, frame, begin)) resolve(null);
        };
      });
    } finally {
      window.clearInterval(shown);
      this.take = this.fail = null;
      this.playing = null;
      gain.disconnect();
    }
    return request("POST", `/response/runs?kind=${kind}&rateHz=${rate}&seconds=${this.seconds}`, recorded);
  }

  /** @param {string} text */
  #lost(text) {
    this.fail?.(new Error(text));
    this.close();
  }

  stop() {
    this.fail?.(new Error(W.stopped));
    this.playing?.stop();
  }

  close() {
    this.fail?.(new Error(W.stopped));
    this.node?.port.postMessage("stop");
    this.node?.disconnect();
    this.media?.getTracks().forEach((t) => t.stop());
    const context = this.audio;
    this.node = this.media = this.audio = this.stimulus = null;
    if (context && context.state !== "closed") void context.close();
  }
}

/** The same through the sound card of the program's own computer, where it was built with one. */
export class CardBench {
  constructor() {
    this.seconds = 20;
    this.warning = "";
    this.open = false;
  }

  /** @param {string} input the device's name */
  async start(input) {
    this.open = false;
    await request("PUT", "/response/card", { input, output: "default", rateHz: 48000 });
    this.open = true;
  }

  /**
   * @param {"loop"|"board"} kind
   * @param {number} level
   * @param {(share: number) => void} progress
   * @returns {Promise<Run>}
   */
  async run(kind, level, progress) {
    const all = (this.seconds + TAIL_SECONDS) * 1000;
    const began = performance.now();
    const shown = window.setInterval(() => progress(Math.min(1, (performance.now() - began) / all)), 200);
    try {
      return await request("POST", "/response/card/runs", { kind, level, seconds: this.seconds }, all + 20_000);
    } finally {
      window.clearInterval(shown);
    }
  }

  stop() {
    void this.close();
  }

  async close() {
    if (!this.open) return;
    this.open = false;
    await request("DELETE", "/response/card").catch(() => {}); // the program closes it at its end, too
  }
}
