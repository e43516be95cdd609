// The texts of the page, in one place, so that another language is one file. Codes that
// come from the server stand here with the words for them. What one module says alone stands
// below, under its name; W is its own there. A test finds texts that stand elsewhere.

/** The tag beside everything that nobody measured. */
export const INVENTED = "INVENTED";
export const AID = "Learning aid, not a medical device.";

/** What stands in index.html: where, as text or in which attribute, what. @type {[string, string, string][]} */
export const page = [
  ["#reading", "aria-label", "Rate"],
  [".source", "aria-label", "Chosen source"],
  ["#source-open", "title", "Choose a source (s)"],
  [".source-word", "text", "Source"],
  ["#source-invented", "text", INVENTED],
  ["#drawer-buttons", "aria-label", "Drawers"],
  ["#show-open", "title", "Show view for a room (w)"],
  ["#show-open", "text", "Show"],
  ["#theme", "title", "Light or dark ground (t)"],
  ["#theme", "text", "Dark"],
  ["#help", "title", "Keyboard (?)"],
  ["#help", "text", "Keyboard"],
  ["#banner-close", "aria-label", "Close this message"],
  ["#guide", "aria-label", "First steps"],
  ["#trace", "aria-label", "Trace"],
  ["#playback", "aria-label", "Replay"],
  ["#path", "aria-label", "Signal path"],
  ["#board-open", "title", "Messages and lost lines (b)"],
  ["#board-open", "text", "Link"],
  ["#board-text", "text", "nothing yet"],
  ["#connection", "text", "connecting …"],
  ["#aid", "text", AID],
  ["#cautions-open", "text", "Cautions"],
];

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
  { title: "Say what it is", text: "Enter how many volts one count is (the numbers that the board sends), so the trace is in volts. Choose finger or chest." },
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
  density: ["density", "How much noise there is in each hertz of frequency, in V/√Hz (volts per root hertz: it is the square of the noise that adds up from hertz to hertz). So boards with different filters can be compared."],
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

/** api.js */
export const apiWords = {
  /** @param {unknown} a */
  noAnswerFromPulsewrightIn: (a) => `No answer from Pulsewright in ${a} s; look at the window it runs in.`,
  pulsewrightCannotBeReachedIs: "Pulsewright cannot be reached; is the program still running?",
  /** @param {unknown} code @param {unknown} codeText */
  theServerAnswered: (code, codeText) => `the server answered ${code} ${codeText}`,
  theAnswerIsEmptyIs: "The answer is empty; is the program still running?",
  theAnswerBreaksOffIs: "The answer breaks off; is the program still running?",
};

/** app.js */
export const appWords = {
  secondsAcross: "seconds across",
  kindOfSignal: "kind of signal",
  pathForAChest: "path for a chest",
  pathForAFinger: "path for a finger",
  setForAChest: "Set for a chest.",
  setForAFinger: "Set for a finger.",
  /** @param {unknown} what */
  undone: (what) => `Undone: ${what}.`,
  /** @param {unknown} what */
  doneAgain: (what) => `Redone: ${what}.`,
  /** @param {unknown} MOST_PROBES */
  allProbesAreInUse: (MOST_PROBES) => `All ${MOST_PROBES} probes are in use. Remove one first.`,
  probeSet: "probe set",
  probeRemoved: "probe removed",
  noSource: "no source",
  /** @param {unknown} sourceName */
  pulsewright: (sourceName) => `${sourceName} – Pulsewright`,
  pulsewright2: "Pulsewright",
  measuringTheSampleRate: "measuring the sample rate …",
  /** @param {unknown} rate @param {unknown} unsure @param {unknown} c */
  measured: (rate, unsure, c) => `${rate}${unsure} measured${c}`,
  /** @param {string} rate */
  saidByBoard: (rate) => `, ${rate} says the board`,
  /** @param {string} rate */
  saidByClock: (rate) => `, ${rate} by the board’s clock`,
  /** @param {string} rate */
  saidBySound: (rate) => `, ${rate} says the sound input`,
  /** @param {string} rate */
  saidBySetting: (rate) => `, ${rate} set`,
  /** @param {unknown} rate */
  sampleRate: (rate) => `${rate} sample rate`,
  nothingButNumbersSoFar: "only numbers so far, no messages",
  /** @param {unknown} toLocaleString @param {unknown} b */
  unreadable: (toLocaleString, b) => `${toLocaleString} unreadable ${b}`,
  connectedWaiting: "connected, waiting",
  connectedNoSource: "connected; no signal from the source",
  notConnected: "not connected",
  /** @param {unknown} toLocaleString */
  framesLostByThisPage: (toLocaleString) => `this page missed ${toLocaleString} pieces of data (frames)`,
  /** @param {unknown} wholeSeconds */
  nothingHasArrivedFor: (wholeSeconds) => `Nothing has arrived for ${wholeSeconds}.`,
  paper: "Paper",
  freezeOrGoOn: "freeze, or go on",
  scrollBackAndForth: "scroll back and forth",
  pgUpPgDn: "PgUp PgDn",
  aPageBackAndForth: "a page back and forth",
  home: "Home",
  theOldestThatIsKept: "the oldest that is kept",
  end: "End",
  backToLive: "back to live",
  fewerOrMoreSecondsAcross: "fewer or more seconds across",
  traces: "Traces",
  chooseATrace: "choose a trace",
  smallerOrLargerRange: "smaller or larger range",
  moveItDownOrUp: "move it down or up",
  automaticRanges: "automatic ranges",
  layTracesOverEachOther: "lay traces over each other",
  twoCursorsOnACursor: "two cursors; ↑ ↓ on a cursor jump from beat to beat",
  writeANote: "write a note",
  zoomBetweenTheCursorsOr: "zoom: between the cursors, or by the next drag",
  shiftZ: "Shift Z",
  shiftP: "Shift P",
  aHandoutOrALab: "Print a handout or a lab sheet",
  zoomOut: "zoom out",
  trueMillimetres25MmS: "true millimetres: 25 mm/s, 10 mm/mV",
  saveThisView: "save this view",
  path: "Path",
  setOrRemoveAProbe: "set or remove a probe",
  nextChannel: "next channel",
  foldThePathAwayAnd: "hide the signal path, and show it again",
  ctrlZ: "Ctrl Z",
  undoASetting: "undo a setting",
  ctrlShiftZ: "Ctrl Shift Z",
  redoIt: "redo it",
  page: "Page",
  chooseASource: "choose a source",
  showViewForARoom: "show view for a room",
  lightOrDarkGround: "light or dark ground",
  theFirstSteps: "the first steps",
  esc: "Esc",
  closeTheDrawer: "close the drawer",
  thisList: "this list",
  inTheShowView: "In the show view",
};

/** audio-input.js */
export const audioInputWords = {
  pulsewrightSound: "pulsewright sound",
  theBrowserRefusedTheAudio: "The browser refused the audio input. Allow the microphone for this page (beside its address), then choose the input again.",
  thisBrowserFindsNoAudio: "This browser finds no audio input. Plug one in, then look again.",
  theAudioInputCannotBe: "The audio input cannot be opened; is another program using it alone?",
  theAudioInputChosenIs: "The audio input chosen is not there any more. Look again and choose another.",
  thePageThatSentThe: "the page that sent the sound was closed",
  thePageThatSendsThe: "the page that sends the sound is hidden; its sound goes on while the browser lets it",
  thePageThatSendsThe2: "the page that sends the sound is seen again",
  theBrowserGivesItsAudio: "The browser gives its audio input only to a page of this same computer, or over an encrypted connection.",
  thisBrowserHasNoAudio: "This browser has no audio worklet; use a newer one.",
  /** @param {unknown} a */
  audioInput: (a) => `audio input ${a}`,
  openingTheAudioInput: "Opening the audio input …",
  /** @param {unknown} device */
  thisPageSendsTheSound: (device) => `This page sends the sound of ${device}`,
  anotherInputWasChosen: "another input was chosen",
  /** @param {unknown} label */
  givesOneChannelInThis: (label) => `${label} gives one channel in this browser; choose the left one.`,
  audioInput2: "audio input",
  theAudioInputWasUnplugged: "the audio input was unplugged, or its permission taken back",
  theSystemHasMutedThe: "the system has muted the audio input: what comes now is silence",
  theAudioInputIsNo: "the audio input is no longer muted",
  theBrowserPutTheSound: "the browser put the sound to sleep: click into the page that sends it",
  /** @param {unknown} join */
  theBrowserStillHasOn: (join) => `The browser still has ${join} on, though it was asked not to: levels and shapes are not to be trusted.`,
  /** @param {unknown} join */
  theBrowserDoesNotTell: (join) => `The browser does not tell whether ${join} is off.`,
  theProgramDoesNotTake: "The program does not take the sound; is it still running?",
  /** @param {unknown} reason */
  theProgramDoesNotTake2: (reason) => `The program does not take the sound: ${reason}.`,
  theProgramDoesNotTake3: "The program does not take the sound of this page; only its owner’s page may send any.",
  theBrowserHoldsTheSound: "The browser holds the sound back: click into this page to let it go on.",
  /** @param {unknown} reason */
  thisPageNoLongerSends: (reason) => `This page no longer sends sound: ${reason}.`,
  /** @param {unknown} reason */
  theSoundStopped: (reason) => `The sound stopped: ${reason}.`,
  theConnectionThatCarriedThe: "The connection that carried the sound is gone; choose the input again when the program is back.",
  /** @param {unknown} device @param {unknown} text */
  itGoesOnWhenIt: (device, text) => `${device}: ${text}. It goes on when it is plugged in again.`,
  theSoundWasStoppedOn: "the sound was stopped on the page",
};

/** audio-response.js */
export const audioResponseWords = {
  /** @param {unknown} join */
  theBrowserStillHasOn: (join) => `The browser still has ${join} on: the response is not to be trusted.`,
  theAudioInputWasUnplugged: "The audio input was unplugged, or its permission taken back.",
  theBrowserPutTheSound: "The browser put the sound to sleep: keep this page in front while it measures.",
  openTheSoundCardFirst: "Open the sound card first.",
  stopped: "Stopped.",
};

/** beat-sound.js */
export const beatSoundWords = {
  theSoundDoesNotBegin: "The sound does not begin: is a loudspeaker or headphone connected?",
  thisBrowserGivesNoSound: "This browser gives no sound here.",
};

/** board/strip.js */
export const boardStripWords = {
  stages: "Stages",
  drawIt: "Draw it …",
  stagesOnTheBoard: "Stages on the board",
  onTheBoard: "On the board",
  responseOfTheWholeBoard: "Response of the whole board, predicted",
  fold: "Hide stages",
  parts: "Parts …",
  aBoardWithoutAName: "a board without a name",
  thePartYouSolderDraw: "The part you solder. Draw it to see what each part does.",
  changedNotSoldered: "; changed, not soldered",
  drawnNotSoldered: "; drawn only: in Parts, say that it is soldered",
  addAStageAtThe: "Add a stage at the end",
  /** @param {unknown} textContent */
  addAPartTo: (textContent) => `Add a part to ${textContent}`,
  /** @param {unknown} a @param {unknown} textContent */
  takeOutStage: (a, textContent) => `Remove stage ${a}, ${textContent}`,
  /** @param {unknown} a @param {unknown} textContent */
  stage: (a, textContent) => `Stage ${a}: ${textContent}`,
  /** @param {unknown} a */
  responseOfStagePredicted: (a) => `Response of stage ${a}, predicted`,
  /** @param {unknown} a */
  theTypicalBeatBehindStage: (a) => `The typical beat behind stage ${a}, predicted`,
  /** @param {unknown} title */
  trimmerOfPercentOfIts: (title) => `Trimmer of ${title}, percent of its way`,
  /** @param {unknown} roleTitle */
  nearestValuesFor: (roleTitle) => `Nearest values for ${roleTitle}`,
  /** @param {unknown} valueText @param {unknown} valueText2 @param {unknown} valueText3 */
  nearestInE12E24E96: (valueText, valueText2, valueText3) => `Nearest in E12 ${valueText}, E24 ${valueText2}, E96 ${valueText3}; arrow keys go to the next of E24`,
  /** @param {unknown} round */
  byTheMeasuredCorner: (round) => `; by the measured corner ${round}\u00a0%`,
  /** @param {unknown} at */
  percentOfItsWay: (at) => `${at} percent of its way`,
  /** @param {unknown} quantity */
  n1NAOfHumInto: (quantity) => `; 1 nA of hum into its wire makes ${quantity} at the output`,
  /** @param {unknown} quantity */
  restsAt: (quantity) => `rests at ${quantity}`,
  clipsFirst: "; clips first",
  /** @param {unknown} quantity */
  predictedTheTypicalBeatBehind: (quantity) => `Predicted: the typical beat behind this stage, ${quantity} high`,
};

/** board/words.js */
export const boardWordsWords = {
  /** @param {string} volts */
  supply: (volts) => `supply ${volts}`,
  /** @param {string} top @param {string} bottom */
  midRail: (top, bottom) => `mid-rail of ${top} and ${bottom}`,
  /** @param {string} volts @param {number} bits */
  converter: (volts, bits) => `converter ${volts}, ${bits} bits`,
  /** @param {string} value @param {string} percent */
  turnedTo: (value, percent) => `${value} at ${percent} %`,
  phototransistor: "Phototransistor",
  photodiode: "Photodiode",
  electrodes: "Electrodes",
  sourceOfVolts: "Source of volts",
  differenceAmplifier: "Difference amplifier",
  instrumentationAmplifier: "Instrumentation amplifier",
  coupling: "Coupling",
  gain: "Gain",
  invertingGain: "Inverting gain",
  buffer: "Buffer",
  divider: "Divider",
  lampsCurrent: "lamp’s current",
  lightThatArrives: "light that arrives",
  sensorsOwn: "sensor’s own",
  inEachWire: "in each wire",
  thirdElectrode: "third electrode",
  skinEach: "skin, each",
  toTheMiddleEach: "to the middle, each",
  acrossIt: "across it",
  armEach: "arm, each",
  setsTheGain: "sets the gain",
  inTheLeg: "in the leg",
  atTheInput: "at the input",
  /** @param {unknown} ref @param {unknown} valueText */
  added: (ref, valueText) => `${ref} ${valueText} added`,
  /** @param {unknown} ref @param {unknown} fixed @param {unknown} NBSP @param {unknown} fixed2 @param {unknown} NBSP2 */
  at: (ref, fixed, NBSP, fixed2, NBSP2) => `${ref} at ${fixed}${NBSP}% → ${fixed2}${NBSP2}%`,
  /** @param {unknown} ref */
  takenOut: (ref) => `${ref} removed`,
  /** @param {unknown} fixed @param {unknown} NBSP */
  at2: (fixed, NBSP) => ` at ${fixed}${NBSP}%`,
  /** @param {unknown} hz */
  upTo: (hz) => `up to ${hz}`,
  /** @param {unknown} hz */
  from: (hz) => `from ${hz}`,
  allFrequencies: "all frequencies",
  /** @param {unknown} significant @param {unknown} significant2 @param {unknown} NBSP */
  n95Of100BoardsTo: (significant, significant2, NBSP) => `; 95 of 100 boards ${significant} to ${significant2}${NBSP}Hz`,
  theConverter: "the converter",
  passes: "Passes",
  hum50Hz: "Hum, 50 Hz",
  /** @param {unknown} fixed @param {unknown} NBSP */
  dBAgainstTheBestFrequency: (fixed, NBSP) => `${fixed}${NBSP}dB against the best frequency`,
  settles: "Settles",
  span: "Range",
  /** @param {unknown} quantity @param {unknown} quantity2 @param {unknown} quantity3 */
  toAtRest: (quantity, quantity2, quantity3) => `${quantity} to ${quantity2}, at rest ${quantity3}`,
  clipsFirst: "Clips first",
  /** @param {unknown} first @param {unknown} quantity */
  fromAtTheSensor: (first, quantity) => `${first}, from ${quantity} at the sensor`,
  noise: "Noise",
  /** @param {unknown} quantity @param {unknown} fixed @param {unknown} fixed2 @param {unknown} NBSP @param {unknown} e */
  rmsToHz: (quantity, fixed, fixed2, NBSP, e) => `${quantity} rms, ${fixed} to ${fixed2}${NBSP}Hz${e}`,
  /** @param {unknown} name @param {unknown} what */
  mostFrom: (name, what) => `; most from ${name} (${what})`,
  humIntoTheBody: "Hum into the body",
  /** @param {unknown} quantity */
  forEachNAOrLess: (quantity) => `${quantity} for each nA, or less in 95 of 100 boards`,
};

