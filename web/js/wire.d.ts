// Made from the program's types by go generate ./server; not to be edited. What fields mean stands in server/API.md and at the Go types.

export interface Advice {
  rows: AdviceRow[];
  presentHz: number;
  best: AdviceRow;
  reached: boolean;
  low: boolean;
  text: string;
  capacitorFarads: number;
  resistorOhms: number;
  e24Ohms: number;
  withE24: AdviceRow;
  trimmerOhms: number;
  trimmerShare: number;
  trimmerReason: string;
}
export interface AdviceRow {
  cornerHz: number;
  humVoltsRms: number;
  pulseVolts: number;
  pulseGain: number;
  humGainDb: number;
  humToPulseDb: number;
}
export interface AnalysisSpectrum {
  freqHz: number[];
  densityVoltsPerRootHz: number[];
  bandwidthHz: number;
  averages: number;
}
export interface Answer {
  fault: "" | "LED off" | "daylight" | "electrode off" | "first stage clips" | "floating" | "ground loop" | "lamp" | "no pulse" | "nothing found" | "shorted" | "small hum" | "stuck high" | "stuck low" | "supply hum";
  ask: "as it is" | "charger" | "cover" | "join" | "lamp" | "touch";
  text: string;
  by: string[];
  remedy: string;
}
export interface ArchiveAnswer {
  id: string;
}
export interface ArchiveBody {
  ids: string[];
  as: string;
}
export interface Arrivals {
  ecgLabel: string;
  pulseLabel: string;
  at: Arrived[];
}
export interface Arrived {
  atSeconds: number;
  medianSeconds: number | null;
  spreadSeconds: number | null;
  absent?: string;
  pairs: number;
  peaks: number;
  quality: number;
  caveat: string;
}
export interface Average {
  beats: number;
  fromSeconds: number;
  stepSeconds: number;
  median: number[];
  low: number[];
  high: number[];
}
export interface Beat {
  sample: number;
  foot: number;
  kind: "ecg" | "pulse";
  amplitude: number;
  quality: number;
}
export interface BeatsAnswer {
  epoch: number;
  channels: Beat[][];
  gaps: Gap[];
  notes: Note[];
}
export interface Board {
  board: number;
  name?: string;
  kind?: string;
  supplyVolts: number;
  opAmp?: string | Record<string, unknown>;
  midRail?: MidRail;
  converter?: Converter;
  stages: Stage[];
}
export interface BoardBody {
  board: Board | null;
}
export interface BoardComparison {
  rows: BoardRow[];
  missing: string[];
  sweep: Comparison | null;
  trimmers: Record<string, number>;
  cornerHz: number;
  advice: string[];
}
export interface BoardFigures {
  board: Board;
  figures: Figures;
  spread: Spread | null;
  parts: BoardPart[];
  cautions: string[];
}
export interface BoardKinds {
  kinds: KindInfo[];
  opAmps: string[];
  examples: Record<string, Board>;
}
export interface BoardLook {
  rateHz: number;
  first: number;
  volts: number[];
  ghost: Ghost | null;
  beats: number;
  beatBeforeSeconds: number;
  typical: number[];
  typicalGhost: number[];
  stages: number[][];
}
export interface BoardNoise {
  voltsPerRootHz: number[];
  converterVoltsPerRootHz: number;
  lowHz: number;
  highHz: number;
  voltsRms: number;
  sources: NoiseSource[];
}
export interface BoardPart {
  ref: string;
  stage: number;
  role: string;
  unit: string;
  value: number;
  tolerance: number;
  at?: number;
  near: Near[];
}
export interface BoardRow {
  what: string;
  predicted: number;
  measured: number;
  unit: string;
  agrees: boolean;
  text: string;
}
export interface Breath {
  atSeconds: number;
  perMinute: number | null;
  absent?: string;
  quality: number;
  highestPerMinute: number;
  signs: Sign[];
}
export interface Breathing {
  perMinute: number | null;
  absent?: string;
  quality: number;
  highestPerMinute: number;
  signs: Sign[];
}
export interface Calibrated {
  fullScaleVolts: number;
  tone?: ToneFit;
  step?: StepFit;
  shareOfFullScale: number;
  scale: Scale;
}
export interface Calibration {
  method: string;
  volts: number;
  freqHz: number;
}
export interface Candidate {
  sample: number;
  feature: number;
  threshold: number;
  agreement: number;
  floor: number;
  taken: boolean;
  reason: string;
}
export interface CardAnswer {
  name: string;
  rateHz: number;
}
export interface CardBody {
  input: string;
  output: string;
  rateHz: number;
}
export interface CardRunBody {
  kind: string;
  level: number;
  seconds: number;
}
export interface Channel {
  label: string;
  kind: string;
  unit: string;
  voltsPerCount: number;
  offsetVolts: number;
  minCount: number;
  maxCount: number;
  digits: number;
}
export interface ChannelBeats {
  type?: string;
  epoch: number;
  channel: number;
  beats: Beat[];
}
export interface ChannelChange {
  channel: number;
  forget: boolean;
  label?: string;
  kind?: string;
  unit?: string;
  scale?: Scale;
  path?: Settings;
  board?: Board;
}
export interface ChannelDetail {
  label: string;
  kind: string;
  scale: Scale;
  path: Settings;
  from: From;
  unit: string;
  numbersUnit: string;
  stepVolts: number;
  lowVolts: number;
  highVolts: number;
  board: Board | null;
}
export interface ChannelReading {
  type: string;
  epoch: number;
  channel: number;
  index: number;
  state: "off" | "clipping" | "electrode moving" | "no signal" | "out of range" | "reading" | "searching" | "sensor off" | "signal too small" | "too noisy" | "uneven rhythm";
  rateBpm: number;
  quality: number;
  reason: string;
}
export interface ChannelState {
  label: string;
  kind: "pulse" | "ecg" | "other";
  unit: string;
  path: Settings;
  scale: Scale;
  board: Board | null;
  from: From;
  coupling: Coupling | null;
  humHz: number;
  latencySeconds: number;
  stepVolts: number;
  printed: boolean;
  lowVolts: number;
  highVolts: number;
}
export interface Choice {
  address: string;
  name: string;
  what: string;
}
export interface Choices {
  demos: Choice[];
  ports: Choice[];
  recordings: Choice[];
  sounds: Choice[];
  hosts: string[];
  problems: string[];
}
export interface Clipping {
  known: boolean;
  reason: string;
  converterKnown: boolean;
  converterReason: string;
  converterLowShare: number;
  converterHighShare: number;
  flatLowShare: number;
  flatHighShare: number;
  flatLowVolts: number;
  flatHighVolts: number;
}
export interface ClockState {
  type?: string;
  epoch: number;
  claimedRateHz: number;
  measuredRateHz: number;
  uncertaintyHz: number;
  usedRateHz: number;
  exact: boolean;
  warning: string;
  recentHz: number;
  recentUncertaintyHz: number;
  slowestHz: number;
  fastestHz: number;
  pauseSeconds: number;
  pauseEverySeconds: number;
  doubt: string;
  moves: number;
}
export interface Column {
  name: string;
  unit: string;
  use: string;
  clock?: string;
  looks?: string;
}
export interface CompareBody {
  board: Board;
}
export interface Comparison {
  offDb: number;
  worstDb: number;
  worstHz: number;
  agrees: boolean;
  suspects: Suspect[];
  text: string;
}
export interface Converter {
  referenceVolts: number;
  bits: number;
  rateHz: number;
}
export interface Corner {
  freqHz: number;
  rising: boolean;
}
export interface Corners {
  lowHz: number | null;
  highHz: number | null;
  peakDb: number;
  peakHz: number;
}
export interface Cost {
  cycles: number;
  flashBytes: number;
  ramBytes: number;
}
export interface Coupling {
  cornerHz: number;
  floorHz: number;
  gainDb: number;
  noiseTimes: number;
  noiseLowHz: number;
  noiseHighHz: number;
}
export interface Curve {
  gainDb: number[];
  phaseDeg: number[];
}
export interface DeleteBody {
  ids: string[];
}
export interface DeletedList {
  deleted: Trashed[];
}
export interface DemoBody {
  trimmerHz: number;
}
export interface Detail {
  id: string;
  name: string;
  address: string;
  started?: string;
  seconds: number;
  rateHz: number;
  channels: string[];
  bytes: number;
  kinds: string[];
  medianBpm: number;
  note: string;
  annotations: number;
  recording: boolean;
  problem: string;
  invented: boolean;
  samples: number;
  format: string;
  channelDetails: ChannelDetail[];
  notes: LibraryNote[];
  gaps: RecordingGap[];
  annotated: number;
  edits: Record<string, Edit[]>;
  remarks: string[];
}
export interface Doubt {
  about: string;
  text: string;
  taken: string;
}
export interface Drift {
  on: boolean;
  cutoffHz: number;
  order: number;
}
export interface Edit {
  at?: number;
  was?: number;
}
export interface EditChange {
  channel: number;
  take: Edit[];
  put: Edit[];
}
export interface Edited {
  added: number;
  moved: number;
  removed: number;
}
export interface EditedBeats {
  edits: Record<string, Edit[]>;
}
export interface Entry {
  id: string;
  name: string;
  address: string;
  started?: string;
  seconds: number;
  rateHz: number;
  channels: string[];
  bytes: number;
  kinds: string[];
  medianBpm: number;
  note: string;
  annotations: number;
  recording: boolean;
  problem: string;
  invented: boolean;
}
export interface Figures {
  freqHz: number[];
  whole: Curve;
  corners: Corners;
  stages: StageFigures[];
  noise: BoardNoise;
  span: Span;
  settlingSeconds: number | null;
  flickerDb: number;
  humDb: number;
  supplyDb: number;
  bodyVoltsPerNanoamp: number | null;
}
export interface FiguresBody {
  board: Board;
  tolerance: number;
}
export interface FileLost {
  lost: string[];
}
export interface Firmware {
  form: "exact" | "small";
  bits: number;
  signed: boolean;
  rateHz: number;
  rate: FirmwareRate;
  sections: number;
  fraction: number;
  cyclesAvr: number;
  stateBytes: number;
  errorDb: number;
  errorHz: number;
  noiseCounts: number;
  noiseOfBeat: number;
  constantBytes: number;
  code: string;
  file: string;
  cost: Cost | null;
  latencySeconds: number;
}
export interface FirmwareRate {
  hz: number;
  from: string;
  measuredHz: number;
  uncertaintyHz: number;
}
export interface FoundBeats {
  channels: Mark[][];
  annotated: Marked[];
}
export interface From {
  label: "recorded" | "said" | "source" | "usual";
  kind: "recorded" | "said" | "source" | "usual";
  unit: "recorded" | "said" | "source" | "usual";
  scale: "recorded" | "said" | "source" | "usual";
  path: "recorded" | "said" | "source" | "usual";
  board: "recorded" | "said" | "source" | "usual";
}
export interface FrozenAt {
  epoch: number;
  end: number;
}
export interface Gap {
  index: number;
  samples: number;
  reason: string;
}
export interface GapMessage {
  type: string;
  epoch: number;
  index: number;
  samples: number;
  reason: string;
}
export interface Ghost {
  volts: number[];
  lowHz: number;
  highHz: number;
  clipped: number;
}
export interface Health {
  lines: number;
  unreadable: number;
  lastUnreadable: string;
  outOfOrder: number;
  lostSamples: number;
  lostUnknown: boolean;
  detail: string;
}
export interface HealthMessage {
  type: string;
  lines: number;
  unreadable: number;
  lastUnreadable: string;
  outOfOrder: number;
  lostSamples: number;
  lostUnknown: boolean;
  detail: string;
}
export interface Hum {
  mode: "off" | "notch" | "cancel";
  freqHz: number;
  bandwidthHz: number;
  harmonics: number;
}
export interface HumFigure {
  known: boolean;
  found: boolean;
  voltsRms: number;
  limitVoltsRms: number;
}
export interface HumPoint {
  agoSeconds: number;
  hum: HumFigure;
  pulse: PulseFigure;
}
export interface Imported {
  id: string;
  name: string;
  address: string;
  started?: string;
  seconds: number;
  rateHz: number;
  channels: string[];
  bytes: number;
  kinds: string[];
  medianBpm: number;
  note: string;
  annotations: number;
  recording: boolean;
  problem: string;
  invented: boolean;
  told: string[];
}
export interface Info {
  address: string;
  device?: string;
  name: string;
  claimedRateHz: number;
  exactClock: boolean;
  channels: Channel[];
  columns?: Column[];
  lengthSamples: number;
  started?: string;
  invented?: boolean;
}
export interface Interval {
  sample: number;
  atSeconds: number;
  seconds: number;
  mark: "ectopic" | "gap" | "normal" | "unsure";
  quality: number;
}
export interface Intervals {
  channel: string;
  kind: string;
  rateHz: number;
  from: number;
  to: number;
  report: VariabilityReport;
  intervals: Interval[];
  edited: Edited;
  breathing: Breath[];
  arrival: Arrivals | null;
}
export interface KeepBody {
  name: string;
  minutes: number;
}
export interface KindBody {
  kind: string;
  preset: boolean;
}
export interface KindInfo {
  stage: string;
  sensor: boolean;
  opAmps: number;
  roles: RoleInfo[];
}
export interface Level {
  known: boolean;
  reason: string;
  meanVolts: number;
  lowVolts: number;
  highVolts: number;
  swingVolts: number;
  stuck: boolean;
  railKnown: boolean;
  railReason: string;
  railShare: number;
  midRailKnown: boolean;
  midRailOffsetVolts: number;
}
export interface LibraryNote {
  onsetSeconds: number;
  durationSeconds: number;
  sample: number;
  text: string;
  board: boolean;
  added: boolean;
}
export interface LibraryReading {
  rateHz?: number;
  separator?: string;
  decimal?: string;
  time?: string;
  columns?: string[];
  units?: string[];
  dates?: string;
  names?: string;
  kinds?: string[];
}
export interface Look {
  seconds: number;
  mean: number;
  low: number;
  high: number;
  atLow: number;
  atHigh: number;
  flatLow: number;
  flatHigh: number;
  mainsHz: number;
  humRms: number;
  firstRms: number;
  secondRms: number;
  rms: number;
  heartRms: number;
}
export interface LookBody {
  present: Board;
  changed: Board;
}
export interface LostMessage {
  type: string;
  frames: number;
}
export interface Mark {
  sample: number;
  kind: string;
  quality: number;
  byHand?: boolean;
}
export interface MarkBody {
  sample: number;
  text: string;
  durationSeconds: number;
}
export interface Marked {
  sample: number;
  type: string;
}
export interface Measure {
  id: string;
  name: string;
  unit: string;
  value: number | null;
  absent?: string;
  caveat?: string;
  neededSeconds: number;
}
export interface MeterDrift {
  known: boolean;
  reason: string;
  voltsPerMinute: number;
  swingVolts: number;
}
export interface MeterHum {
  known: boolean;
  reason: string;
  found: boolean;
  voltsRms: number;
  uncertaintyVoltsRms: number;
  freqHz: number;
  nominalHz: number;
  harmonicsVoltsRms: number[];
  limitVoltsRms: number;
  toPulseKnown: boolean;
  toPulseDb: number;
}
export interface MetersAnswer {
  report: Report;
  humStrip: HumPoint[];
}
export interface MetersMessage {
  type: string;
  epoch: number;
  channel: number;
  index: number;
  report: Report;
}
export interface MidRail {
  top: number | string | PartObject;
  bottom: number | string | PartObject;
  bypass?: number | string | PartObject;
  buffered?: boolean;
}
export interface Near {
  series: number;
  nearest: number;
  lower: number;
  higher: number;
}
export interface Noise {
  known: boolean;
  reason: string;
  centreHz: number;
  voltsPerRootHz: number;
  converterKnown: boolean;
  converterReason: string;
  limitVoltsPerRootHz: number;
  rmsInSteps: number;
  converterLimited: boolean;
  decimalsLimited: boolean;
  inHeartbeatBandVolts: number;
}
export interface NoiseSource {
  name: string;
  what: string;
  voltsRms: number;
}
export interface Note {
  index: number;
  text: string;
}
export interface NoteBody {
  epoch: number | null;
  index: number | null;
  text: string;
}
export interface NoteMessage {
  type: string;
  epoch: number;
  index: number;
  text: string;
}
export interface OnBoardView {
  rateHz: number;
  first: number;
  filtered: number[];
  beats: number[];
  rateBpm: number | null;
  latencySeconds: number;
  cost: Cost;
}
export interface PairArrival {
  ecg: number;
  pulse: number;
  ecgLabel: string;
  pulseLabel: string;
  medianSeconds: number | null;
  spreadSeconds: number | null;
  absent?: string;
  pairs: number;
  peaks: number;
  quality: number;
  caveat: string;
}
export interface PatchBody {
  name: string | null;
  note: string | null;
  channels: ChannelChange[];
}
export interface PathBody {
  drift: Drift | null;
  hum: Hum | null;
  smooth: Smooth | null;
}
export interface Playback {
  position: number;
  length: number;
  speed: number;
  loop: boolean;
  skipGaps: boolean;
  gaps: number;
}
export interface PlaybackChange {
  position: number | null;
  speed: number | null;
  loop: boolean | null;
  skipGaps: boolean | null;
}
export interface PlaybackMessage {
  type: string;
  position: number;
  length: number;
  speed: number;
  loop: boolean;
  skipGaps: boolean;
  gaps: number;
}
export interface Polarity {
  known: boolean;
  reason: string;
  upright: boolean;
}
export interface PongMessage {
  type: string;
  id: unknown;
}
export interface PresentLane {
  channel: number;
  point: number;
}
export interface PresentPlaces {
  on: "traces" | "words";
  x: number;
  y: number;
}
export interface Presentation {
  on: boolean;
  by: string;
  frozen: FrozenAt | null;
  secondsAcross: number;
  lanes: PresentLane[];
  typical: boolean;
  pointer: PresentPlaces | null;
  line: string;
}
export interface PresenterMessage {
  type: string;
  on: boolean;
  by: string;
  frozen: FrozenAt | null;
  secondsAcross: number;
  lanes: PresentLane[];
  typical: boolean;
  pointer: PresentPlaces | null;
  line: string;
}
export interface Preview {
  format: string;
  text: TextLook | null;
  noRate: boolean;
  missing: string;
  remembered: LibraryReading | null;
  remarks: string[];
  channels: PreviewChannel[];
  seconds: number;
  whole: boolean;
}
export interface PreviewChannel {
  label: string;
  unit: string;
  kind: string;
  low: (number | null)[];
  high: (number | null)[];
}
export interface ProblemMessage {
  type: string;
  text: string;
}
export interface Pulse {
  known: boolean;
  reason: string;
  heightVolts: number;
  beats: number;
  none: boolean;
}
export interface PulseFigure {
  known: boolean;
  heightVolts: number;
}
export interface Range {
  low: number;
  high: number;
}
export interface Reading {
  state: "off" | "clipping" | "electrode moving" | "no signal" | "out of range" | "reading" | "searching" | "sensor off" | "signal too small" | "too noisy" | "uneven rhythm";
  rateBpm: number;
  quality: number;
  reason: string;
}
export interface RecordBody {
  name: string;
  minutes: number;
  keepMinutes: number;
  note: string;
}
export interface RecorderState {
  id: string;
  name: string;
  seconds: number;
  bytes: number;
  earlier?: string[];
}
export interface RecordingGap {
  first: number;
  samples: number;
}
export interface RecordingsList {
  folder: string;
  recordings: Entry[];
  trash: Trashed[];
  rating: number;
}
export interface Report {
  unit: string;
  seconds: number;
  samples: number;
  notFinite: number;
  level: Level;
  clipping: Clipping;
  pulse: Pulse;
  hum: MeterHum;
  noise: Noise;
  drift: MeterDrift;
  settling: Settling;
  polarity: Polarity;
  verdicts: Verdict[];
}
export interface Response {
  freqHz: number[];
  drift: StageResponse;
  hum: StageResponse;
  smooth: StageResponse;
  whole: StageResponse;
  path: Settings;
}
export interface ResponseResponse {
  freqHz: number[];
  gainDb: number[];
  phaseDegrees: number[];
  trust: number[];
  trustedLowHz: number;
  trustedHighHz: number;
  passbandDb: number;
  corners: Corner[];
}
export interface ResponseState {
  loop: boolean;
  board: boolean;
  rateHz: number;
  seconds: number;
  response: ResponseResponse | null;
}
export interface RoleInfo {
  role: string;
  unit: string;
  optional: boolean;
  trimmer: boolean;
  twice: boolean;
}
export interface Room {
  restVolts: number;
  spreadVolts: number;
  lowVolts: number;
  highVolts: number;
  gain: number;
  inputVolts: number;
}
export interface Run {
  kind: "board" | "loop";
  peak: number;
  level: string;
}
export interface Scale {
  source: "board" | "converter" | "fullscale" | "unknown";
  referenceVolts: number;
  bits: number;
  fullScaleVolts: number;
  couplingHz: number;
  couplingFloorHz: number;
  signed: boolean;
  supplyLowVolts: number | null;
  supplyHighVolts: number | null;
  midRailVolts: number | null;
  gain: number;
  invert: boolean;
}
export interface Score {
  channel: string;
  kind: string;
  rateHz: number;
  from: number;
  to: number;
  windowSeconds: number;
  learningSeconds: number;
  delaySeconds: number;
  edited: Edited;
  annotated: number;
  found: number;
  tp: number;
  fn: number;
  fp: number;
  se: number | null;
  ppv: number | null;
  f1: number | null;
  rmsSeconds: number | null;
  missed: number[];
  extra: number[];
}
export interface Settings {
  drift: Drift;
  hum: Hum;
  smooth: Smooth;
}
export interface Settling {
  known: boolean;
  reason: string;
  seconds: number;
  stepVolts: number;
  atSample: number;
  bandVolts: number;
}
export interface ShareBody {
  on: boolean;
  port: number;
  renew: boolean;
}
export interface ShareState {
  on: boolean;
  secure: boolean;
  watch: string[];
  own: string[];
  short: string[];
  visitors: Visitor[];
}
export interface Sign {
  name: string;
  perMinute: number;
  clarity: number;
}
export interface Smooth {
  shape: "off" | "rc" | "butterworth";
  cutoffHz: number;
  order: number;
}
export interface SourceBody {
  address: string;
}
export interface Span {
  lowVolts: number;
  restVolts: number;
  highVolts: number;
  clipsFirst: number;
  inputVolts: number;
}
export interface Spectrum {
  freqHz: number[];
  densityVoltsPerRootHz: number[];
  bandwidthHz: number;
  averages: number;
  unit: string;
  seconds: number;
  humHz: number;
  point: number;
  densityLimitVoltsPerRootHz: number;
}
export interface Spread {
  boards: number;
  freqHz: number[];
  lowDb: number[];
  highDb: number[];
  cornerLowHz: Range | null;
  cornerHighHz: Range | null;
  peakDb: Range;
  bodyVoltsPerNanoamp: number | null;
}
export interface Stage {
  stage: string;
  name?: string;
  parts?: Record<string, number | string | PartObject>;
  opAmp?: string | Record<string, unknown>;
  pullUp?: boolean;
}
export interface StageFigures {
  stage: string;
  title: string;
  curve: Curve;
  corners: Corners;
  room: Room;
  humVoltsPerNanoamp: number;
}
export interface StageResponse {
  gainDb: number[];
  delaySeconds: number[];
}
export interface State {
  version: string;
  epoch: number;
  t0: string;
  status: string;
  statusText: string;
  source: Info;
  rateHz: number;
  sourceRateHz: number;
  decimation: number;
  lastIndex: number;
  clock: ClockState;
  channels: ChannelState[];
  playback: Playback | null;
  trimmerHz: number | null;
  recording: RecorderState | null;
  watchers: number;
  gaps: Gap[];
  notes: Note[];
  health: Health;
  text: string[];
  problem: string;
}
export interface StateAnswer {
  version: string;
  epoch: number;
  t0: string;
  status: string;
  statusText: string;
  source: Info;
  rateHz: number;
  sourceRateHz: number;
  decimation: number;
  lastIndex: number;
  clock: ClockState;
  channels: ChannelState[];
  playback: Playback | null;
  trimmerHz: number | null;
  recording: RecorderState | null;
  watchers: number;
  gaps: Gap[];
  notes: Note[];
  health: Health;
  text: string[];
  problem: string;
  owner: boolean;
}
export interface StateMessage {
  type: string;
  version: string;
  epoch: number;
  t0: string;
  status: string;
  statusText: string;
  source: Info;
  rateHz: number;
  sourceRateHz: number;
  decimation: number;
  lastIndex: number;
  clock: ClockState;
  channels: ChannelState[];
  playback: Playback | null;
  trimmerHz: number | null;
  recording: RecorderState | null;
  watchers: number;
  gaps: Gap[];
  notes: Note[];
  health: Health;
  text: string[];
  problem: string;
}
export interface StepFit {
  cornerHz: number;
  uncertaintyHz: number;
  height: number;
  at: number;
  residualShare: number;
  seconds: number;
}
export interface Stretch {
  channel: string;
  kind: string;
  unit: string;
  rateHz: number;
  from: number;
  to: number;
  report: Report;
  spectrum: AnalysisSpectrum;
  beats: Beat[];
  medianBpm: number;
  average: Average;
}
export interface Suspect {
  ref: string;
  stage: number;
  role: string;
  unit: string;
  nominal: number;
  value: number;
  at: number | null;
  offDb: number;
  text: string;
}
export interface TextColumn {
  name: string;
  unit: string;
  role: "time" | "date" | "signal" | "none";
}
export interface TextLook {
  separator: string;
  decimal: string;
  preamble: string[];
  columns: TextColumn[];
  rows: string[][];
  rateHz: number;
  clockTells: boolean;
  doubts: Doubt[];
  ours: boolean;
}
export interface TextMessage {
  type: string;
  epoch: number;
  index: number;
  lines: string[];
}
export interface ToneFit {
  freqHz: number;
  rms: number;
  purity: number;
}
export interface Trashed {
  id: string;
  name: string;
  bytes: number;
}
export interface TrashedOne {
  trashed: string;
}
export interface TurnAnswer {
  places: Turned[];
}
export interface TurnBody {
  board: Board;
  trimmer: string;
}
export interface Turned {
  at: number;
  humDb: number;
  signalDb: number;
  cornerHz: number | null;
  settlingSeconds: number | null;
}
export interface Variability {
  epoch: number;
  channel: number;
  label: string;
  kind: string;
  windowSeconds: number;
  sinceSeconds: number;
  report: VariabilityReport;
  intervals: Interval[];
  breathing: Breathing;
  arrival: PairArrival | null;
}
export interface VariabilityReport {
  name: string;
  spanSeconds: number;
  usedSeconds: number;
  intervals: number;
  used: number;
  ectopic: number;
  unsure: number;
  gaps: number;
  leftOutShare: number;
  timingSeconds: number;
  measures: Measure[];
}
export interface Verdict {
  topic: string;
  grade: "good" | "fair" | "poor" | "unknown";
  code: string;
  text: string;
  remedy: string;
}
export interface Visitor {
  id: number;
  owner: boolean;
  address: string;
  since: string;
  streams: number;
}
export interface Why {
  kind: string;
  all: boolean;
  candidates: Candidate[];
}
export interface WireAnswer {
  look: Look;
  answer: Answer;
}
export interface WireBody {
  action: "as it is" | "charger" | "cover" | "join" | "lamp" | "touch";
  before: Record<string, Look>;
}
export interface YouMessage {
  owner: boolean;
  type: string;
}
/** A part of a board that is more than its value. */
export interface PartObject {
  value: number;
  name?: string;
  tolerance?: number;
  at?: number;
}

