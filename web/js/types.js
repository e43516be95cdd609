// Names under which the page uses what the server sends, for the type checker only. The types themselves are
// made from the program's: wire.d.ts.

/** @import * as Wire from "./wire.js" */

/** @typedef {Wire.ChannelState["kind"]} Kind */
/** @typedef {Wire.Drift} DriftSettings */
/** @typedef {Wire.Hum} HumSettings */
/** @typedef {Wire.Smooth} SmoothSettings */
/** @typedef {Wire.Settings} PathSettings */
/** @typedef {Wire.Scale} ScaleSettings */
/** @typedef {Wire.ChannelState} Channel */
/** @typedef {Wire.Coupling} Coupling */
/** `text` is made by the trace on first drawing. @typedef {Wire.Gap & {text?: string}} Gap */
/** @typedef {Wire.Note} Note */
/** @typedef {Wire.ClockState} Clock */
/** @typedef {Wire.Playback} Playback */
/** @typedef {Wire.Health} Health */
/** @typedef {Wire.Beat} Beat */
/** @typedef {Wire.Reading & {index: number}} Reading */
/** @typedef {Wire.Info} SourceInfo */
/** The state as the `state` message gives it; `GET /state` tells the owner apart. @typedef {Wire.State & {owner?: boolean}} ServerState */
/** @typedef {Wire.Response} PathResponse */
/** @typedef {Wire.Choice} Choice */
/** @typedef {Wire.Choices} Choices */
/** @typedef {Wire.Message} Message */
/** @typedef {Wire.Report} Report */
/** @typedef {{channel: number, point: number}} Probe */
/** @typedef {Wire.Presentation} Presentation */
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