/** board-columns.js */
export const boardColumnsWords = {
  /** @param {string} name @param {string} sign */
  aNameMayNotHave: (name, sign) => `The name “${name}” has the sign ${sign}, which parts names, units and kinds: leave it out.`,
  giveEachSignalAName: "Give each signal a name, such as pulse.",
  leaveAtLeastOneColumn: "Leave at least one column a signal.",
  useTheseColumns: "Use these columns",
  asTheBoardSays: "As the board says",
  columnsOfThisBoard: "Columns of this board",
  sayWhatEachNumberOf: "Say what each number of a line is. The program remembers it for this board.",
  aNewTraceBegins: "Choosing columns opens the board anew and begins a new trace. The trace on the page is lost, and a recording under way ends; its file stays. To keep the trace, close this and press Keep under Recordings first.",
  aNewTraceBegan: "The board was opened anew with the columns chosen. A new trace began; the trace before is gone from the page.",
  /** @param {unknown} name */
  looksLikeVoltsIsIt: (name) => `${name} looks like volts. Is it? `,
  yesVolts: "Yes, volts",
  /** @param {unknown} a */
  column: (a) => `Column ${a}`,
  name: "Name",
  itIs: "It is",
  aSignal: "a signal",
  theBoardsClockInS: "the board’s clock, in µs",
  theBoardsClockInMs: "the board’s clock, in ms",
  theBoardsClockInS2: "the board’s clock, in s",
  aCounterOfLines: "a counter of lines",
  leftOut: "left out",
  unit: "Unit",
  voltsAsSet: "V, as set under Volts",
  kind: "Kind",
  notSaid: "not said",
  somethingElse: "something else",
};

/** board-port.js */
export const boardPortWords = {
  pulsewrightPort: "pulsewright port",
  noPortWasChosenPlug: "No port was chosen. Plug the board in, then choose it in the browser’s own list.",
  thePortCannotBeOpened: "The port cannot be opened; does another program or page hold it? Close it there.",
  theBrowserRefusedThePort: "The browser refused the port. Allow serial ports for this page (beside its address), then choose the port again.",
  thePageThatSentThe: "the page that sent the port was closed",
  theBrowserGivesSerialPorts: "The browser gives serial ports only to a page of this same computer, or over an encrypted connection.",
  thisBrowserCannotReachSerial: "This browser cannot reach serial ports (it has no Web Serial). Browsers built on Chromium can, on computers but not on phones; or plug the board into the computer that runs the program.",
  openingThePort: "Opening the port …",
  /** @param {unknown} device */
  thisPageSendsTheBoard: (device) => `This page sends the board ${device}`,
  theProgramDoesNotTake: "The program does not take the port; is it still running?",
  /** @param {unknown} reason */
  theProgramDoesNotTake2: (reason) => `The program does not take the port: ${reason}.`,
  theProgramDoesNotTake3: "The program does not take the port of this page; only its owner’s page may send one.",
  theBoardWasUnplugged: "the board was unplugged",
  /** @param {unknown} reason */
  thisPageNoLongerSends: (reason) => `This page no longer sends the board: ${reason}.`,
  /** @param {unknown} reason */
  theBoardsPortStopped: (reason) => `The board’s port stopped: ${reason}.`,
  theConnectionThatCarriedThe: "The connection that carried the board is gone; choose the port again when the program is back.",
  /** @param {unknown} device @param {unknown} text */
  itGoesOnWhenIt: (device, text) => `${device}: ${text}. It goes on when it is plugged in again.`,
};

/** cableless.js */
export const cablelessWords = {
  writeThePipesPathSuch: "Write the pipe’s path, such as /tmp/board.",
  /** @param {unknown} a */
  portGiveAWholeNumber: (a) => `Port ${a}: give a whole number from 1 to 65535.`,
  writeTheBoardsNameOr: "Write the board’s name or address, such as 192.168.1.7.",
  theBoardsProgramListensOn: "The board’s program listens on a port; this program connects to it.",
  theBoardsProgramConnectsTo: "The board’s program connects to a port of this computer. This program waits ten seconds for it.",
  theBoardsProgramSendsPackets: "The board’s program sends packets of whole lines to a port of this computer. Packets can get lost: a column seq shows how many.",
  anotherProgramOnThisComputer: "Another program on this computer writes lines into a named pipe (mkfifo).",
  thisProgramCallsTheBoard: "this program calls the board (TCP)",
  theBoardCallsThisComputer: "the board calls this computer (TCP)",
  theBoardSendsPacketsUDP: "the board sends packets (UDP)",
  aPipeOnThisComputer: "a pipe on this computer",
  boardsNameOrAddress: "Board’s name or address",
  port: "Port",
  pathOfThePipe: "Path of the pipe",
  thisComputerOnly: "this computer only",
  whoMayReachIt: "Who may reach it",
  boardWithoutACable: "Board without a cable",
  how: "How",
  open: "Open",
  /** @param {unknown} a */
  theNetworkAt: (a) => `the network at ${a}`,
  everyNetwork: "every network",
  noPasswordIsAskedEverybody: " No password is asked: everybody in that network can send in the board’s place.",
  linesOrFramesAreThe: " Lines or frames are the same as by cable.",
};

/** compare/compare.js */
export const compareWords = {
  saveSeen: "Save …",
  whatIsSeenAsA: "The charts as a picture, a drawing or numbers",
  save: "Save",
  figuresFile: "Figures",
  spectrumFile: "Spectrum",
  typicalBeatFile: "Typical beat",
  /** @param {string} what @param {string} name */
  saveOf: (what, name) => `Save of ${name}: ${what}`,
  /** @param {unknown} s */
  boards: (s) => `Boards: ${s}.`,
  bothBoardsAreDrawnAlike: "Both boards are drawn alike.",
  /** @param {unknown} name */
  recording: (name) => `Recording ${name}`,
  /** @param {unknown} name */
  channelOf: (name) => `Channel of ${name}`,
  /** @param {unknown} name */
  beginsAt: (name) => `${name} begins at`,
  /** @param {unknown} name */
  endsAt: (name) => `${name} ends at`,
  /** @param {unknown} name */
  theWholeOf: (name) => `The whole of ${name}`,
  compare: "Compare",
  swapAAndB: "Swap A and B",
  close: "Close",
  inWords: "In words",
  typicalBeat: "Typical beat",
  scaleToTheSameHeight: "scale to the same height",
  spectra: "Spectra",
  densityOverFrequencyBothLogarithmic: "Density over frequency, both logarithmic.",
  tracesAlignedAtABeat: "Traces aligned at a beat",
  asRecordedAlignedAtThe: "As recorded, aligned at the first whole beat, each centred on its own middle.",
  figures: "Figures",
  grades: "Grades",
  typicalBeatOfAAnd: "Typical beat of A and B",
  tracesOfAAndB: "Traces of A and B aligned at a beat",
  spectraOfAAndB: "Spectra of A and B",
  thereIsNoRecordingTo: "There is no recording to compare.",
  /** @param {unknown} clockTime @param {unknown} clockTime2 @param {unknown} length */
  judgedToBeats: (clockTime, clockTime2, length) => `Judged: ${clockTime} to ${clockTime2}, ${length} beats`,
  medianRate: "Median rate",
  what: "What",
  fromTheBeat: "from the beat",
  ofItsHeight: "of its height",
  noBeatsToLayTogether: "no beats to lay together",
  /** @param {unknown} beats */
  medianOfBeats: (beats) => `median of ${beats} beats`,
  shadedEightBeatsInTen: ". Shaded: eight beats in ten. Counted from the foot of a pulse, the R peak of an ECG.",
  fromABeat: "from a beat",
  ofItsSwing: "of its swing",
};

/** compare/words.js */
export const compareWordsWords = {
  anECG: "an ECG",
  aPulse: "a pulse",
  anotherSignal: "another signal",
  /** @param {unknown} join @param {unknown} b */
  and: (join, b) => `${join} and ${b}`,
  /** @param {unknown} significant */
  times: (significant) => `${significant} times`,
  /** @param {unknown} joined */
  bIsGradedBetterIn: (joined) => `B is graded better in ${joined}`,
  /** @param {unknown} a @param {unknown} joined */
  worseIn: (a, joined) => `${a} worse in ${joined}`,
  bIsGraded: "B is graded",
  /** @param {unknown} a @param {unknown} b */
  aIsAndBTheir: (a, b) => `A is ${a} and B ${b}: their shapes are not alike to begin with.`,
  /** @param {unknown} unit @param {unknown} unit2 */
  aIsInAndB: (unit, unit2) => `A is in ${unit} and B in ${unit2}: heights cannot be compared, shares and decibels can.`,
  /** @param {unknown} quantity @param {unknown} quantity2 */
  inAInB: (quantity, quantity2) => `${quantity} in A, ${quantity2} in B`,
  /** @param {unknown} heights */
  theTwoLieOnScales: (heights) => `The two lie on scales far apart: ${heights}.`,
  /** @param {unknown} heights */
  theHeartbeatsAreAboutEqually: (heights) => `The heartbeats are about equally high: ${heights}.`,
  /** @param {unknown} times @param {unknown} heights */
  theHeartbeatIsHigherIn: (times, heights) => `The heartbeat is ${times} higher in B: ${heights}.`,
  /** @param {unknown} times @param {unknown} heights */
  theHeartbeatIsAsHigh: (times, heights) => `The heartbeat is ${times} as high in B: ${heights}.`,
  /** @param {unknown} fixed @param {unknown} heights */
  theHeartbeatIsLowerIn: (fixed, heights) => `The heartbeat is ${fixed} % lower in B: ${heights}.`,
  /** @param {unknown} times @param {unknown} heights */
  theHeartbeatIsAsHigh2: (times, heights) => `The heartbeat is ${times} as high in A: ${heights}.`,
  /** @param {unknown} a */
  theHeartbeatsHeightIsKnown: (a) => `The heartbeat’s height is known in ${a} only.`,
  /** @param {unknown} both */
  humComparedWithThePulse: (both) => `Hum compared with the pulse is about the same: ${both}.`,
  /** @param {unknown} decibels @param {unknown} b @param {unknown} both */
  bHasHumComparedWith: (decibels, b, both) => `B has ${decibels} ${b} hum compared with the pulse: ${both}.`,
  /** @param {unknown} quantity @param {unknown} quantity2 @param {unknown} decibels */
  humIsRmsInA: (quantity, quantity2, decibels) => `Hum is ${quantity} rms in A and ${quantity2} rms in B, ${decibels}.`,
  /** @param {unknown} name @param {unknown} quantity @param {unknown} none */
  hasRmsOfHumIn: (name, quantity, none) => `${name} has ${quantity} rms of hum; in ${none} none is found.`,
  noiseComparedWithThePulse: "Noise compared with the pulse is about the same.",
  /** @param {unknown} decibels @param {unknown} b */
  bHasNoiseComparedWith: (decibels, b) => `B has ${decibels} ${b} noise compared with the pulse.`,
  /** @param {unknown} a @param {unknown} b */
  clippedOfAOfB: (a, b) => `Clipped: ${a} of A, ${b} of B.`,
  /** @param {unknown} times @param {unknown} b @param {unknown} c */
  theLevelWandersIn: (times, b, c) => `The level wanders ${times} ${b} in ${c}.`,
  asFar: "as far",
  /** @param {unknown} significant @param {unknown} significant2 */
  medianRateBpmInA: (significant, significant2) => `Median rate: ${significant}\u00a0bpm in A, ${significant2}\u00a0bpm in B.`,
  everyItemHasTheSame: "Every item has the same grade in A and B.",
};

/** converters.js */
export const convertersWords = {
  n5V10Bits: "5 V, 10 bits",
  analogReadOnA5V: "analogRead on a 5 V board",
  n33V12Bits: "3.3 V, 12 bits",
  analogReadOnMost33: "analogRead on most 3.3 V boards",
  n4096V16Bits: "±4.096 V, 16 bits, signed",
  aConverterOfItsOwn: "a converter of its own on I²C, at gain 1",
  n25V24Bits: "±2.5 V, 24 bits, signed",
  a24BitConverterWith: "a 24-bit converter with a 2.5 V reference; divide the reference by its gain",
  soundInputHomeLevel10: "sound input, home level (−10 dBV)",
  about28VAt: "about 2.8 V at full scale; measure it to be sure",
  soundInputStudioLevel4: "sound input, studio level (+4 dBu)",
  about87VAt: "about 8.7 V at full scale; measure it to be sure",
};

/** dom.js */
export const domWords = {
  /** @param {unknown} id */
  indexHtmlHasNo: (id) => `index.html has no #${id}`,
  close: "Close",
};