/** A JSON message of the stream. */
export type Message =
  | Omit<ChannelBeats, "type"> & { type: "beats" }
  | Omit<ClockState, "type"> & { type: "clock" }
  | Omit<LostMessage, "type"> & { type: "dropped" }
  | Omit<GapMessage, "type"> & { type: "gap" }
  | Omit<HealthMessage, "type"> & { type: "health" }
  | Omit<MetersMessage, "type"> & { type: "meters" }
  | Omit<NoteMessage, "type"> & { type: "note" }
  | Omit<PlaybackMessage, "type"> & { type: "playback" }
  | Omit<PongMessage, "type"> & { type: "pong" }
  | Omit<PresenterMessage, "type"> & { type: "presenter" }
  | Omit<ProblemMessage, "type"> & { type: "problem" }
  | Omit<ChannelReading, "type"> & { type: "reading" }
  | Omit<StateMessage, "type"> & { type: "state" }
  | Omit<TextMessage, "type"> & { type: "text" }
  | Omit<YouMessage, "type"> & { type: "you" };

/** The answer to a request below /api/v1, as in AnswerTo<"GET", "/state">. */
export type AnswerTo<M extends string, P extends string> = P extends `${infer A}?${string}` ? AnswerOf<`${M} ${A}`> : AnswerOf<`${M} ${P}`>;
type AnswerOf<R extends string> =
  R extends `GET /channels/${string}/path/firmware/seen` ? OnBoardView :
  R extends `GET /channels/${string}/path/firmware` ? Firmware :
  R extends `GET /channels/${string}/path/response` ? Response :
  R extends `GET /recordings/${string}/file/lost` ? FileLost :
  R extends `POST /channels/${string}/board/compare` ? BoardComparison :
  R extends `POST /channels/${string}/board/look` ? BoardLook :
  R extends `POST /response/card/runs` ? Run :
  R extends `DELETE /share/visitors/${string}` ? ShareState :
  R extends `DELETE /recordings/${string}/notes` ? MarkBody :
  R extends `GET /channels/${string}/meters` ? MetersAnswer :
  R extends `GET /channels/${string}/reading` ? Reading :
  R extends `GET /channels/${string}/spectrum` ? Spectrum :
  R extends `GET /channels/${string}/trimmer` ? Advice :
  R extends `GET /channels/${string}/variability` ? Variability :
  R extends `GET /channels/${string}/why` ? Why :
  R extends `GET /recordings/${string}/analysis` ? Stretch :
  R extends `GET /recordings/${string}/beats` ? FoundBeats :
  R extends `GET /recordings/${string}/file` ? ArrayBuffer :
  R extends `GET /recordings/${string}/score` ? Score :
  R extends `GET /recordings/${string}/taken` ? ArrayBuffer :
  R extends `GET /recordings/${string}/variability` ? Intervals :
  R extends `GET /recordings/${string}/view` ? ArrayBuffer :
  R extends `PATCH /recordings/${string}/beats` ? EditedBeats :
  R extends `POST /channels/${string}/calibration` ? Calibrated :
  R extends `POST /channels/${string}/wire` ? WireAnswer :
  R extends `POST /recordings/${string}/notes` ? MarkBody :
  R extends `POST /recordings/${string}/restore` ? Entry :
  R extends `PUT /channels/${string}/board` ? ChannelState :
  R extends `PUT /channels/${string}/kind` ? ChannelState :
  R extends `PUT /channels/${string}/path` ? Settings :
  R extends `PUT /channels/${string}/scale` ? ChannelState :
  R extends `DELETE /response/card` ? null :
  R extends `DELETE /share/visitors` ? ShareState :
  R extends `GET /response/stimulus` ? ArrayBuffer :
  R extends `GET /share/qr` ? ArrayBuffer :
  R extends `POST /board/figures` ? BoardFigures :
  R extends `POST /board/turn` ? TurnAnswer :
  R extends `POST /recordings/preview` ? Preview :
  R extends `POST /response/runs` ? Run :
  R extends `PUT /response/card` ? CardAnswer :
  R extends `DELETE /recordings/${string}` ? TrashedOne :
  R extends `GET /archives/${string}` ? string :
  R extends `GET /recordings/${string}` ? Detail :
  R extends `GET /sketch/${string}` ? string :
  R extends `PATCH /recordings/${string}` ? Entry :
  R extends `DELETE /recording` ? RecorderState :
  R extends `DELETE /response` ? null :
  R extends `DELETE /trash` ? DeletedList :
  R extends `GET /audio` ? null :
  R extends `GET /beats` ? BeatsAnswer :
  R extends `GET /board` ? BoardKinds :
  R extends `GET /history` ? ArrayBuffer :
  R extends `GET /openapi.json` ? unknown :
  R extends `GET /recording` ? RecorderState | null :
  R extends `GET /recordings` ? RecordingsList :
  R extends `GET /response` ? ResponseState :
  R extends `GET /serial` ? null :
  R extends `GET /share` ? ShareState :
  R extends `GET /sources` ? Choices :
  R extends `GET /state` ? StateAnswer :
  R extends `GET /stream` ? null :
  R extends `POST /archives` ? ArchiveAnswer :
  R extends `POST /keep` ? RecorderState :
  R extends `POST /notes` ? Note :
  R extends `POST /recording` ? RecorderState :
  R extends `POST /recordings` ? Imported :
  R extends `PUT /demo` ? DemoBody :
  R extends `PUT /playback` ? Playback | null :
  R extends `PUT /presenter` ? Presentation :
  R extends `PUT /share` ? ShareState :
  R extends `PUT /source` ? State :
  unknown;

