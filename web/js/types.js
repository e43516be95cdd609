// Shapes of what the server sends (server/API.md), for the type checker only.

/** @typedef {"pulse"|"ecg"|"other"} Kind */
/** @typedef {{on: boolean, cutoffHz: number, order: number}} DriftSettings */
/** @typedef {{mode: "off"|"notch"|"cancel", freqHz: number, bandwidthHz: number, harmonics: number}} HumSettings */
/** @typedef {{shape: "off"|"rc"|"butterworth", cutoffHz: number, order: number}} SmoothSettings */
/** @typedef {{drift: DriftSettings, hum: HumSettings, smooth: SmoothSettings}} PathSettings */
/**
 * @typedef {object} ScaleSettings
 * @property {"board"|"converter"|"fullscale"|"unknown"} source
 * @property {number} referenceVolts
 * @property {number} bits
 * @property {number} [fullScaleVolts] of a sound input
 * @property {number} [couplingHz] corner of a coupling capacitor that is undone, 0 = left
 * @property {number} [couplingFloorHz] what is left of it, 0 = 0.05 Hz
 * @property {boolean} signed
 * @property {number|null} supplyLowVolts
 * @property {number|null} supplyHighVolts
 * @property {number|null} midRailVolts
 * @property {number} gain
 * @property {boolean} invert
 */
/**
 * @typedef {object} Channel
 * @property {string} label
 * @property {Kind} kind
 * @property {string} unit "V", another unit, or "counts"
 * @property {PathSettings} path
 * @property {ScaleSettings} scale
 * @property {import("./board/words.js").Board|null} [board] before the converter
 * @property {Coupling|null} [coupling] of an undone coupling capacitor
 * @property {number} [humHz]
 * @property {number} [latencySeconds]
 * @property {number} [stepVolts]
 * @property {number} [lowVolts]
 * @property {number} [highVolts]
 */
/** @typedef {{cornerHz: number, floorHz: number, gainDb: number, noiseTimes: number, noiseLowHz: number, noiseHighHz: number}} Coupling */
/** `text` is made by the trace on first drawing. @typedef {{index: number, samples: number, reason: string, text?: string}} Gap */
/** @typedef {{index: number, text: string}} Note */
/** @typedef {{claimedRateHz: number, measuredRateHz: number, uncertaintyHz: number, usedRateHz: number, exact?: boolean, warning: string, doubt: string, recentHz: number, recentUncertaintyHz: number, slowestHz: number, fastestHz: number, pauseSeconds: number, pauseEverySeconds: number}} Clock */
/** @typedef {{position: number, length: number, speed: number, loop: boolean, skipGaps: boolean, gaps: number}} Playback */
/** @typedef {{lines: number, unreadable: number, lastUnreadable: string, lostSamples: number, detail: string}} Health */
/** @typedef {{sample: number, foot: number, kind: string, amplitude: number, quality: number}} Beat */
/** @typedef {{state: string, rateBpm: number, quality: number, reason: string, index: number}} Reading */
/** @typedef {{address: string, name: string, claimedRateHz: number, exactClock?: boolean, lengthSamples?: number, invented?: boolean, channels?: {label: string, kind: string}[], columns?: {name: string, unit: string, use: string, clock?: string, looks?: string}[]}} SourceInfo */
/**
 * The server's state, as `GET /state` and the `state` message give it.
 * @typedef {object} ServerState
 * @property {string} version
 * @property {number} epoch
 * @property {string} t0
 * @property {boolean} [owner]
 * @property {string} status
 * @property {string} statusText
 * @property {SourceInfo} source
 * @property {number} rateHz
 * @property {number} sourceRateHz
 * @property {number} decimation
 * @property {number} lastIndex
 * @property {Clock} clock
 * @property {Channel[]} channels
 * @property {Playback|null} playback
 * @property {number|null} [trimmerHz] of a simulated board, 0 when out
 * @property {{id: string, name: string, seconds: number, bytes: number}|null} recording
 * @property {number} watchers
 * @property {Gap[]} gaps
 * @property {Note[]} [notes]
 * @property {Health} [health]
 * @property {string[]} [text]
 * @property {string} [problem]
 */
/** @typedef {{freqHz: number[], drift: Stage, hum: Stage, smooth: Stage, whole: Stage}} PathResponse */
/** @typedef {{gainDb: number[], delaySeconds: number[]}} Stage */
/** @typedef {{address: string, name: string, what?: string}} Choice */
/** @typedef {{demos: Choice[], ports: Choice[], recordings: Choice[], sounds: Choice[], hosts?: string[], problems: string[]}} Choices */
/** @typedef {{channel: number, point: number}} Probe */
/**
 * One binary frame of the stream, decoded.
 * @typedef {object} Frame
 * @property {boolean} history
 * @property {boolean} gapBefore
 * @property {number} sequence
 * @property {number} first index of the first sample
 * @property {number} samples
 * @property {number} channels
 * @property {number} points
 * @property {number} rateHz
 * @property {number} epoch
 * @property {number} ageMs
 * @property {Float32Array} data [channel][point][sample]
 */

export {};