/** drawer-board.js */
export const drawerBoardWords = {
  samplesASecondOfThe: "Samples a second of the last ten minutes",
  samplesASecond: "Samples a second",
  messagesOfTheBoard: "Messages of the board",
  gaps: "Gaps",
  notes: "Notes",
  linesRead: "Lines read",
  unreadable: "Unreadable",
  linesOutOfOrder: "Out of order",
  samplesLostByTheBoard: "Samples lost by the board",
  lostUnknown: "unknown: the board sends no time and no counter",
  timeOfALine: "Time of a line",
  noClockColumn: "when it arrives; no column is taken as a clock",
  /** @param {number} n @param {string} name @param {string} unit */
  clockColumn: (n, name, unit) => `column ${n}${name ? ` (${name})` : ""} is taken as the board’s clock, in ${unit}`,
  /** @param {number} n @param {string} name */
  counterColumn: (n, name) => `column ${n}${name ? ` (${name})` : ""} is taken as a counter of lines`,
  clockUnits: /** @type {Record<string, string>} */ ({ t_us: "microseconds", t_ms: "milliseconds", t_s: "seconds" }),
  framesLostByThisPage: "Missed by this page (frames)",
  connection: "Connection",
  lastUnreadable: "Last unreadable",
  volts: "Volts",
  sayWhatACountIs: "Say how many volts one count is",
  nothingButNumbersSoFar: "Only numbers so far, no messages.",
  none: "None.",
  nonePressNToWrite: "None. Press n to write one.",
  notKnownYet: "not known yet",
  last5S: "Last 5 s",
  slowestFastestSecondOf20: "Slowest, fastest second of 20",
  regularPauses: "Regular pauses",
  /** @param {unknown} duration @param {unknown} duration2 */
  every: (duration, duration2) => `${duration} every ${duration2}`,
  link: "Link",
};

/** drawers/check.js */
export const drawerCheckWords = {
  grades: "Grades",
  waitingForTheMeters: "Waiting for the meters …",
  humOfTheLastTwo: "Hum of the last two minutes",
  voltsRailsAndMidRail: "Volts, rails and mid-rail …",
  theLastTwoMinutesLogarithmic: "The last two minutes, logarithmic. Dashed: 1 % of the pulse.",
  /** @param {unknown} quantity @param {unknown} quantity2 */
  humOfTheLastTwo2: (quantity, quantity2) => `Hum of the last two minutes, from ${quantity} to ${quantity2} rms`,
  supplyRails: "supply rails",
  convertersRange: "converter’s range",
  /** @param {unknown} quantity @param {unknown} quantity2 @param {unknown} quantity3 @param {unknown} quantity4 */
  theSignalLiesFromTo: (quantity, quantity2, quantity3, quantity4) => `The signal lies from ${quantity} to ${quantity2} between ${quantity3} and ${quantity4}`,
  nameSuchAsBefore: "name, such as “before”",
  nameOfWhatIsRemembered: "Name of what is remembered",
  rememberThis: "Remember this",
  compareWith: "Compare with",
  deleteText: "Delete",
  figuresBeforeAndNowWith: "Figures before and now, with the change",
  beforeAndAfter: "Before and after",
  rememberTheBoardAsIt: "Remember the board as it is, change something, and see the difference. Kept in this browser.",
  /** @param {unknown} a @param {unknown} channel */
  check: (a, channel) => `check ${a} ${channel}`,
  /** @param {unknown} a */
  board: (a) => `board ${a}`,
  /** @param {unknown} name */
  rememberedAs: (name) => `Remembered as ${name}.`,
  check2: "Check",
};

/** drawers/figures.js */
export const drawerFiguresWords = {
  hum: "Hum",
  levelAndSwing: "Level and swing",
  clipping: "Clipping",
  noise: "Noise",
  drift: "Drift",
  settling: "Settling",
  polarity: "Polarity",
  under001: "under 0.01",
  notKnown: "not known: ",
  notKnown2: "not known",
  fromTo: "From, to",
  swing: "Swing",
  /** @param {unknown} percent @param {unknown} b */
  ofThe: (percent, b) => `, ${percent} of the ${b}`,
  convertersRange: "converter’s range",
  mean: "Mean",
  pulseHeight: "Pulse height",
  /** @param {unknown} beats */
  beats: (beats) => `, ${beats} beats`,
  fromTheSwing: ", from the swing",
  /** @param {unknown} percent @param {unknown} percent2 */
  atTheBottomAtThe: (percent, percent2) => `${percent} at the bottom, ${percent2} at the top`,
  atTheConvertersEnds: "At the converter’s ends",
  flatTops: "Flat tops",
  flatBottoms: "Flat bottoms",
  /** @param {unknown} q */
  noneFoundItWouldBe: (q) => `none found; it would be seen from ${q} rms`,
  againstThePulse: "Against the pulse",
  frequency: "Frequency",
  density: "Noise in each Hz (density)",
  /** @param {unknown} quantity @param {unknown} significant */
  aboutHz: (quantity, significant) => `${quantity} about ${significant} Hz`,
  convertersOwnLimit: "Converter’s own limit",
  total: "Total",
  /** @param {unknown} significant */
  converterStepsRms: (significant) => `${significant} converter steps rms`,
  inTheHeartbeatsBand: "In the heartbeat’s band",
  /** @param {string} duration */
  slopeOver: (duration) => `Slope over ${duration}`,
  aMinute: " a minute",
  aSecond: " a second",
  wander: "Wander",
  afterAStepOf: "After a step of ",
  meanLevel: "Mean level",
  clipped: "Clipped",
  humRms: "Hum, rms",
  humToPulse: "Hum to pulse",
  theSignalStandsStillUse: "The signal stands still: use Find the fault in Check.",
  mostlyMainsHumComesUse: "Mostly mains hum comes: use Find the fault in Check.",
};

/** drawers/firmware.js */
export const drawerFirmwareWords = {
  exact64BitSums: "exact: 64-bit sums",
  small32BitSums: "small: 32-bit sums",
  asTheBoardSays: "as the board says",
  /** @param {unknown} n */
  bits: (n) => `${n} bits`,
  savePulsewrightPathH: "Save pulsewright_path.h",
  thePathAsC: "The path as C",
  theSameFiltersInInteger: "The same filters in integer C for your board. The program’s tests check the C bit for bit.",
  arithmetic: "Arithmetic",
  converter: "Converter",
  /** @param {unknown} file */
  save: (file) => `Save ${file}`,
  reads: "Reads",
  /** @param {unknown} bits @param {unknown} b @param {unknown} significant */
  bitCountsASecond: (bits, b, significant) => `${bits}-bit counts, ${b}, ${significant} a second`,
  from0: "from 0",
  itsRate: "Its rate",
  rateFrom: /** @type {Record<string, (hz: number, measured: string) => string>} */ ({
    said: (hz, measured) => `${hz} Hz, as said of the board; measured ${measured} Hz`,
    usual: (hz, measured) => `${hz} Hz, a usual rate; measured ${measured} Hz`,
    measured: (_, measured) => `as measured, ${measured} Hz`,
  }),
  gives: "Gives",
  /** @param {unknown} a */
  counts: (a) => `counts × ${a}`,
  roundingMovesTheGain: "Rounding moves gain and phase",
  byLessThan0001: "by less than 0.001 dB",
  /** @param {unknown} significant @param {unknown} significant2 */
  byUpToDBAt: (significant, significant2) => `by up to ${significant} dB, at ${significant2} Hz`,
  roundingNoise: "Rounding noise",
  /** @param {unknown} counts @param {unknown} percent */
  countsOfABeat: (counts, percent) => `up to ${counts} counts, ${percent} % of an ordinary beat`,
  onAn8BitAVR: "On an 8-bit AVR",
  /** @param {unknown} cycles @param {unknown} significant @param {unknown} c */
  aboutCyclesASampleOf: (cycles, significant, c) => `about ${cycles} cycles a sample, ${significant} % of 16 MHz${c}`,
  tooSlowForIt: ": too slow for it",
  memory: "Memory",
  /** @param {unknown} ramBytes @param {unknown} flashBytes */
  ramOf2048BytesProgram: (ramBytes, flashBytes) => `RAM ${ramBytes} of 2048 bytes, program ${flashBytes} of 32 768 bytes`,
  /** @param {unknown} stateBytes @param {unknown} constantBytes */
  ramBytesConstantsBytes: (stateBytes, constantBytes) => `RAM ${stateBytes} bytes, constants ${constantBytes} bytes`,
  aBeatBlinks: "A beat blinks",
  /** @param {unknown} significant */
  aboutSAfterItCame: (significant) => `about ${significant} s after it came`,
  firmware: "Firmware",
};

/** drawers/intervals-sheet.js */
export const drawerIntervalsSheetWords = {
  noIntervalChosen: "no interval chosen",
  intervalStrip: "Interval strip",
  intervalsAgainstTime: "Intervals against time",
  intervalScatter: "Interval scatter",
  eachIntervalAgainstTheNext: "Each interval against the next",
  measures: "Measures",
  fromAFingerItIs: "From a finger it is pulse rate variability, counted from foot to foot: the pulse’s way to the finger adds a little of its own.",
  forLearningNotForJudging: "For learning, not for judging health. Compare only stretches of equal length, at rest, from the same person; never with 24-hour values.",
  leftOutOffTheRhythm: "△ left out: off the rhythm",
  leftOutUnsureBeat: "× left out: unsure beat or rate",
  beyondTheScaleOnIts: "beyond the scale: on its edge",
  thisInterval: "this interval",
  theNext: "the next",
  /** @param {unknown} length */
  intervalScatterOfPairs: (length) => `Interval scatter of ${length} pairs`,
  /** @param {unknown} length @param {unknown} measureText @param {unknown} measureText2 */
  pairsOnTheDashedLine: (length, measureText, measureText2) => `${length} pairs; on the dashed line both are equal. SD1 ${measureText} across it, SD2 ${measureText2} along it.`,
  /** @param {unknown} length */
  pairsOnTheDashedLine2: (length) => `${length} pairs; on the dashed line both are equal.`,
};

/** drawers/intervals.js */
export const drawerIntervalsWords = {
  lastMinute: "last minute",
  last5Minutes: "last 5 minutes",
  last15Minutes: "last 15 minutes",
  wholeSession: "whole session",
  stretch: "Stretch",
  pointAtTheStripOr: "Point at the strip, or step along it with the arrow keys; a click or Enter freezes the trace there.",
  breathing: "Breathing",
  rrInterval: "R–R interval",
  /** @param {unknown} fixed */
  msAfterTheOneBefore: (fixed) => `${fixed} ms after the one before, `,
  /** @param {unknown} length @param {unknown} qualityWord */
  newestBeat: (length, qualityWord) => `Newest beat: ${length}${qualityWord}.`,
  /** @param {unknown} wholeSeconds */
  noBeatForTheFigures: (wholeSeconds) => `No beat for ${wholeSeconds}: the figures are of the time before.`,
  beforeTheNewestBeat: "before the newest beat",
  pulseArrival: "Pulse arrival",
  /** @param {unknown} ecgLabel @param {unknown} pulseLabel @param {unknown} sentence */
  fromTo: (ecgLabel, pulseLabel, sentence) => `From ${ecgLabel} to ${pulseLabel}. ${sentence}`,
  thatBeatIsOlderThan: "That beat is older than the remembered signal.",
  intervals: "Intervals",
};

/** drawers/parts.js */
export const drawerPartsWords = {
  lampClipA: "Lamp clip A",
  lampClipB: "Lamp clip B",
  chestLeadA: "Chest lead A",
  myBoard: "my board",
  startFrom: "Start from …",
  anEmptyBoard: "An empty board",
  aFile: "A file …",
  startFromAnExampleOr: "Start from an example or a file",
  aBoardsFile: "A board’s file",
  thisIsWhatIsSoldered: "This is what is soldered",
  backToWhatIsSoldered: "Reset to what is soldered",
  download: "Download",
  takeTheBoardAway: "Remove the board",
  aBoardIsASupply: "A board is a supply, a mid-rail and stages of parts. Draw yours: response, noise and span follow, and a change shows at once what it would do to the signal. Predictions are dashed.",
  responseOfTheBoardPredicted: "Response of the board, predicted",
  theSignalAndAsIt: "The signal, and as it would come out of the changed board",
  theTypicalBeatAndAs: "The typical beat, and as it would come out of the changed board",
  humAndSignalAgainstThe: "Hum and signal against the place of the trimmer",
  eachItsOwn: "each its own",
  toleranceOfTheParts: "Tolerance of the parts",
  figuresPredicted: "Figures, predicted",
  responsePredicted: "Response, predicted",
  partsTolerance: "Parts’ tolerance",
  theSignalAndItsGhost: "The signal and its ghost",
  turningTheTrimmer: "Turning the trimmer",
  adviceAndMeasuredAgainstPredicted: "Advice, and measured against predicted",
  mind: "Mind",
  supply: "Supply",
  midRailUpper: "Mid-rail, upper",
  midRailLower: "Mid-rail, lower",
  midRailBypass: "Mid-rail, bypass",
  convertersReference: "Converter’s reference",
  itsBits: "Its bits",
  singleSupplyQuadBipolar: "single-supply quad, bipolar",
  railToRailCMOS: "rail-to-rail CMOS",
  supplyMidRailConverterOp: "Supply, mid-rail, converter, op amp",
  signal: "Signal",
  opAmps: "Op amps",
  /** @param {unknown} name @param {unknown} size @param {unknown} MOST_FILE_BYTES */
  hasBytesABoardHas: (name, size, MOST_FILE_BYTES) => `${name} has ${size} bytes; a board has at most ${MOST_FILE_BYTES}.`,
  /** @param {unknown} name */
  isNotABoardsFile: (name) => `${name} is not a board’s file: it is not JSON.`,
  changedNotSoldered: "Changed, not soldered: ",
  asSoldered: "as soldered",
  shadedWhere95Of100: "Shaded: where 95 of 100 boards with such parts lie. Rules: −3 dB.",
  waitingForTheSignal: "Waiting for the signal …",
  /** @param {unknown} quantity @param {unknown} quantity2 */
  theTypicalBeatWouldBe: (quantity, quantity2) => `The typical beat would be ${quantity} high instead of ${quantity2}.`,
  /** @param {unknown} significant */
  itWouldBeCutOff: (significant) => `It would be cut off ${significant} % of the time.`,
  /** @param {unknown} significant @param {unknown} significant2 */
  honestFromToHzOutside: (significant, significant2) => `True from ${significant} to ${significant2} Hz. Outside, the present board leaves too little of the signal.`,
  firstSayWhatIsSoldered: "No ghost yet. Draw your board as it is now and press “This is what is soldered” at the top. Then change a part: what would come out is drawn here, dashed.",
  changeAPartOrTurn: "Change a part, or turn a trimmer, in the stages on the board: what would come out is drawn here, dashed.",
  typicalBeat: "typical beat",
  fromThePeak: "from the peak",
  /** @param {unknown} significant @param {unknown} trimmer @param {unknown} typeset @param {unknown} typeset2 @param {unknown} e @param {unknown} quantity */
  atOfHumDBSignal: (significant, trimmer, typeset, typeset2, e, quantity) => `At ${significant} % of ${trimmer}: hum ${typeset} dB, signal ${typeset2} dB against ${e}; settles in ${quantity}.`,
  whatIsSoldered: "what is soldered",
  theMiddleOfTheDrawing: "the middle of the drawing",
  /** @param {unknown} what @param {unknown} quantity @param {unknown} quantity2 @param {unknown} d */
  measuredPredicted: (what, quantity, quantity2, d) => `${what}: measured ${quantity}, predicted ${quantity2}${d}`,
  /** @param {unknown} ref @param {unknown} round @param {unknown} significant */
  standsAtByTheMeasured: (ref, round, significant) => `${ref} stands at ${round} % by the measured corner of ${significant} Hz`,
  parts: "Parts",
};