/** What may be sent of a type: what is left out is as before, or usual. */
export type Sent<T> = T extends ArrayBuffer ? Blob | Float32Array : T extends (infer E)[] ? Sent<E>[] : T extends object ? { [K in keyof T]?: Sent<T[K]> } : T;

/** What a request takes. */
export type BodyOf<M extends string, P extends string> = P extends `${infer A}?${string}` ? Sent<Taken<`${M} ${A}`>> : Sent<Taken<`${M} ${P}`>>;
type Taken<R extends string> =
  R extends `POST /channels/${string}/board/compare` ? CompareBody :
  R extends `POST /channels/${string}/board/look` ? LookBody :
  R extends `POST /response/card/runs` ? CardRunBody :
  R extends `DELETE /recordings/${string}/notes` ? MarkBody :
  R extends `PATCH /recordings/${string}/beats` ? EditChange :
  R extends `POST /channels/${string}/calibration` ? Calibration :
  R extends `POST /channels/${string}/wire` ? WireBody :
  R extends `POST /recordings/${string}/notes` ? MarkBody :
  R extends `PUT /channels/${string}/board` ? BoardBody :
  R extends `PUT /channels/${string}/kind` ? KindBody :
  R extends `PUT /channels/${string}/path` ? PathBody :
  R extends `PUT /channels/${string}/scale` ? Scale :
  R extends `POST /board/figures` ? FiguresBody :
  R extends `POST /board/turn` ? TurnBody :
  R extends `POST /recordings/preview` ? ArrayBuffer :
  R extends `POST /response/runs` ? ArrayBuffer :
  R extends `PUT /response/card` ? CardBody :
  R extends `PATCH /recordings/${string}` ? PatchBody :
  R extends `DELETE /trash` ? DeleteBody :
  R extends `POST /archives` ? ArchiveBody :
  R extends `POST /keep` ? KeepBody :
  R extends `POST /notes` ? NoteBody :
  R extends `POST /recording` ? RecordBody :
  R extends `POST /recordings` ? ArrayBuffer :
  R extends `PUT /demo` ? DemoBody :
  R extends `PUT /playback` ? PlaybackChange :
  R extends `PUT /presenter` ? Presentation :
  R extends `PUT /share` ? ShareBody :
  R extends `PUT /source` ? SourceBody :
  undefined;
