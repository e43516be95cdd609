// The texts of the page, in one place, so that another language is one file. Codes that
// come from the server stand here with the words for them. Panels that are not listed
// yet still hold their own texts.

/** The tag beside everything that nobody measured. */
export const INVENTED = "INVENTED";
export const AID = "Learning aid, not a medical device.";

export const theme = { dark: "Dark", light: "Light" };

/** What the program says of the source's state, in words. @type {Record<string, string>} */
export const status = {
  idle: "no source chosen",
  opening: "opening …",
  waiting: "waiting for it to come back",
  ended: "at its end",
  failed: "failed",
  paused: "paused",
};

/** Heads and texts of the cautions: everywhere the same. @type {[string, string][]} */
export const cautions = [
  ["A learning aid, not a medical device.", " Nothing here may be used to diagnose, to treat or to raise an alarm."],
  ["Electrodes on a person: batteries only.", " Unplug the computer from charger, monitor, projector, dock, wired network and every other cable, or use a medically rated isolator. A USB cable connects the electrodes to the mains charger. One fault in the charger can kill."],
  ["To show it to a room:", " share the page, and let another computer drive the projector by the watch-only link. The computer at the board stays on its battery, with no cable."],
  ["A resistor in every electrode lead,", " also in the lead that the board drives. The wiring page says which."],
  ["Never", " with a pacemaker or another implant, on broken skin, or when a defibrillator may be used."],
  ["A light-only finger sensor is safer,", " but it too must run on low voltage and be enclosed. Do not look into bright or infrared LEDs."],
  ["Local regulations and qualified people come before anything said here.", " If in doubt, do not connect a person."],
];

export const wired = {
  title: "Is somebody wired to it with electrodes?",
  yes: "Yes",
  finger: "No, light through a finger",
  nobody: "No, nobody",
  before: "Read this before anybody is wired to a board",
  read: "I have read this",
  fingerLine: "Keep the sensor on low voltage and enclosed. Do not look into bright or infrared LEDs.",
  again: "Asked again after replugging, after two hours and for another person.",
  person: "Another person",
  is: { yes: "Electrodes on a person.", finger: "Light through a finger.", nobody: "Nobody is wired." },
  page: "How to wire it",
  line: "With electrodes on a person: batteries only, no cable to the mains.",
  projector: "Projector and mains off this computer: show it from another one by the watch-only link.",
  watcher: "If somebody is wired to the board: batteries only there, no cable to the mains.",
};

export const guide = [
  { title: "Bring the signal in", text: `Load the example program onto your board, plug it in, choose its port. Nothing built yet? Go on with the demo. ${wired.line}` },
  { title: "Say what it is", text: "Enter what one count is worth, so the trace is in volts. Choose finger or chest." },
  { title: "Trust the rate", text: "In Check, turn the trimmer until the hum is gone and the beat is still there. A rate appears when it can be trusted. Until then the line beside it says why not." },
];

export const glossaryTitle = "Words";

/** Words that need explaining: how they are written, and what they mean. @type {Record<string, [string, string]>} */
export const glossary = {
  count: ["count", "The number that a converter gives for a voltage. A 10-bit converter counts from 0 to 1023."],
  midrail: ["mid-rail", "The voltage around which the signal swings, half of a single supply: 2.5 V of 5 V."],
  drift: ["drift", "A slow change of the level, from breathing, warmth or movement."],
  highpass: ["high-pass", "A filter that removes what is slower than its frequency."],
  lowpass: ["low-pass", "A filter that removes what is faster than its frequency."],
  order: ["order", "How steep a filter is. Each step makes it steeper, and rounds or delays the signal more."],
  butterworth: ["Butterworth", "A filter that leaves what passes as level as possible. Named after Stephen Butterworth (1930)."],
  rc: ["RC", "The filter that one resistor and one capacitor make: gentle, order 1."],
  hum: ["hum", "What the mains brings in: 50 or 60 Hz and its multiples, the harmonics."],
  notch: ["notch", "A filter that removes one narrow band, here around the hum. It rings a little after each beat."],
  canceller: ["canceller", "Follows the hum’s size and phase and subtracts it. It leaves the beats as they are, and needs some seconds to settle."],
  rms: ["rms", "Root mean square: the usual measure of size for hum and noise. A sine of 1 V rms goes up to 1.41 V."],
  density: ["density", "How much noise there is in each hertz, in V/√Hz. So boards with different filters can be compared."],
  delay: ["delay", "How much later the signal leaves a filter than it came in."],
  beat: ["beat", "One stroke of the heart: an R peak in an ECG, a wave in a pulse."],
  rpeak: ["R peak", "The highest point of an ECG’s beat."],
  foot: ["foot", "The point where a pulse’s wave begins to rise. It is steadier in time than the round top."],
  rr: ["R–R interval", "The time from one R peak to the next. From a finger: from foot to foot."],

};

/** The Firmware drawer. */
export const firmware = {
  what: "Export",
  /** @type {[string, string][]} */
  targets: [["", "the filters alone (C header)"], ["ino", "whole program (.ino)"], ["avr", "whole program (ATmega328P)"], ["c", "whole program (any processor)"]],
  steps: {
    ino: "Save the file, open it with your board’s own tool, choose the board, load it. The sensor is on A0. Close that tool’s serial window, then choose the port here.",
    avr: "Save the file. Its comments say how to build it with avr-gcc. The sensor is on A0, the light on PB5.",
    c: "Save the file and write its four board functions: begin, sample, light, write.",
  },
  seen: "As the board would see it",
  seenHint: "The board’s program runs here on the live counts. You see what is lost before you load it. The board finds beats by a simpler method.",
  seenWait: "Waiting for samples …",
  computer: "this page",
  board: "board",
  boardBeats: "beats on the board",
  /**
   * @param {number|null} board bpm
   * @param {number} boardBeats
   * @param {number|null} computer bpm
   * @param {number} computerBeats
   */
  seenRates: (board, boardBeats, computer, computerBeats) =>
    `Board: ${board === null ? "no reading" : `${Math.round(board)} bpm`}, ${boardBeats} beats. This page: ${computer === null ? "no reading" : `${Math.round(computer)} bpm`}, ${computerBeats} beats.`,
};

/** What stands beside the rate for each state of a reading. @type {Record<string, string>} */
export const readingStates = {
  "reading": "reading",
  "searching": "searching for beats",
  "no signal": "no reading: no signal",
  "clipping": "no reading: clipping",
  "too noisy": "no reading: too noisy",
  "out of range": "no reading: out of range",
  "sensor off": "no reading: sensor off",
  "signal too small": "no reading: signal too small",
  "electrode moving": "no reading: electrode moving",
  "uneven rhythm": "no reading: uneven rhythm",
  "off": "not read for beats",
};