/** drawers/recordings.js */
export const importBoxWords = {
  arriving: "Arriving",
  importFiles: "Import …",
  whatFiles: "Recordings: EDF, BDF, CSV and other text, WAV, or .hea with its files. Dropping them anywhere on the page does as well",
  aFolder: "a folder …",
  allInAFolder: "Import all recordings in a folder",
  cancel: "Cancel",
  /** @param {unknown} name */
  bringing: (name) => `${name} …`,
  looking: "Looking …",
  /** @param {unknown} name @param {unknown} why */
  notHere: (name, why) => `${name}: ${why}`,
  /** @param {unknown} name */
  isHere: (name) => `${name} is here.`,
  /** @param {unknown} rate @param {unknown} length */
  whatCame: (rate, length) => `${length} long, ${rate}.`,
  asBefore: "It was read as a file with the same names of columns was read before.",
  readDifferently: "Read it differently …",
  clearThisList: "Clear this list",
};
export const importWords = {
  readAFile: "Read a file",
  /** @param {unknown} name */
  read: (name) => `How to read ${name}`,
  found: "found",
  /** @param {unknown} what */
  foundAs: (what) => `found: ${what}`,
  comma: "comma ,",
  semicolon: "semicolon ;",
  tab: "tab",
  blank: "blank",
  bar: "bar |",
  point: "point .",
  dayFirst: "with the day",
  monthFirst: "with the month",
  byTheNames: "as its names say",
  pulse: "pulse (light through a finger)",
  ecg: "ECG (electrodes)",
  other: "something else",
  asTheFileSays: "as the file says",
  sameForTheRest: "Read the text files that follow in the same way",
  importText: "Import",
  sampleRateHz: "Samples a second (Hz)",
  betweenColumns: "Between columns",
  decimalSign: "Decimal sign",
  datesBegin: "Dates begin",
  namesStand: "Names of the columns",
  inTheFirstRow: "in the first row",
  nowhere: "nowhere",
  timeIsIn: "The time is in",
  whatItShows: "It shows",
  firstRows: "The first rows",
  leaveItOut: "Leave this file out",
  noRate: "The file does not say how many samples a second it has. Enter the number, or say which column holds the time.",
  whichUnit: "The column that holds the time does not say in which unit. Choose the unit under “The time is in”.",
  /** @type {Record<string, string>} */
  kinds: { pulse: "pulse", ecg: "ECG", other: "something else" },
  sayIt: "Please say it, if you know it.",
  isThatRight: "Is that right?",
  /** @param {unknown} rate */
  fromTheTimes: (rate) => `${rate}, from the times in the file`,
  /** @param {unknown} rate */
  fromTheFile: (rate) => `${rate}, as the file says`,
  /** @param {number} n @param {unknown} rate @param {unknown} length @param {unknown} kinds */
  wouldBe: (n, rate, length, kinds) => `${n === 1 ? "1 channel" : `${n} channels`} (${kinds}), ${rate}${length ? `, ${length} long` : ""}.`,
  beginningOnly: "This is the beginning of the file.",
  signal: "signal",
  time: "time",
  date: "date",
  leftOut: "left out",
  /** @param {unknown} n */
  columnIs: (n) => `What column ${n} is`,
  /** @param {unknown} n */
  unitOf: (n) => `Unit of column ${n}`,
  /** @param {unknown} n */
  column: (n) => `column ${n}`,
  counts: "counts",
  /** @param {unknown} low @param {unknown} high @param {unknown} unit */
  fromTo: (low, high, unit) => `${low} to ${high} ${unit}`,
  noValue: "no value",
  headerMissing: "This is a part of a record. Choose it together with its header, the file that ends in .hea.",
  notARecording: "This is not a recording. Recordings end in .edf, .bdf, .wav, .csv, .txt, .tsv, .log, .jsonl or .hea; .gz may follow.",
  wasLeftOut: "It was left out.",
  cancelled: "It was cancelled.",
};
export const drawerRecordingsWords = {
  /** @param {unknown} length */
  channels: (length) => `${length} channels`,
  /** @param {unknown} annotations */
  notes: (annotations) => `${annotations} notes`,
  /** @param {unknown} m */
  minAgo: (m) => `${m} min ago`,
  /** @param {unknown} index */
  note: (index) => `note ${index}`,
  /** @param {unknown} a */
  at: (a) => `at “${a}”`,
  /** @param {unknown} a */
  more: (a) => `${a} more`,
  /** @param {unknown} join @param {unknown} last */
  and: (join, last) => `${join} and ${last}`,
  /** @param {unknown} all @param {unknown} size */
  deleteForGoodItsOf: (all, size) => `Delete ${all} for good? Its ${size} of signal and the notes on it are lost; nothing brings them back.`,
  /** @param {unknown} all @param {unknown} size */
  deleteForGoodTheirOf: (all, size) => `Delete ${all} for good? Their ${size} of signal and the notes on them are lost; nothing brings them back.`,
  recordingsAreTheOwnersAlone: "Recordings are the owner’s alone.",
  nameEGLampClip: "Name, e.g. lamp clip B",
  nameOfTheRecording: "Name of the recording",
  begin: "Begin",
  untilStopped: "until stopped",
  howLong: "How long",
  firstNoteOptional: "First note (optional)",
  firstNote: "First note",
  record: "Record",
  howMuchOfThePast: "How much of the past",
  keep: "Keep",
  writeTheMinutesJustGone: "Save the last minutes as a recording",
  stop: "Stop",
  whatHappenedHere: "What happened here?",
  noteAtTheNewestSample: "Note at the newest sample",
  note2: "Note",
  noted: "Noted.",
  orSaveTheLast: "Or save the last",
  recording: "Recording.",
  /** @param {unknown} clockTime */
  recorded: (clockTime) => `Recorded ${clockTime}.`,
  /** @param {unknown} clockTime */
  kept: (clockTime) => `Kept ${clockTime}.`,
  /** @param {unknown} a @param {unknown} clockTime @param {unknown} bytes */
  recording2: (a, clockTime, bytes) => `Recording ${a}, ${clockTime}, ${bytes}`,
  withoutAName: "without a name",
  theRecordingEnded: "The recording ended.",
  findByNameOrNote: "Find by name or note",
  compare: "Compare",
  layTheTwoMarkedRecordings: "Lay the two chosen recordings beside each other",
  recordings: "Recordings",
  recorded2: "Recorded",
  /** @param {unknown} name */
  isHere: (name) => `${name} is here.`,
  /** @param {unknown} folder */
  savedIn: (folder) => `Saved in ${folder}`,
  /** @param {unknown} a @param {unknown} bytes */
  trash: (a, bytes) => `Trash, ${a}, ${bytes}`,
  oneRecording: "one recording",
  /** @param {unknown} length */
  recordings2: (length) => `${length} recordings`,
  restore: "Restore",
  /** @param {unknown} a */
  restore2: (a) => `Restore ${a}`,
  emptyTheTrash: "Empty the trash …",
  keepIt: "Keep it",
  keepThem: "Keep them",
  deleteForGood: "Delete for good",
  /** @param {unknown} a @param {unknown} bytes */
  deletedForGoodAreFree: (a, bytes) => `${a} deleted for good, ${bytes} are free.`,
  oneRecordingIs: "One recording is",
  /** @param {unknown} length */
  recordingsAre: (length) => `${length} recordings are`,
  /** @param {unknown} a */
  isBack: (a) => `${a} is back.`,
  nothingYetTheLastTen: "Nothing yet. The last ten minutes are remembered: Keep writes them to a file.",
  noMatch: "No match.",
  compareTheTwo: "Compare the two",
  markTwoRecordingsFirst: "Choose two recordings first",
  /** @param {unknown} a */
  choose: (a) => `Choose ${a}`,
  choose2: "Choose, to compare, download or delete",
  newestFirst: "newest first",
  oldestFirst: "oldest first",
  byName: "by name",
  longestFirst: "longest first",
  byMedianRate: "by median rate",
  bySampleRate: "by sample rate",
  sort: "Sort",
  ecg: "ECG",
  pulse: "pulse",
  formatOfTheDownload: "Format of the download",
  chosenRecordings: "Chosen recordings",
  chooseAll: "All",
  chooseNone: "None",
  downloadTheChosen: "Download the chosen recordings as one .zip file",
  /** @param {unknown} n */
  chosen: (n) => `${n} chosen`,
  /** @param {unknown} a */
  downloading: (a) => `Downloading ${a} as one .zip file.`,
  /** @param {unknown} a */
  areInTheTrash: (a) => `${a} are in the trash.`,
  /** @param {unknown} a */
  areBack: (a) => `${a} back.`,
  less: "Less",
  more2: "More",
  /** @param {unknown} a @param {unknown} b */
  about: (a, b) => `${a} about ${b}`,
  lookAtIt: "Look at it",
  beingRecorded: "being recorded",
  speedOfTheReplay: "Speed of the replay",
  name: "Name",
  whatItIsOfBoard: "What was recorded: board, gain, finger …",
  noteOnThisRecording: "Note on this recording",
  saveNameAndNote: "Save name and note",
  saved: "Saved.",
  /** @param {unknown} a @param {unknown} text */
  downloadAs: (a, text) => `Download ${a} as ${text}`,
  /** @param {string} lost */
  notInTheDownload: (lost) => `Lost in the download: ${lost}.`,
  replay: "Replay",
  playItIntoTheLive: "Play it into the live page as if a board sent it",
  download: "Download",
  deleteText: "Delete",
  stopTheRecordingFirst: "Stop the recording first",
  toTheTrashItCan: "To the trash; it can be undone",
  /** @param {unknown} a */
  isBeingRecordedAndWould: (a) => `${a} is being recorded and would end with its source. Press Replay again to replay all the same.`,
  aRecording: "A recording",
  /** @param {unknown} a */
  replaying: (a) => `Replaying ${a}.`,
  undo: "Undo",
  /** @param {unknown} a */
  isInTheTrash: (a) => `${a} is in the trash.`,
  /** @param {unknown} a */
  isInTheTrashUndo: (a) => `${a} is in the trash. Undo restores it.`,
};

/** drawers/rhythm.js */
export const drawerRhythmWords = {
  theUsualTimeFromBeat: "the usual time from beat to beat",
  n60OverIt: "60 over it",
  howMuchNeighbouringIntervalsDiffer: "how much neighbouring intervals differ",
  shareOfNeighboursThatDiffer: "share of neighbours that differ by more than 50 ms",
  widthOfTheScatterAcross: "width of the scatter across the dashed line",
  lengthOfTheScatterAlong: "length of the scatter along the dashed line",
  spreadOfAllIntervals: "spread of all intervals",
  slowSway: "slow sway",
  wavesOfAbout10S: "waves of about 10 s",
  wavesOfTheBreath: "waves of the breath",
  lfPowerOverHFPower: "LF power over HF power",
  allIntervalsOverTheHistograms: "all intervals over the histogram’s height",
  baseOfTheHistogramsTriangle: "base of the histogram’s triangle",
  spreadOfFiveMinuteMeans: "spread of five-minute means",
  meanOfFiveMinuteSpreads: "mean of five-minute spreads",
  leftOutOffTheRhythm: "left out: off the rhythm",
  leftOutUnsureBeat: "left out: unsure beat or sample rate",
  noIntervalAGap: "no interval: a gap",
  perMinute: "per minute",
  noIntervalsYet: "No intervals yet.",
  /** @param {unknown} gaps @param {unknown} b */
  asNone: (gaps, b) => ` ${gaps} ${b} no interval.`,
  gapCounts: "gap in the signal gives",
  gapsCount: "gaps in the signal give",
  /** @param {unknown} all @param {unknown} gaps */
  noneLeftOut: (all, gaps) => `${all}, none left out.${gaps}`,
  /** @param {unknown} ectopic */
  offTheRhythm: (ectopic) => `${ectopic} off the rhythm`,
  /** @param {unknown} unsure */
  besideAnUnsureBeat: (unsure) => `${unsure} beside an unsure beat or at an unsure sample rate`,
  /** @param {unknown} all @param {unknown} b @param {unknown} join @param {unknown} gaps */
  leftOutDifferencesAreNever: (all, b, join, gaps) => `${all}; ${b} % left out: ${join}. Differences are never taken across a left-out interval.${gaps}`,
  under1: "under 1",
  /** @param {unknown} a */
  before: (a) => `${a} before`,
  /** @param {unknown} when */
  aGapNoInterval: (when) => `${when}: a gap, no interval`,
  /** @param {unknown} when @param {unknown} fixed @param {unknown} NBSP @param {unknown} fixed2 @param {unknown} e @param {unknown} qualityWord */
  msPerMinuteBeats: (when, fixed, NBSP, fixed2, e, qualityWord) => `${when}: ${fixed}${NBSP}ms, ${fixed2} per minute, ${e}; beats ${qualityWord}`,
  /** @param {unknown} absent */
  cannotTell: (absent) => `Cannot tell: ${absent}.`,
  /** @param {unknown} fixed @param {unknown} b */
  breathsPerMinute: (fixed, b) => `${fixed} breaths per minute, ${b}.`,
  /** @param {unknown} fixed */
  upToAMinuteHalf: (fixed) => ` Up to ${fixed} a minute, half of the heart rate, can be seen.`,
  /** @param {unknown} join */
  fromBeatAMinute: (join) => `From beat ${join} a minute.`,
  fairlySteady: "fairly steady",
  /** @param {unknown} fixed @param {unknown} NBSP @param {unknown} fixed2 @param {unknown} NBSP2 @param {unknown} pairs @param {unknown} peaks @param {unknown} NBSP3 @param {unknown} word */
  msFromRToThe: (fixed, NBSP, fixed2, NBSP2, pairs, peaks, NBSP3, word) => `${fixed}${NBSP}ms from R to the pulse’s foot, middle half within ${fixed2}${NBSP2}ms; ${pairs} of ${peaks} R peaks in 30${NBSP3}s, ${word}.`,
  /** @param {unknown} fixed @param {unknown} fixed2 */
  to: (fixed, fixed2) => `, ${fixed} to ${fixed2}`,
  /** @param {unknown} fixed @param {unknown} unit @param {unknown} range @param {unknown} length @param {unknown} length2 */
  inTheMiddleKnownIn: (fixed, unit, range, length, length2) => `${fixed}${unit} in the middle${range}; known in ${length} of ${length2} places.`,
  /** @param {unknown} fixed */
  breathsPerMinute2: (fixed) => `${fixed} breaths per minute`,
  /** @param {unknown} fixed @param {unknown} NBSP */
  pulseMsAfterR: (fixed, NBSP) => `pulse ${fixed}${NBSP}ms after R`,
  intervalStripNoIntervalsYet: "Interval strip: no intervals yet.",
  /** @param {unknown} length @param {unknown} fixed @param {unknown} fixed2 @param {unknown} leftOut */
  intervalStripUsedIntervalsFrom: (length, fixed, fixed2, leftOut) => `Interval strip: ${length} used intervals from ${fixed} to ${fixed2} ms. ${leftOut} Arrow keys read them one by one.`,
};

