// Runs on the browser's audio thread: packs what the audio input gives into the
// frames of server/API.md, about a hundred a second, and hands them to the page.
// Loaded by audio-input.js as a worklet, alone, so it imports nothing.

const HEADER_BYTES = 32;

/** @typedef {{process(inputs: Float32Array[][]): boolean}} Processor */

const scope = /** @type {any} */ (globalThis);

class Capture extends scope.AudioWorkletProcessor {
  /** @param {{processorOptions: {channels: number, absolute?: boolean}}} options */
  constructor(options) {
    super();
    this.channels = options.processorOptions.channels;
    this.most = Math.max(1, Math.round(scope.sampleRate / 100 / 128)) * 128;
    // Counted from the first sample, or (absolute) as the context counts.
    this.started = options.processorOptions.absolute ? 0 : -1;
    this.sequence = 0;
    this.first = 0;
    this.held = 0;
    this.buffer = new ArrayBuffer(HEADER_BYTES + 4 * this.channels * this.most);
    this.samples = new Float32Array(this.buffer, HEADER_BYTES);
    this.stopped = false;
    this.port.onmessage = (/** @type {MessageEvent} */ e) => {
      if (e.data === "stop") this.stopped = true;
    };
  }

  #fresh() {
    this.buffer = new ArrayBuffer(HEADER_BYTES + 4 * this.channels * this.most);
    this.samples = new Float32Array(this.buffer, HEADER_BYTES);
    this.held = 0;
  }

  /** @param {Float32Array[][]} inputs */
  process(inputs) {
    if (this.stopped) return false;
    const input = inputs[0];
    // No channel: the track is muted or over. The places go on, the samples are missing.
    if (!input || input.length === 0) {
      this.#send();
      return true;
    }
    const at = scope.currentFrame;
    if (this.started < 0) this.started = at;
    if (this.held > 0 && at - this.started !== this.first + this.held) this.#send();
    if (this.held === 0) this.first = at - this.started;
    const n = input[0].length;
    for (let c = 0; c < this.channels; c++) this.samples.set(input[Math.min(c, input.length - 1)], c * this.most + this.held);
    this.held += n;
    if (this.held + n > this.most) this.#send();
    return true;
  }

  #send() {
    if (this.held === 0) return;
    const n = this.held;
    let buffer = this.buffer;
    if (n < this.most) {
      buffer = new ArrayBuffer(HEADER_BYTES + 4 * this.channels * n);
      const short = new Float32Array(buffer, HEADER_BYTES);
      for (let c = 0; c < this.channels; c++) short.set(this.samples.subarray(c * this.most, c * this.most + n), c * n);
    }
    const head = new DataView(buffer);
    head.setUint8(0, 0x50);
    head.setUint8(1, 0x41);
    head.setUint8(2, 1);
    head.setUint8(3, this.channels);
    head.setUint32(4, this.sequence, true);
    head.setBigInt64(8, BigInt(this.first), true);
    head.setFloat64(16, scope.sampleRate, true);
    head.setUint32(24, n, true);
    this.sequence = (this.sequence + 1) >>> 0;
    this.port.postMessage(buffer, [buffer]);
    this.#fresh();
  }
}

scope.registerProcessor("pulsewright-capture", Capture);
