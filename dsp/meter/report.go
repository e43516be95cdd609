package meter

// Report is what the meters show. Numbers are in the unit of the input (volts
// when the scale is known), times in seconds. A group whose Known is false has
// zeros and says in Reason why. All numbers are finite.
type Report struct {
	Unit      string    `json:"unit"`
	Seconds   float64   `json:"seconds"`   // of signal that were looked at
	Samples   int64     `json:"samples"`   // taken in since New or Reset
	NotFinite int64     `json:"notFinite"` // of those, NaN or infinite: each begins the window anew
	Level     Level     `json:"level"`
	Clipping  Clipping  `json:"clipping"`
	Pulse     Pulse     `json:"pulse"`
	Hum       Hum       `json:"hum"`
	Noise     Noise     `json:"noise"`
	Drift     Drift     `json:"drift"`
	Settling  Settling  `json:"settling"`
	Polarity  Polarity  `json:"polarity"`
	Verdicts  []Verdict `json:"verdicts"`
}

// Level is where the signal lies.
type Level struct {
	Known      bool    `json:"known"`
	Reason     string  `json:"reason"`
	MeanVolts  float64 `json:"meanVolts"`
	LowVolts   float64 `json:"lowVolts"` // smallest and largest value
	HighVolts  float64 `json:"highVolts"`
	SwingVolts float64 `json:"swingVolts"`
	// Stuck: the signal does not move by more than two steps of the converter.
	Stuck bool `json:"stuck"`
	// RailShare is the swing over the supply (or, when that is unknown, over the
	// converter's range); RailReason says why it is not known.
	RailKnown  bool    `json:"railKnown"`
	RailReason string  `json:"railReason"`
	RailShare  float64 `json:"railShare"`
	// MidRailOffsetVolts is the mean less the mid-rail.
	MidRailKnown       bool    `json:"midRailKnown"`
	MidRailOffsetVolts float64 `json:"midRailOffsetVolts"`
}

// Clipping is the share of samples (0 to 1) at a limit.
type Clipping struct {
	// Known is about the amplifier's flat tops, which need no calibration;
	// ConverterKnown about the converter's ends.
	Known              bool    `json:"known"`
	Reason             string  `json:"reason"`
	ConverterKnown     bool    `json:"converterKnown"`
	ConverterReason    string  `json:"converterReason"`
	ConverterLowShare  float64 `json:"converterLowShare"`
	ConverterHighShare float64 `json:"converterHighShare"`
	// Flat tops and bottoms before the converter's ends, and where they lie.
	FlatLowShare  float64 `json:"flatLowShare"`
	FlatHighShare float64 `json:"flatHighShare"`
	FlatLowVolts  float64 `json:"flatLowVolts"`
	FlatHighVolts float64 `json:"flatHighVolts"`
}

// Pulse is the heartbeat's height: from foot to peak for a pulse, R over the
// segment before it for an ECG; the median of the beats in the window.
type Pulse struct {
	Known       bool    `json:"known"`
	Reason      string  `json:"reason"`
	HeightVolts float64 `json:"heightVolts"`
	Beats       int     `json:"beats"` // 0: from the swing of each two seconds, without beats
	// None says that there is no heartbeat in the signal: what moves is noise, or none was found all the time.
	None bool    `json:"none"`
	ecg  typical // the typical beat of an ECG
	sure bool    // the beats of a pulse look alike
}

// Hum is the mains in the last two seconds (for a whole file: the median window).
type Hum struct {
	Known  bool   `json:"known"` // false: could not be measured
	Reason string `json:"reason"`
	Found  bool   `json:"found"` // Known and not found: below LimitVoltsRMS
	// VoltsRMS is the fundamental and its harmonics together.
	VoltsRMS            float64   `json:"voltsRms"`
	UncertaintyVoltsRMS float64   `json:"uncertaintyVoltsRms"`
	FreqHz              float64   `json:"freqHz"`
	NominalHz           float64   `json:"nominalHz"`
	HarmonicsVoltsRMS   []float64 `json:"harmonicsVoltsRms"`
	LimitVoltsRMS       float64   `json:"limitVoltsRms"`
	// ToPulseDB is the hum's peak-to-peak value (2√2 of the rms) over the pulse
	// height: −40 dB is 1 % of the pulse.
	ToPulseKnown bool    `json:"toPulseKnown"`
	ToPulseDB    float64 `json:"toPulseDb"`
}

// Noise is the density about CentreHz, between the hum lines.
type Noise struct {
	Known                bool    `json:"known"`
	Reason               string  `json:"reason"`
	CentreHz             float64 `json:"centreHz"`
	VoltsPerRootHz       float64 `json:"voltsPerRootHz"`
	ConverterKnown       bool    `json:"converterKnown"`
	ConverterReason      string  `json:"converterReason"`
	LimitVoltsPerRootHz  float64 `json:"limitVoltsPerRootHz"` // LSB/√12 spread evenly up to half the rate
	RMSInSteps           float64 `json:"rmsInSteps"`          // such noise up to half the rate, in converter steps
	ConverterLimited     bool    `json:"converterLimited"`    // within 1.5 times the limit
	DecimalsLimited      bool    `json:"decimalsLimited"`     // so near to the rounding of printed decimals
	InHeartbeatBandVolts float64 `json:"inHeartbeatBandVolts"`
}

// Drift is the slow movement of the level, below 0.5 Hz.
type Drift struct {
	Known          bool    `json:"known"`
	Reason         string  `json:"reason"`
	VoltsPerMinute float64 `json:"voltsPerMinute"`
	SwingVolts     float64 `json:"swingVolts"` // peak to peak
}

// Settling is the newest touch or step: the time from its height until the signal
// stays within 5 % of it (and the pulse's own swing) of where it ends.
type Settling struct {
	Known     bool    `json:"known"`
	Reason    string  `json:"reason"`
	Seconds   float64 `json:"seconds"`
	StepVolts float64 `json:"stepVolts"`
	AtSample  int64   `json:"atSample"`
	BandVolts float64 `json:"bandVolts"`
}

// Polarity says whether the heartbeat stands upright.
type Polarity struct {
	Known   bool   `json:"known"`
	Reason  string `json:"reason"`
	Upright bool   `json:"upright"`
}

// Verdict is one judgement in plain words.
type Verdict struct {
	Topic  string `json:"topic"` // signal, clipping, swing, hum, noise, drift, settling, polarity
	Grade  string `json:"grade"` // good, fair, poor, unknown
	Code   string `json:"code"`  // which verdict it is, such as hum.larger: words are looked up by it
	Text   string `json:"text"`
	Remedy string `json:"remedy"` // "" when there is nothing to do
}