/** drawers/share.js */
export const drawerShareWords = {
  onlyTheOwnerSharesThis: "Only the owner shares this page.",
  share: "Share",
  newLinks: "New links",
  theOldLinksStopWorking: "The old links stop working and everyone who came by them is sent away. Otherwise links work the next time, too.",
  visitors: "Visitors",
  theLinksAreNew: "The links are new.",
  thePageIsShared: "The page is shared.",
  thePageIsNoLonger: "The page is no longer shared.",
  sharedOnThisNetwork: "Shared on this network",
  notShared: "Not shared",
  stopSharing: "Stop sharing",
  nobodyHasComeByA: "Nobody has come by a link yet.",
  pictureCodeOfTheWatch: "Picture code of the watch-only link",
  watchOnly: "Watch only",
  thisComputerHasSeveralAddresses: "This computer has several addresses; use the one of the network the others are in.",
  openItOnTheOther: "Open it on the other computer, or point a phone’s camera at the picture.",
  opensStraightInShowView: "opens straight in Show view",
  watchOnlyLink: "Watch-only link",
  thePictureShowsThisLink: "The picture shows this link.",
  toType: "To type: ",
  untilYouStopSharing: " (until you stop sharing)",
  ownersLink: "Owner’s link",
  whoeverHasItCanChange: "Whoever has it can change everything here. Give it to nobody but yourself.",
  copy: "Copy",
  copied: "Copied.",
  copied2: "Copied",
  selectedCopyItWithCtrl: "Selected; copy it with Ctrl C.",
  /** @param {unknown} toLowerCase */
  copy2: (toLowerCase) => `Copy ${toLowerCase}`,
  showQRCode: "Show QR code",
  removeAll: "Remove all",
  remove: "Remove",
  /** @param {unknown} address */
  removeTheVisitorFrom: (address) => `Remove the visitor from ${address}`,
  whenSharedEveryoneOnThis: "When shared, everyone on this network who has the link sees the signal. They can change nothing unless you give them the owner’s link.",
  everyoneOnThisNetworkWho: "Everyone on this network who has the link sees the signal, and the notes and messages on this page.",
  theConnectionIsNotEncrypted: " The connection is not encrypted: share it only in a network you trust.",
  noPageOpen: "no page open",
  onePageOpen: "one page open",
  /** @param {unknown} streams */
  pagesOpen: (streams) => `${streams} pages open`,
  /** @param {unknown} wholeSeconds */
  cameAgo: (wholeSeconds) => `, came ${wholeSeconds} ago`,
  asOwner: "as owner",
};

/** drawers/soundcard.js */
export const drawerSoundcardWords = {
  shapeDistortedByTheSound: "Shape distorted by the sound card, timing usable.",
  /** @param {unknown} significant @param {unknown} significant2 @param {unknown} significant3 @param {unknown} decibels */
  noiseFromToHzGrows: (significant, significant2, significant3, decibels) => `Noise from ${significant} to ${significant2} Hz grows ${significant3} times (${decibels})`,
  /** @param {unknown} grows @param {unknown} quantity @param {unknown} quantity2 */
  fromToRms: (grows, quantity, quantity2) => `${grows}: from ${quantity} to ${quantity2} rms.`,
  /** @param {unknown} significant @param {unknown} significant2 */
  theSweepCameThroughFrom: (significant, significant2) => ` The sweep came through from ${significant} to ${significant2} Hz.`,
  /** @param {unknown} band */
  no3DBPointWithin: (band) => `No −3 dB point within what was measured.${band}`,
  /** @param {unknown} join @param {unknown} decibels @param {unknown} band */
  n3DBAtAgainstAt: (join, decibels, band) => `−3 dB at ${join}, against ${decibels} at best.${band}`,
  stopSending: "Stop sending",
  a1KHzTone: "a 1 kHz tone",
  aDirectVoltage: "a direct voltage",
  measure: "Measure",
  level: "Level",
  iConnect: "I connect",
  itsVoltage: "Its voltage",
  feedTheToneToThe: "Feed the tone to the input now, below full scale, and type the rms voltage that your meter shows at the input. Leave the input’s level control where it is from then on.",
  withNothingElseOnThe: "With nothing else on the input, connect a battery through the divider once, wait three seconds, then measure. Give the voltage at the input. This finds the coupling’s corner too.",
  n002HzMostFaithful: "0.02 Hz: most faithful, slowest to settle",
  n02HzQuickestTo: "0.2 Hz: quickest to settle",
  undoTheSoundCardsHigh: "Undo the sound card’s high-pass",
  aCapacitorInTheSound: "A capacitor in the sound card is a high-pass: it removes slow changes, so a pulse loses its shape, but hardly its timing. Measure the high-pass once by a step, then it can be undone. Noise below its corner grows with it.",
  measureByAStep: "Measure by a step",
  connectADirectVoltageTo: "Connect a direct voltage to the input once (or touch the board’s input once), wait three seconds, then measure.",
  undoIt: "undo it",
  corner: "Corner",
  downTo: "Down to",
  theBrowsersDefaultInput: "the browser’s default input",
  n2OfFullScale: "2 % of full scale",
  n5SAQuickLook: "5 s, a quick look",
  n60SLeastNoise: "60 s, least noise",
  openTheSoundCard: "Open the sound card",
  n1LoopBackRun: "1  Loop-back run",
  n2RunThroughTheBoard: "2  Run through the board",
  stop: "Stop",
  progressOfTheRun: "Progress of the run",
  gainOfTheBoardAgainst: "Gain of the board against frequency",
  phaseOfTheBoardAgainst: "Phase of the board against frequency",
  frequencyResponseOfABoard: "Frequency response of a board",
  neverWithAPersonConnected: "Never with a person connected. The output goes to the board through a divider, the board’s output to the input through a divider: sound cards accept about ±1 V.",
  input: "Input",
  outputLevel: "Output level",
  oneSweepLasts: "One sweep lasts",
  firstJoinOutputAndInput: "First join output and input by the same dividers, without the board; then put the board between. Each run sweeps from 0.5 Hz to 2 kHz. Whatever is the same in both runs cancels.",
  /** @param {unknown} name */
  ofTheProgramItself: (name) => `${name}, of the program itself`,
  thePresentSourceIsNot: "The present source is not a sound input. These settings work only for a sound input, or for a recording of one.",
  /** @param {unknown} quantity */
  fullScaleIsAsMeasured: (quantity) => `Full scale is ${quantity}, as measured.`,
  unknownTheTraceIsIn: "Unknown: the trace is in counts until a level is measured.",
  /** @param {unknown} significant @param {unknown} significant2 @param {unknown} decibels */
  cornerHzUndoneDownTo: (significant, significant2, decibels) => `Corner ${significant} Hz, undone down to ${significant2} Hz: ${decibels} more gain at the bottom.`,
  off: "Off.",
  /** @param {unknown} quantity */
  fullScaleIs: (quantity) => `Full scale is ${quantity}`,
  /** @param {unknown} significant */
  theCouplingsCornerIsHz: (significant) => `the coupling’s corner is ${significant} Hz`,
  measureTheCornerOrWrite: "Measure the corner, or write it in hertz, first.",
  opening: "Opening …",
  openKeepItOpenFor: "Open. Keep it open for both runs.",
  loopBackRun: "Loop-back run …",
  runThroughTheBoard: "Run through the board …",
  /** @param {unknown} a @param {unknown} level @param {unknown} c */
  peak: (a, level, c) => `${a}: peak ${level}.${c}`,
  board: "Board",
  nowPutTheBoardBetween: " Now put the board between.",
  /** @param {unknown} a @param {unknown} b */
  solidTheBoardDotted3: (a, b) => `Solid: the board${a}; dotted: −3 dB.${b}`,
  dashedThePathInSoftware: "; dashed: the path in software, which follows it",
  /** @param {unknown} doubt @param {unknown} length */
  atOfFrequenciesNoiseOr: (doubt, length) => ` At ${doubt} of ${length} frequencies noise or hum is in the way: use more output level.`,
  soundInput: "Sound input",
};

/** drawers/spectrum.js */
export const drawerSpectrumWords = {
  nothingChosen: "nothing chosen",
  frequencyReadOutArrowKeys: "Frequency read out; arrow keys move, with Shift by ten bins",
  densityOfTheSignalAgainst: "Density of the signal against frequency",
  point: "Point",
  newest: "Newest",
  logFrequency: "log frequency",
  logLevel: "log level",
  pathsResponse: "path’s response",
  noiseAsA: "Noise as a ",
  solid: "Solid: ",
  /** @param {unknown} a */
  dashedThe0DBAt: (a) => `dashed: the ${a}, 0 dB at the top`,
  wholePathStillAhead: "whole path, still ahead",
  pathUpToHere: "path up to here",
  dottedUprightHumAndIts: "dotted upright: hum and its harmonics",
  /** @param {unknown} quantity */
  dottedAcrossTheConvertersOwn: (quantity) => `dotted across: the converter’s own noise, ${quantity}`,
  /** @param {unknown} significant @param {unknown} significant2 @param {unknown} averages @param {unknown} d @param {unknown} significant3 @param {unknown} f */
  binsOfHzResolvedTo: (significant, significant2, averages, d, significant3, f) => `Bins of ${significant} Hz, resolved to ${significant2} Hz, ${averages} ${d} over ${significant3} s.${f}`,
  theConvertersOwnNoiseIs: " The converter’s own noise is unknown: set its scale.",
  pointAtTheChartOr: "Point at the chart, or move along it with the arrow keys.",
  /** @param {unknown} decibels */
  path: (decibels) => `path ${decibels}`,
  spectrum: "Spectrum",
};

/** drawers/trimmer.js */
export const drawerTrimmerWords = {
  practiceTrimmer: "Practice trimmer",
  n200HzOff: "200 Hz (off)",
  turnItDownUntilThe: "Turn it down until the hum is gone and the pulse is still there.",
  /** @param {unknown} cornerText */
  cornerAt: (cornerText) => `corner at ${cornerText}`,
  outNoLowPass: "out: no low-pass",
  outNoLowPass2: "out, no low-pass",
  capacitorToUse: "Capacitor to use",
  presentResistor: "Present resistor",
  presentCapacitor: "Present capacitor",
  trimmersValue: "Trimmer’s value",
  humWantedDBOfThe: "Hum wanted, dB of the pulse",
  advise: "Advise",
  turnThePracticeBoardsTrimmer: "Turn the practice board’s trimmer there",
  solidHumLeftDashedPulse: "Solid: hum left. Dashed: pulse left. Both against the corner of the low-pass; now = 0 dB.",
  whichResistorAdviceOnThe: "Which resistor? Advice on the trimmer",
  forASinglePoleLow: "For a single-pole low-pass R–C. The hum and the pulse that would be left are computed from the signal as it is now.",
  humAndPulseAgainstThe: "Hum and pulse against the corner of the low-pass",
  /** @param {unknown} cornerText */
  thePracticeBoardsLowPass: (cornerText) => `The practice board’s low-pass now stands at ${cornerText}; it is taken into account.`,
  thePracticeBoardHasNo: "The practice board has no low-pass now.",
  nameTheLowPassThat: "Name the low-pass that is there now, or leave both empty when this one comes in addition. “4k7”, “100 nF” and “0.1u” are understood.",
  /** @param {unknown} value @param {unknown} b */
  isNotTheValueOf: (value, b) => `“${value}” is not the value of a ${b}.`,
  capacitorWrite100NFOr: "capacitor; write 100 nF or 1 µF",
  resistorWrite47kOr: "resistor; write 4.7k or 4k7",
  nameThePresentResistorAnd: "Name the present resistor and capacitor, or neither.",
  /** @param {unknown} value */
  aTargetOfDBIt: (value) => `A target of “${value}” dB: it must be below 0; −40 dB is 1 % of the pulse.`,
  resistor: "Resistor",
  /** @param {unknown} part @param {unknown} part2 */
  e24Exactly: (part, part2) => `${part} (E24; exactly ${part2})`,
  trimmer: "Trimmer",
  /** @param {unknown} percent @param {unknown} part */
  ofTheWayOn: (percent, part) => `${percent} of the way on ${part}`,
  corner: "Corner",
  humThen: "Hum then",
  /** @param {unknown} quantity @param {unknown} decibels */
  rmsOfThePulse: (quantity, decibels) => `${quantity} rms, ${decibels} of the pulse`,
  pulseThen: "Pulse then",
  /** @param {unknown} quantity @param {unknown} percent */
  ofNow: (quantity, percent) => `${quantity}, ${percent} of now`,
  thePracticeBoardsTrimmerIs: "The practice board’s trimmer is turned to the advised corner.",
};

/** drawers/why.js */
export const drawerWhyWords = {
  theBeatBefore: "The beat before",
  theNextBeat: "The next beat",
  theCandidateBefore: "The candidate before",
  theNextCandidate: "The next candidate",
  stepThroughTheRememberedSignal: "Step through the remembered signal; the trace is frozen and goes along. Each stem is a candidate: a place the beat finder looked at. Its height is the score, the dashed line the score needed.",
  aroundIt: "Around it",
  nothingNewerHasBeenDecided: "Nothing newer has been decided.",
  nothingOlderIsKept: "Nothing older is kept.",
  taken: "Taken",
  notTaken: "Not taken",
  thisChannelIsNotRead: "This channel is not read for beats; choose pulse or ECG under Beats.",
  stepToABeat: "Step to a beat.",
  nothingToShowHereYet: "Nothing to show here yet.",
  ofAPulseEachRise: "Of a pulse each rise is looked at. Its score is the geometric mean of its height and of its steepest slope over 0.1 s.",
  at: "At",
  sinceThePeakBefore: "Since the peak before",
  sinceTheBeatBefore: "Since the beat before",
  score: "Score",
  scoreNeeded: "Score needed",
  background: "Background",
  likenessToEarlierBeats: "Likeness to earlier beats",
  notOrNotYetCompared: "not, or not yet compared",
  firstDecided: "First decided",
  notTaken2: "not taken",
  why: "Why",
};

/** drawers/wire.js */
export const drawerWireWords = {
  asItIs: "as it is",
  coveredLookNow: "Covered: look now",
  touchingLookNow: "Touching: look now",
  joinedLookNow: "Joined: look now",
  lampsOffLookNow: "Lamps off: look now",
  chargerOutLookNow: "Charger out: look now",
  findTheFault: "Find the fault",
  findsOutWhyNoSignal: "Finds out why no signal, or only hum, comes from the board",
  stop: "Stop",
  lookingAtTheSignalAs: "Looking at the signal as it is. Leave the board alone and keep still …",
  holdItLooking: "Keep still. Looking …",
  lookAgain: "Look again",
  /** @param {string} time */
  foundAt: (time) => `Found at ${time}:`,
  /** @param {string} time */
  ofBefore: (time) => `Of before: found at ${time}, and the signal is judged differently since. Press Look again.`,
  seen: "Seen: ",
  lookNow: "Look now",
};

/** drawers.js */
export const drawersWords = {
  save: "Save …",
  whatIsSeenAsA: "The charts as a picture, a drawing or numbers",
  /** @param {unknown} title */
  close: (title) => `Close ${title}`,
};

/** frames.js */
export const framesWords = {
  /** @param {unknown} length @param {unknown} HEADER_BYTES */
  frameOfBytesAtLeast: (length, HEADER_BYTES) => `frame of ${length} bytes: at least ${HEADER_BYTES} are needed`,
  frameDoesNotBeginWith: "frame does not begin with PW",
  /** @param {unknown} getUint8 */
  frameOfVersionThisPage: (getUint8) => `frame of version ${getUint8}: this page knows version 1; reload it`,
  /** @param {unknown} length @param {unknown} channels @param {unknown} points @param {unknown} samples @param {unknown} e */
  frameOfBytesChannelsPoints: (length, channels, points, samples, e) => `frame of ${length} bytes: ${channels} channels, ${points} points and ${samples} samples need ${e}`,
  /** @param {unknown} rateHz */
  frameWithARateOf: (rateHz) => `frame with a rate of ${rateHz} Hz: it must be above 0`,
  historyEndsInsideALength: "history ends inside a length",
  historyEndsInsideAFrame: "history ends inside a frame",
};

/** glossary.js */
export const glossaryWords = {
  /** @param {unknown} names */
  explained: (names) => `Explained: ${names}`,
  /** @param {unknown} text @param {unknown} names */
  explained2: (text, names) => `${text}: ${names} explained`,
};

/** guide.js */
export const guideWords = {
  firstSteps: "first steps",
  chooseASource: "Choose a source",
  exampleProgram: "Example program",
  setVolts: "Set volts …",
  finger: "Finger",
  chest: "Chest",
  check: "Check",
  next: "Next",
  closeTheFirstSteps: "Close the first steps",
  hBringsThemBack: "h brings them back",
  done: "Done",
};

/** keys.js */
export const keysWords = {
  keyboard: "Keyboard",
};

/** path/path.js */
export const pathWords = {
  channel: "Channel",
  /** @param {unknown} toLowerCase */
  pathForA: (toLowerCase) => `Path for a ${toLowerCase}`,
  preset: "Preset:",
  finger: "Finger",
  pulseDriftBelow03: "Pulse: drift below 0.3 Hz, hum, and above 15 Hz removed",
  chest: "Chest",
  ecgDriftBelow05: "ECG: drift below 0.5 Hz, hum with harmonics, and above 40 Hz removed",
  undo: "Undo",
  undoTheLastSettingCtrl: "Undo the last setting (Ctrl Z)",
  redo: "Redo",
  redoItCtrlShiftZ: "Redo it (Ctrl Shift Z)",
  fold: "Hide path",
  giveTheTraceThePaths: "Hide the signal path, and show it again (d)",
  signalPath: "Signal path",
  source: "Source",
  choose: "Choose …",
  kindOfSignal: "Kind of signal",
  scale: "Scale",
  setVolts: "Set volts …",
  removeDrift: "Remove drift",
  driftOn: "drift on",
  driftOff: "drift off",
  driftCutoff: "drift cutoff",
  driftOrder: "drift order",
  orderOfTheHighPass: "Order of the high-pass",
  drift: "Drift",
  howHumIsRemoved: "How hum is removed",
  humFrequency: "hum frequency",
  humFrequency2: "Hum frequency",
  humWidth: "hum width",
  humHarmonics: "hum harmonics",
  harmonics: "Harmonics",
  fundamentalAndItsMultiples: "Fundamental and its multiples",
  hum: "Hum",
  butterworth: "Butterworth",
  shapeOfTheLowPass: "Shape of the low-pass",
  smoothCutoff: "smooth cutoff",
  smoothOrder: "smooth order",
  orderOfTheLowPass: "Order of the low-pass",
  smooth: "Smooth",
  beats: "Beats",
  /** @param {unknown} a @param {unknown} title */
  probe: (a, title) => `Probe ${a}, ${title}`,
  /** @param {unknown} title @param {unknown} b */
  probe2: (title, b) => `Probe ${title} (${b})`,
  responseOfTheDriftStage: "Response of the drift stage",
  responseOfTheHumStage: "Response of the hum stage",
  responseOfTheSmoothStage: "Response of the smooth stage",
  unfold: "Show path",
  /** @param {unknown} rate */
  shownAt: (rate) => `, shown at ${rate}`,
  /** @param {unknown} toLocaleString */
  unreadableLines: (toLocaleString) => `${toLocaleString} unreadable lines`,
  countsScaleUnknown: "counts, scale unknown",
  /** @param {unknown} significant @param {unknown} bits */
  vOverBits: (significant, bits) => `${significant}\u00a0V over ${bits}\u00a0bits`,
  /** @param {unknown} a */
  givenByTheSource: (a) => `${a}, given by the source`,
  volts: "Volts",
  /** @param {unknown} quantity */
  step: (quantity) => `step ${quantity}`,
  /** @param {unknown} significant */
  gainDividedOut: (significant) => `gain ${significant} divided out`,
  /** @param {unknown} significant @param {unknown} significant2 */
  railsV: (significant, significant2) => `rails ${significant}…${significant2}\u00a0V`,
  /** @param {unknown} quantity */
  fullScale: (quantity) => `${quantity} full scale`,
  /** @param {unknown} significant */
  hzCouplingUndone: (significant) => `${significant}\u00a0Hz coupling undone`,
  shapeDistortedByTheSound: "Shape distorted by the sound card, timing usable.",
  enterReferenceAndBitsTo: "Enter reference and bits to see volts.",
  /** @param {unknown} significant */
  autoHz: (significant) => `auto: ${significant} Hz`,
  /** @param {unknown} quantity @param {unknown} quantity2 */
  removedOffsetRmsDrift: (quantity, quantity2) => `removed: ${quantity} offset, ${quantity2} rms drift`,
  removesNothing: "removes nothing",
  /** @param {unknown} quantity */
  removedRmsHum: (quantity) => `removed: ${quantity} rms hum`,
  /** @param {unknown} duration */
  delaysTheTraceBy: (duration) => `; delays the trace by ${duration}`,
  /** @param {unknown} quantity @param {unknown} late */
  removedRms: (quantity, late) => `removed: ${quantity} rms${late}`,
  /** @param {unknown} significant */
  foundInTheSignalAt: (significant) => `Found in the signal at probe 1. The filters only change what is drawn. A beat appears at most ${significant}\u00a0s late.`,
  /** @param {unknown} a */
  order: (a) => `order ${a}`,
};

/** playback.js */
export const playbackWords = {
  pause: "Pause",
  positionInTheRecording: "Position in the recording",
  speed: "Speed",
  play: "Play",
  atItsEnd: ", at its end",
  skipGaps: "skip gaps",
};

/** plot.js */
export const plotWords = {
  thisBrowserCannotDrawOn: "this browser cannot draw on a canvas",
};

/** format.js */
export const formatWords = {
  /** @param {unknown} qualityWord */
  signal: (qualityWord) => `${qualityWord} signal`,
  /** @param {unknown} qualityWord */
  beatsInMuchHum: (qualityWord) => `${qualityWord} beats in much hum`,
};

/** reading.js */
export const readingWords = {
  qualityUnknown: "quality unknown",
  waitingForTheFirstSeconds: "Waiting for the first seconds of signal.",
  /** @param {unknown} lit @param {unknown} QUALITY_STEPS */
  qualityOf: (lit, QUALITY_STEPS) => `quality ${lit} of ${QUALITY_STEPS}`,
  /** @param {unknown} label @param {unknown} round @param {unknown} word */
  beatsPerMinute: (label, round, word) => `${label} ${round} beats per minute, ${word}`,
  noReadingNothingArrives: "no reading: nothing arrives",
  /** @param {unknown} wholeSeconds */
  theLastSampleCameAgo: (wholeSeconds) => `The last sample came ${wholeSeconds} ago.`,
};

/** review/channels.js */
export const reviewChannelsWords = {
  countsNobodySaidWhatOne: "counts: how many volts one is, is not set",
  /** @param {unknown} short @param {unknown} bits @param {unknown} c */
  vReferenceBits: (short, bits, c) => `${short} V reference, ${bits} bits${c}`,
  signed: ", signed",
  /** @param {unknown} short */
  fullScaleV: (short) => `full scale ${short} V`,
  voltsAsTheRecordingSays: "volts as the recording says",
  /** @param {unknown} quantity */
  oneCountIs: (quantity) => `one count is ${quantity}`,
  /** @param {unknown} short */
  gainDividedOut: (short) => `gain ${short} divided out`,
  turnedUpsideDown: "turned upside down",
  /** @param {unknown} rail @param {unknown} rail2 */
  railsAnd: (rail, rail2) => `rails ${rail} and ${rail2}`,
  channels: "Channels",
  name: "Name",
  kind: "Kind",
  unitOfTheNumbers: "Unit of the numbers",
  voltsRailsGain: "Volts, rails, gain …",
  asRecorded: "As recorded",
  takeBackWhatWasSaid: "Reset what was set here",
};

/** review/figures.js */
export const reviewFiguresWords = {
  figures: "Figures",
  spectrum: "Spectrum",
  typicalBeat: "Typical beat",
  signalCsv: "Signal (CSV)",
  filteredCsv: "Filtered (CSV)",
  filteredEdf: "Filtered (EDF+)",
  filteredWav: "Filtered (WAV)",
  check: "Check",
  theRecordingHasNoChannel: "The recording has no channel.",
  /** @param {unknown} span */
  judgedTheLongestPartWithout: (span) => `${span} judged: the longest part without a gap, ten minutes at most.`,
  /** @param {unknown} significant @param {unknown} length */
  medianRateBpmBeats: (significant, length) => `Median rate ${significant}\u00a0bpm, ${length} beats`,
};

/** review/intervals.js */
export const reviewIntervalsWords = {
  measures: "Measures",
  beats: "Beats",
  intervals: "Intervals",
  noChannelOfThisRecording: "No channel of this recording is a pulse or an ECG.",
  pointAtTheStripOr: "Point at the strip, or step along it with the arrow keys; a click or Enter goes there.",
  breathingRateAgainstTime: "Breathing rate against time",
  pulseArrivalAgainstTime: "Pulse arrival against time",
  pulseArrival: "Pulse arrival",
  breathing: "Breathing",
  /** @param {unknown} span @param {unknown} b */
  theMeasuresAreOfAll: (span, b) => `${span}; the measures are of all of it${b}.`,
  stripAndScatterOfIts: ", strip and scatter of its last 15 minutes",
  intoTheRecording: "into the recording",
  breathsPerMinute: " breaths per minute",
  /** @param {unknown} a */
  cannotTell: (a) => `Cannot tell: ${a}.`,
  edited: (/** @type {number} */ n, /** @type {{added: number, moved: number, removed: number}} */ c) => edited(n, c),
  theStretchIsTooShort: "the stretch is too short",
  perMinute: "per minute",
  msFromRToThe: "ms from R to the pulse’s foot",
  /** @param {unknown} ecgLabel @param {unknown} pulseLabel */
  fromToEachOverHalf: (ecgLabel, pulseLabel) => `From ${ecgLabel} to ${pulseLabel}, each over half a minute. The delays of both boards are in it: compare it with itself only, and only while the boards stay as they are.`,
};

/** review/library.js */
export const reviewLibraryWords = {
  /** @param {unknown} code */
  theServerAnswered: (code) => `the server answered ${code}`,
  theFileDidNotArrive: "The file did not arrive; is the program still running?",
};

/** review/path-fields.js */
export const reviewPathFieldsWords = {
  /** @param {unknown} a */
  order: (a) => `order ${a}`,
  driftCutoffInHertz: "Drift: cutoff in hertz",
  driftOrder: "Drift: order",
  hum: "Hum",
  humFrequency: "Hum: frequency",
  humHarmonics: "Hum: harmonics",
  butterworth: "Butterworth",
  smooth: "Smooth",
  smoothCutoffInHertz: "Smooth: cutoff in hertz",
  smoothOrder: "Smooth: order",
  drift: "Drift",
};

/**
 * How many beats were edited by hand.
 * @param {number} n @param {{added: number, moved: number, removed: number}} c
 */
const edited = (n, c) => `${n === 1 ? "1 beat" : `${n} beats`} edited by hand: ${[c.added && `${c.added} added`, c.moved && `${c.moved} moved`, c.removed && `${c.removed} deleted`].filter(Boolean).join(", ")}.`;

/** review/editor.js */
export const reviewEditorWords = {
  edited,
  editBeats: "Edit beats",
  moveAddAndDelete: "Move, add and delete beats by hand (e)",
  add: "Add",
  addTitle: "Add a beat at cursor A, or in the middle (d); a double click adds one there",
  deleteText: "Delete",
  deleteTitle: "Delete the chosen beat (x)",
  undo: "Undo",
  undoTitle: "Undo (Ctrl z)",
  redo: "Redo",
  redoTitle: "Redo (Ctrl y)",
  asFound: "As found",
  asFoundTitle: "Take back all edits of this channel",
  chosenBeat: "Chosen beat",
  howTo: "Click a beat to choose it, drag it to move it, press x to delete it; double-click to add one. Undo: Ctrl z. Every edit is saved at once.",
  noBeatsHere: "This channel is neither a pulse nor an ECG, so it has no beats: set its kind under Channels first.",
  tooNear: "There is a beat already, less than 0.1 s away.",
  /** @param {unknown} clockTime */
  beatAdded: (clockTime) => `Beat added at ${clockTime}.`,
  /** @param {unknown} clockTime */
  beatDeleted: (clockTime) => `Beat at ${clockTime} deleted.`,
  chooseFirst: "Choose a beat first: click it, or press b.",
};

/** review/review.js */
export const reviewWords = {
  sheet: "Paper …",
  aHandoutOrALab: "Print a handout or a lab sheet",
  shiftP: "Shift P",
  saveSeen: "Save …",
  whatIsSeenAsA: "What is seen as a picture, a drawing or numbers",
  close: "Close",
  timeAcross: "Time across",
  cursors: "Cursors",
  twoCursorsTimeDifferenceAnd: "Two cursors: time, difference and rate between them (c)",
  lockScale: "Lock scale",
  keepTheHeightOfThe: "Keep the height of the traces while moving (a)",
  whatIsToBeSeen: "What is to be seen here?",
  note: "Note",
  keep: "Keep",
  writeANoteAtCursor: "Write a note at cursor A, or in the middle (n)",
  check: "Check",
  swingHumAndNoiseOf: "Swing, hum and noise of this stretch (k)",
  intervals: "Intervals",
  fromBeatToBeatStrip: "From beat to beat: strip, scatter, measures, breathing (i)",
  speedOfTheReplay: "Speed of the replay",
  recording: "Recording",
  moreTimeAcross: "More time across",
  moreTimeAcross2: "More time across (−)",
  lessTimeAcross: "Less time across",
  lessTimeAcross2: "Less time across (+)",
  replayFromHere: "Replay from here",
  playItIntoTheLive: "Play it into the live page from cursor A, or from the left edge (p)",
  compareAsA: "Compare as A",
  thisStretchOrWhatLies: "This stretch, or what lies between the cursors, as A",
  asB: "as B",
  compareAsB: "Compare as B",
  channelOfTheBeats: "Channel of the beats",
  findBeats: "Find beats",
  runTheBeatFinderOver: "Run the beat finder over the whole recording",
  channelOfThePath: "Channel of the path",
  asRecorded: "as recorded",
  howTheChannelIsShown: "How the channel is shown",
  asSetWhenRecorded: "As set when recorded",
  asSetOnTheLive: "As set on the live page",
  traces: "Traces",
  cursorsNotesBeatsAndPath: "Cursors, notes, beats and path",
  notes: "Notes",
  beats: "Beats",
  beatBefore: "Beat before",
  beatBeforeShiftB: "Beat before (shift b)",
  nextBeat: "Next beat",
  nextBeatB: "Next beat (b)",
  path: "Path",
  keyboard: "Keyboard",
  thereIsNoSampleIn: "There is no sample in this recording yet.",
  channel: "Channel",
  noted: "Noted.",
  theNoteIsGone: "The note is gone.",
  /** @param {unknown} lines */
  theBoardsLines: (lines) => `the board’s ${lines} lines`,
  goThere: "Go there",
  /** @param {unknown} text */
  takeAwayTheNote: (text) => `Delete the note ${text}`,
  reading: "Reading …",
  noNotesYetPressN: "No notes yet. Press n to add one.",
  noBeatsAreStoredFor: "No beats are stored for this channel.",
  /** @param {unknown} toLocaleString @param {unknown} b @param {unknown} toLocaleString2 @param {unknown} d */
  hereInAll: (toLocaleString, b, toLocaleString2, d) => `${toLocaleString} here${b}; ${toLocaleString2} in all.${d}`,
  /** @param {unknown} significant */
  medianBpm: (significant) => `, median ${significant}\u00a0bpm`,
  /** @param {unknown} a */
  foundAsBeforeTheKind: (a) => ` Found as ${a}, before the kind was changed.`,
  anECG: "an ECG",
  aPulse: "a pulse",
  /** @param {unknown} a */
  andMoreZoomInTo: (a) => `and ${a} more; zoom in to list them`,
  /** @param {unknown} floor */
  cancelDone: (floor) => `Cancel (${floor} % done)`,
  /** @param {unknown} length */
  beatsFound: (length) => `${length} beats found.`,
  cancelled: "Cancelled.",
  /** @param {unknown} a */
  isBeingRecordedAndWould: (a) => `${a} is being recorded and would end with its source. Replay again to replay all the same.`,
  aRecording: "A recording",
  /** @param {unknown} a @param {unknown} clockTime */
  replayingFrom: (a, clockTime) => `Replaying ${a} from ${clockTime}.`,
  pgUpPgDn: "PgUp PgDn",
  aPageBackAndForth: "a page back and forth",
  homeEnd: "Home End",
  beginningAndEnd: "beginning and end",
  lessOrMoreTimeAcross: "less or more time across",
  twoCursorsOnOneJump: "two cursors; ↑ ↓ on one jump from beat to beat",
  writeANote: "write a note",
  nextBeatWithShiftThe: "next beat, with shift the one before",
  lockTheScale: "lock the scale",
  checkSwingHumNoise: "check: swing, hum, noise",
  fromBeatToBeatIntervals: "from beat to beat: intervals",
  score: "Score",
  foundAgainstAnnotated: "The beats found against those annotated: missed and extra ones (s)",
  scoreAgainst: "score against the annotated beats",
  nextMiss: "next missed or extra beat, with shift the one before",
  fromAToB: "from A to B",
  gap: "gap",
  byHand: "by hand",
  goTo: "Go to",
  go: "Go",
  goToTime: "go to a time",
  goToTimeKey: "Go to a time (g)",
  clock: "Clock",
  clockTimeOnTheAxis: "Time of the clock on the axis, in place of time from the beginning (t)",
  clockTimeOnTheAxis2: "time of the clock, or from the beginning",
  /** @param {unknown} text */
  noTime: (text) => `${text || "Nothing"} is no time: write seconds, 1:23.5, or 1:02:03.`,
  /** @param {unknown} text @param {unknown} end */
  beyondTheEnd: (text, end) => `${text} is not in the recording, which ends at ${end}.`,
  editBeatsKeys: "edit beats: b chooses the next, ← → move it, d adds, x deletes, Ctrl z takes back",
  replayFromHere2: "replay from here",
  esc: "Esc",
};

/** review/score.js */
export const reviewScoreWords = {
  score: "Score",
  noChannel: "No channel of this recording is a pulse or an ECG.",
  missedAndExtra: "Missed and extra",
  fromTheStart: "from the start",
  afterFiveMinutes: "after the first 5 min",
  whereScoringBegins: "Where scoring begins",
  before: "Missed or extra beat before (shift m)",
  next: "Next missed or extra beat (m)",
  sensitivity: "Se: found of the annotated",
  predictivity: "+P: annotated of the found",
  f1: "F1: both together",
  annotated: "Annotated beats",
  found: "Found beats",
  missed: "Missed",
  extra: "Extra",
  apart: "Apart, rms",
  /** @param {unknown} duration */
  rule: (duration) => `A found beat counts when it lies within ${duration} of an annotated one (ANSI/AAMI EC57).`,
  /** @param {unknown} duration */
  delayed: (duration) => ` The pulse comes ${duration} after the annotated R peak; so much is taken off first.`,
  /** @param {unknown} n */
  andMore: (n) => `and ${n} more; choose a shorter stretch to list them`,
  noneMissed: "No beat is missed, and none is extra.",
  asFound: " Scored are the beats as they were found; what was edited by hand does not count.",
  /** @param {number} n @param {{added: number, moved: number, removed: number}} c */
  edited: (n, c) => ` Scored are the beats as they stand now. ${edited(n, c)}`,
  whichBeats: "Which beats are scored",
  asEdited: "beats as edited",
  asWereFound: "beats as found",
  foundEdited: "Beats as edited",
};

/** scene/cursors.js */
export const cursorsWords = {
  cursorA: "Cursor A",
  cursorB: "Cursor B",
  /** @param {unknown} clockTime @param {unknown} duration */
  difference: (clockTime, duration) => `${clockTime}; difference ${duration}`,
};

/** review/sheet.js */
export const reviewSheetWords = {
  /** @param {string} label */
  lowest: (label) => `${label} lowest`,
  /** @param {string} label */
  highest: (label) => `${label} highest`,
  recordingArrowKeysScrollPlus: "Recording. Arrow keys scroll, plus and minus zoom, c sets cursors, n writes a note.",
  placeInTheRecording: "Place in the recording",
  thisBrowserCannotDrawOn: "this browser cannot draw on a canvas",
  filteringTheWholeRecording: "Filtering the whole recording",
  readingTheRecording: "Reading the recording",
  afterItsPath: ", after its path",
  asRecorded: ", as recorded",
  /** @param {unknown} clockTime @param {unknown} clockTime2 @param {unknown} clockTime3 */
  toOf: (clockTime, clockTime2, clockTime3) => `${clockTime} to ${clockTime2} of ${clockTime3}`,
};

/** review/stretch.js */
export const reviewStretchWords = {
  save: "Save",
  /** @param {string} what */
  saveWhat: (what) => `Save: ${what}`,
  workItOut: "Work it out",
  readingTheRecording: "Reading the recording …",
  whatIsSeen: "what is seen",
  betweenTheCursors: "between the cursors",
  wholeRecording: "whole recording",
  stretch: "Stretch",
  channelOf: "Channel of ",
  nothingToAsk: "nothing to ask",
  setTheCursorsCWhat: "Set the cursors (c): what lies between them is shown here.",
  /** @param {unknown} duration @param {unknown} least */
  holdTooFewBeatsShow: (duration, least) => `${duration} hold too few beats; show ${least} s or more.`,
  /** @param {unknown} duration */
  takeAWhileAboutA: (duration) => `${duration} take a while: about a second an hour.`,
  cancel: "Cancel",
  cancelled: "Cancelled.",
};

/** review/window.js */
export const reviewWindowWords = {
  theViewOfTheRecording: "The view of the recording is cut short.",
};

/** scale-dialog.js */
export const scaleDialogWords = {
  asTheBoardOrFile: "as the board or file says",
  fromTheConvertersReferenceAnd: "from the converter’s reference and bits",
  fromTheMeasuredFullScale: "from the measured full scale of a sound input",
  unknownShowCounts: "unknown: show counts",
  chooseOrFillInBelow: "choose, or fill in below",
  theNumbersSoFarHave: "The numbers so far have decimals. Are they volts already? Then leave bits and reference alone: set the column’s unit to V in the source’s dialog, under Columns of this board.",
  referenceVoltage: "Reference voltage",
  fullScaleTheVoltsAt: "Full scale: the volts at one more than the highest count, often the 5 V or 3.3 V supply. A signed converter reaches from minus the reference to plus the reference.",
  bits: "Bits",
  n10BitsCount0To: "10 bits count 0 to 1023.",
  countsAreSignedAboutZero: "counts are signed, about zero",
  fullScale: "Full scale",
  voltsAtTheHighestCount: "Volts at the highest count; the Sound input drawer measures it.",
  lowerRail: "Lower rail",
  upperRail: "Upper rail",
  leaveEmptyWhenUnknown: "Leave empty when unknown.",
  theReferenceTheSignalRests: "The reference the signal rests on: 2.5 V on a single 5 V supply.",
  gainBeforeTheConverter: "Gain before the converter",
  dividedOutVoltsAreThen: "Divided out: volts are then those at the sensor. 1 shows volts at the converter.",
  theSameForAllColumns: "the same for all columns of this board",
  gainPolarityStay: "Converter and rails. Gain, upside down and kind stay with each column.",
  turnTheSignalUpsideDown: "turn the signal upside down",
  converter: "Converter",
  soundInput: "Sound input",
  usualOnes: "Usual ones",
  voltsCome: "Source of volts",
  board: "Board",
  apply: "Apply",
  whatIsACountWorth: "How many volts is one count?",
  /** @param {unknown} label */
  whatIsACountOf: (label) => `How many volts is one count of ${label}?`,
  /** @param {unknown} label @param {unknown} text */
  isNoNumber: (label, text) => `${label}: “${text}” is no number. Write it like 1.65 or 1,65.`,
  /** @param {unknown} low @param {unknown} high @param {unknown} bits @param {unknown} d */
  theCountsSoFarTo: (low, high, bits, d) => `The counts so far, ${low} to ${high}, fit ${bits} bits${d}: use that`,
  signed: ", signed",
  /** @param {unknown} lowCount */
  count: (lowCount) => `count ${lowCount}`,
  count0: "count 0",
  /** @param {unknown} highCount */
  aboveCount: (highCount) => `above count ${highCount}`,
};

/** show.js */
export const showWords = {
  signalTrace: "Signal trace",
  frozen: "Frozen",
  bpm: "bpm",
  /** While the trace is frozen: the rate is not that of the beats seen. */
  bpmLive: "bpm, live now",
  typical: "typical",
  thisBrowserHasNoFull: "This browser gives no full screen.",
  theScreenMayGoDark: "This browser cannot keep the screen on. Set this computer so that its screen does not go dark.",
  follow: "Follow",
  lookAlone: "Look alone",
  youPresent: "You present.",
  youNoLongerPresent: "You no longer present.",
  youFollow: "You follow the presenter.",
  youLookAlone: "You look alone.",
  youLookAloneNow: "You look alone now. Press Follow to follow the presenter again.",
  recording: "Recording",
  noConnection: "No connection",
  /** @param {string} seconds */
  theSoundComes: (seconds) => `The sound comes ${seconds} s after the beat.`,
  theSoundComesBefore: "The sound comes before the beat is confirmed.",
  /** @param {unknown} seconds @param {number} wrong @param {number} ticks */
  theSoundComesAtOnce: (seconds, wrong, ticks) => `The sound comes ${seconds} s after the beat, before the beat is confirmed. ${wrong === 0 ? "All" : `All but ${wrong}`} of the last ${ticks} were beats.`,
  noReadingPrefix: "no reading: ",
  showView: "Show view",
  thisBrowserCannotDrawOn: "this browser cannot draw on a canvas",
  showViewEscapeLeavesIt: "Show view. Escape leaves it.",
  frozenAloud: "The trace is frozen. The rate goes on, live.",
  live: "Live.",
  dark: "Dark",
  light: "Light",
  darkGround: "Dark ground",
  lightGround: "Light ground",
  nothingArrives: "Nothing arrives",
  theBoardOrTheConnection: "The board or the connection is silent.",
  searchingForBeats: "Searching for beats",
};

/** show/choose.js */
export const showChooseWords = {
  /** Of the points of the path, short enough for a room. */
  points: ["raw", "no drift", "no hum", "cleaned", "beat finder"],
  traces: "Traces",
  upToThree: "Up to three traces",
  done: "Done",
};

/** show/controls.js */
export const showControlsWords = {
  alongTheFrozenTrace: "along the frozen trace",
  freeze: "Freeze",
  freezeTheTraceSpace: "Freeze the trace (space)",
  pointer: "Pointer",
  aRingThatFollowsThe: "A ring that follows the mouse, the finger or the arrow keys (p)",
  atOnce: "At once",
  soundsBeforeItIsConfirmed: "Sounds each beat as it comes, before it is confirmed: sometimes it is none",
  beatSound: "Beat sound",
  aSoftTickAtEach: "A soft tick at each beat (m)",
  raw: "Raw",
  asMeasuredBeforeTheSignal: "As measured, before the signal path (r)",
  beforeAndAfter: "Before, after",
  rawAboveCleaned: "As measured above, cleaned below (b)",
  rawAboveCleaned2: "as measured above, cleaned below",
  traces: "Traces",
  whichTraces: "Choose up to three traces",
  typicalBeat: "Typical beat",
  theMeanOfBeats: "The mean of the last beats, beside the trace (n)",
  theTypicalBeat: "the typical beat",
  fullScreen: "Full screen",
  fullScreenF: "Full screen (f)",
  fullScreen2: "full screen",
  join: "Join",
  howToJoinJ: "How others can look: picture code and link (j)",
  howToJoin: "how others can look",
  present: "Present",
  allWhoFollowSee: "All pages that follow show what you show (g)",
  presentToAll: "present to all pages that follow",
  aLineOfWords: "A line of words",
  lookAlone: "Look alone",
  followOrAlone: "Follow the presenter, or look alone (a)",
  followOrLookAlone: "follow the presenter, or look alone",
  nextSignal: "Next signal",
  theNextChannelX: "The next channel (x)",
  lightOrDarkGroundT: "Light or dark ground (t)",
  save: "Save …",
  saveThisViewE: "A picture, a drawing or the numbers of the traces (e)",
  saveThisView: "save this view",
  leave: "Leave",
  backToThePageEsc: "Back to the page (Esc)",
  showView: "Show view",
  freezeOrGoOn: "freeze, or go on",
  aPointerForMouseFinger: "a pointer for mouse, finger and arrows",
  aSoftTickAtEach2: "a soft tick at each beat",
  asMeasuredOrCleaned: "as measured, or cleaned",
  theNextChannel: "the next channel",
  lightOrDarkGround: "light or dark ground",
  fewerOrMoreSecondsAcross: "fewer or more seconds across",
  esc: "Esc",
  backToThePage: "back to the page",
};

/** show/save.js */
export const showSaveWords = {
  /** @param {string} number @param {string} state */
  reads: (number, state) => (number === "–" ? state : `${number} bpm, ${state.toLowerCase()}`),
  asAtThePress: "The traces as they were when you pressed.",
};

/** show/join.js */
export const showJoinWords = {
  join: "Join",
  pictureCode: "Picture code of the watch-only link",
  scanOrType: "Scan the picture, or type:",
  sameNetwork: "In the same network. Who comes can look, and change nothing.",
  notShared: "This page is not shared yet.",
  sharingOpens: "When shared, everyone on this network who has the link sees the signal.",
  share: "Share",
  backToTheTrace: "Back to the trace",
};

/** show/lanes.js */
export const showLanesWords = {
  /** Of the points of the path, short enough for a room. */
  points: ["raw", "no drift", "no hum", "cleaned", "beat finder"],
};

/** sources.js */
export const sourcesWords = {
  leftOrMono: "left (or mono)",
  bothChannels: "both channels",
  about1KHz: "about 1 kHz",
  theInputsOwnRate: "the input’s own rate",
  n1KHzIsEnoughFor: "1 kHz is enough for a heartbeat; the input’s own rate makes large files",
  /** @param {unknown} b */
  baud: (b) => `${b} baud`,
  asInTheBoardsProgram: "as in the board’s program, such as Serial.begin(115200)",
  refreshTheList: "Refresh the list",
  typeAnAddress: "Type an address",
  open: "Open",
  theExampleProgramAnyBoard: "The example program any_board.ino",
  whereDoesTheSignalCome: "Where does the signal come from?",
  whatMustABoardPrint: "What must a board print? Example programs",
  numbersOneLineForEach: "Numbers, one line for each sample, separated by comma, semicolon, tab or space, at an even pace of 100 to 1000 lines a second and at any usual baud rate. That is all; the baud rate is found by trying.",
  aHeaderLineWithNames: "A header line with names and units, and a column that carries the board’s own clock (",
  orCounter: ") or counter (",
  makeItBetter: ") make it better:",
  otherTextIsShownAs: "Other text is shown as what the board says.",
  twoExampleProgramsToLoad: "Two example programs to load as they are:",
  forAnyBoardWithAnalogRead: "for any board with analogRead, the shortest",
  forAnATmega328PAt16: "for an ATmega328P at 16 MHz: a timer starts each conversion, so the pace is exact",
  lookingForPorts: "Looking for ports …",
  serialPorts: "Serial ports",
  noPortFoundPlugThe: "No port found. Plug the board in, then refresh the list. On Linux your user may have to join the group that owns the port.",
  recordings: "Recordings",
  noneYetNameFilesOn: "None yet. Name files on the command line: pulsewright walk.edf",
  soundInputsOfThisProgram: "Sound inputs of this program",
  demosAllInvented: "Demos, all invented",
  boardThroughThisBrowser: "Board through this browser",
  theBoardIsPluggedInto: "The board is plugged into the computer that shows this page. Choose the baud rate that its program sets; the browser then asks for the port.",
  baudRate: "Baud rate",
  chooseAPort: "Choose a port …",
  listeningToTheBoard: "Listening to the board …",
  soundThroughThisBrowser: "Sound through this browser",
  theAudioInputOfThe: "The audio input of the computer that shows this page. Wire the board through a divider and a series capacitor, never with a person on a mains-powered computer.",
  channel: "Channel",
  sampleRateToRecord: "Sample rate to record",
  lookForAudioInputs: "Look for audio inputs",
  thisBrowserFindsNoAudio: "This browser finds no audio input. Plug one in, then look again.",
  throughThisBrowser: "through this browser",
  lookAgainForAudioInputs: "Look again for audio inputs",
  openingTheAudioInput: "Opening the audio input …",
  writeAnAddressFirstSuch: "Write an address first, such as serial:/dev/ttyACM0 or demo:finger.",
  listeningToTheBoardFinding: "Listening to the board; finding its baud rate takes a few seconds …",
  waitingForTheBoard: "Waiting for the board …",
  opening: "Opening …",
};

/** store.js */
export const storeWords = {
  connecting: "Connecting …",
};

/** stream.js */
export const streamWords = {
  connecting: "Connecting …",
  thePageGotAFrame: "The page got a frame it cannot read: ",
  nothingHeard: "nothing heard",
  /** @param {unknown} a */
  noConnectionToPulsewrightTrying: (a) => `No connection to Pulsewright${a}; trying again. If it was ended, start it anew.`,
};

/** theme.js */
export const themeWords = {
  afterScale: "after scale",
  afterDrift: "after drift",
  afterHum: "after hum",
  afterSmooth: "after smooth",
  atTheBeatFinder: "at the beat finder",
};

/** trace/calibrate.js */
export const traceCalibrateWords = {
  screenMmPerPixel: "screen mm per pixel",
  lengthOfTheBarIn: "Length of the bar in pixels",
  theLongEdgeOfA: "the long edge of a bank card (85.6 mm)",
  theShortEdgeOfA: "the short edge of a bank card (54 mm)",
  n100MmOfARuler: "100 mm of a ruler",
  n50MmOfARuler: "50 mm of a ruler",
  whatIsHeldAgainstThe: "Held against the screen",
  theBarFits: "The bar fits",
  howLargeIsThisScreen: "How large is this screen?",
  holdACardAgainstThe: "Hold a card against the screen and set the bar to its length. Then 25 mm on the screen is one second. Do it again for another screen; the browser’s zoom is taken into account.",
  card: "Card: ",
  shorter: "Shorter",
  longer: "Longer",
  reset: "Reset",
  noScreenIsLikeThat: "No screen is like that: is the right thing chosen above?",
  /** @param {unknown} round */
  dotsPerInch: (round) => `${round} dots per inch.`,
};

/** save.js */
export const saveWords = {
  saveThisView: "Save this view",
  picturePNG: "Picture, PNG",
  forAMessageOrA: "for a message or a document",
  drawingSVG: "Drawing, SVG",
  sharpAtAnySizeWith: "sharp at any size; with mm on, it prints at true length",
  numbersCSV: "Numbers, CSV",
  theNumbersDrawn: "the numbers that are drawn; where they are samples, Import brings the file in again",
  printTrue: "Print true to scale",
  secondsAre25: "25 mm for a second, or as set with mm; print at 100 %",
  thereIsNothingDrawn: "Nothing is drawn yet.",
  /** @param {string} file */
  savedAs: (file) => `Saved as ${file}.`,
  thisBrowserCouldNotMake: "This browser could not make the picture; save the drawing (SVG) instead.",
};

/** paper.js */
export const paperWords = {
  paper: "Paper",
  handout: "Handout",
  onTheHandout: "the trace large, its settings, a question, an empty millimetre grid to draw into, lines for name, date and answer",
  labSheet: "Lab sheet",
  onTheLabSheet: "trace, typical beat, the figures and verdicts of Check, settings, date, a line for the name",
  questionOnTheHandout: "Question on the handout (may be left empty)",
  howManyBeats: "such as: how many beats does this heart make in a minute?",
  markTheBeats: "Mark the beats and their intervals on the handout",
  onePageUpright: "One upright page, A4 or Letter. Print at 100 % so that the grid has true millimetres.",
  nothingIsDrawnYet: "Nothing is drawn yet.",
  workingOutTheFigures: "Working out the figures …",
  name: "Name",
  date: "Date",
  answer: "Answer",
  drawHere: "Draw here. The small squares are 1 mm wide.",
  typicalBeat: "Typical beat",
  noTypicalBeat: "Too few good beats for a typical beat.",
  settings: "Settings",
  check: "Check",
  noFigures: "No figures yet.",
  source: "Source",
  time: "Time",
  sampleRate: "Sample rate",
  /** @param {string} hz @param {number} order */
  driftRemoved: (hz, order) => `drift below ${hz} Hz removed (order ${order})`,
  driftStays: "drift not removed",
  /** @param {string} how @param {string} hz @param {number} harmonics */
  humRemoved: (how, hz, harmonics) => `hum ${hz ? `of ${hz} Hz ` : ""}removed by a ${how}${harmonics > 1 ? ` (and its multiples, ${harmonics} in all)` : ""}`,
  humStays: "hum not removed",
  /** @param {string} hz @param {string} shape @param {number} order */
  smoothed: (hz, shape, order) => `smoothed: above ${hz} Hz removed (${shape}, order ${order})`,
  notSmoothed: "not smoothed",
  butterworth: "Butterworth",
};

/** trace/on-paper.js */
export const traceOnPaperWords = {
  /** @param {number} seconds @param {string} time */
  secondsFrom: (seconds, time) => `${seconds} s from ${time}`,
  /** @param {string} label */
  pathOf: (label) => `Path of ${label}`,
  /** @param {string} label */
  voltsOf: (label) => `Volts of ${label}`,
  /** @param {string} label */
  boardOf: (label) => `Board of ${label}`,
  asTheSourceSays: "as the source says",
  /** @param {string} label @param {number} seconds @param {string} time */
  newestOf: (label, seconds, time) => `of ${label}, the newest ${seconds} s at ${time}`,
  /** @param {string} time */
  rateAt: (time) => `Rate at ${time}`,
  /** @param {string} name @param {number} beats */
  meanOf: (name, beats) => `${name}: mean of ${beats} beats; shaded: from their lowest to their highest`,
};

/** review/on-paper.js */
export const reviewOnPaperWords = {
  /** @param {string} label */
  voltsOf: (label) => `Volts of ${label}`,
  /** @param {string} label */
  boardOf: (label) => `Board of ${label}`,
  /** @param {string} time */
  recorded: (time) => `recorded ${time}`,
  /** @param {string} where @param {string} name */
  ofTheRecording: (where, name) => `${where} of ${name}.`,
  /** @param {string} path */
  drawnAfter: (path) => `drawn after this path: ${path}`,
  /** @param {string} path */
  drawnAsRecorded: (path) => `drawn as recorded; path when recorded: ${path}`,
  /** @param {string} label @param {string} from @param {string} to */
  ofTo: (label, from, to) => `of ${label}, ${from} to ${to}`,
  medianRate: "Median rate",
  /** @param {string} bpm @param {number} beats */
  bpmBeats: (bpm, beats) => `${bpm}\u00a0bpm, ${beats} beats`,
  /** @param {number} beats */
  medianOf: (beats) => `Median of ${beats} beats; shaded: eight beats in ten`,
};

/** trace/save.js */
export const traceSaveWords = {
  /** @param {unknown} a @param {unknown} Number */
  sAcross: (a, Number) => `${a}, ${Number} s across.`,
  oneTrace: "One trace",
};

/** trace/labels.js */
export const traceLabelsWords = {
  /** @param {unknown} laneName */
  spanOf: (laneName) => `Range of ${laneName}`,
  spanTheHeightOfThe: "Range: the volts from bottom to top",
  autoRange: "auto range",
};

/** trace/millimetres.js */
export const traceMillimetresWords = {
  /** @param {unknown} a */
  and: (a) => ` and ${a}`,
  screenNotMeasured: ", screen not measured",
};

/** trace/pointer.js */
export const tracePointerWords = {
  positionInTheLastTen: "Position in the last ten minutes",
  /** @param {unknown} duration */
  back: (duration) => `${duration} ago`,
};

/** trace/sheet.js */
export const traceSheetWords = {
  predictedCut: "predicted; it goes beyond this range",
  lostOnTheWayTo: "lost on the way to this page",
  /** @param {unknown} duration @param {unknown} b */
  gap: (duration, b) => `gap ${duration}${b}`,
  /** @param {number} n */
  unwritten: (n) => `and ${n} more`,
  /** @param {string} interval */
  mayMiss: (interval) => `${interval}: a beat may be missing`,
};

/** trace/toolbar.js */
export const traceToolbarWords = {
  sheet: "Paper …",
  aHandoutOrALab: "Print a handout or a lab sheet (Shift P)",
  freeze: "Freeze",
  holdThePaperStillSpace: "Freeze the trace (space)",
  backToLive: "Back to live",
  followTheNewestSampleEnd: "Follow the newest sample (End)",
  secondsAcross: "Seconds across",
  overlay: "Overlay",
  layAllProbesOverEach: "Lay all probes over each other, each about its own middle (o)",
  autoScale: "Auto scale",
  letEveryTraceFindIts: "Let every trace find its own range (a)",
  cursors: "Cursors",
  twoCursorsTimeDifferenceAnd: "Two cursors: time, difference and rate between them (c)",
  zoom: "Zoom",
  dragOverWhatYouWant: "Drag over what you want larger; with cursors, what lies between them (z)",
  zoomOut: "Zoom out",
  backToWhatWasSeen: "Back to what was seen before (Shift Z); a double click goes all the way",
  trueMillimetresOnTheScreen: "True millimetres on the screen: 25 mm for a second, 10 mm for a millivolt (m)",
  paperSpeed: "Paper speed",
  heightOfAChestSignal: "Height of a chest signal",
  mmMVNeedsTheBoards: "mm/mV needs the board’s gain under Scale, so that volts are those at the electrodes",
  screen: "Screen …",
  fitABarToA: "Fit a bar to a card or a ruler, so that millimetres are true",
  save: "Save …",
  whatIsSeenAsA: "What is seen as a picture, a drawing or numbers (e)",
  note: "Note",
  writeANoteAtThe: "Write a note at the newest sample (n)",
  whatHappenedHere: "What happened here?",
  keep: "Keep",
  trace: "Trace",
  fewerSecondsAcross: "Fewer seconds across",
  moreSecondsAcross: "More seconds across",
  frozen: "Frozen",
  screenNotMeasured: "Screen not measured …",
};

/** trace/trace.js */
export const traceWords = {
  signalTraceArrowKeysScroll: "Signal trace. Arrow keys scroll, space freezes, question mark lists all keys.",
  thisBrowserCannotDrawOn: "this browser cannot draw on a canvas",
  frozen: "Frozen.",
  live: "Live.",
};

/** trace/zoom.js */
export const traceZoomWords = {
  dragOverWhatYouWant: "Drag over what you want larger. Without a mouse: set the cursors, then press z.",
  /** @param {unknown} duration */
  zoomedTo: (duration) => `Zoomed to ${duration}.`,
  /** @param {unknown} duration */
  across: (duration) => `${duration} across.`,
};

/** watch-only.js */
export const watchOnlyWords = {
  followThePresenter: "Follow the presenter",
  watchOnlyTheOwnerOf: "Watch only: the owner of this page changes things.",
};
