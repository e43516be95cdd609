// Package simulate invents the signal of a finger sensor or a chest lead on a
// small board, in a house with mains, and knows the truth about it.
//
// The heart is made of R–R intervals with the spectrum of McSharry, Clifford,
// Tarassenko and Smith, "A dynamical model for generating synthetic
// electrocardiogram signals", IEEE Trans. Biomed. Eng. 50 (2003); the ECG is
// their model, the pulse the two Gaussians of Tang et al., "PPGSynth", Front.
// Physiol. 2020. To that come breathing, drift, mains hum with harmonics and
// frequency wander, light flicker and movements; then the board: a trimmer
// (single-pole low-pass), white noise, gain, rails, and a converter.
//
// A Generator makes counts as fast as asked; a Source paces it in real time.
// The signal before the converter is computed at 2 kHz or more and sampled
// without further filtering, so that what lies above half the rate aliases, as
// with a small board's converter.
package simulate

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"pulsewright/acquire"
)

// innerRateHz is the least rate at which the analogue part is computed: the
// trimmer then errs by less than 0.02 dB at 50 Hz.
const innerRateHz = 2000

const (
	streamHeart = iota
	streamMains
	streamBreath
	streamMotion
	streamDrift
	streamNoise
)

func stream(seed uint64, part, channel int) *rand.Rand {
	return rand.New(rand.NewPCG(seed, uint64(part)<<32|uint64(channel)))
}

// Beat is a heartbeat as it truly was at the converter, without anything added.
type Beat struct {
	// Sample is the index of the R peak or of the pulse's systolic peak, nearest
	// to the extreme of the clean signal behind the trimmer, whose delay it
	// therefore includes.
	Sample int64
	// Foot is the index of the least value before a pulse; Sample for an ECG.
	Foot int64
	// RSeconds is the time of the R peak that caused it, not rounded, in
	// seconds since sample 0.
	RSeconds float64
	// IntervalSeconds is from that R peak to the next.
	IntervalSeconds float64
}

// Span is a run of samples, To excluded.
type Span struct{ From, To int64 }

// Truth is what a Generator knows about the samples made so far.
type Truth struct {
	// Beats of each channel, in order. A beat is known once its wave is over: for
	// an ECG within 0.1 s, for a pulse at the start of the next. None lies in Off.
	Beats [][]Beat
	// Motion are the movements begun so far.
	Motion []Span
	// Off are the stretches without finger or electrodes begun so far.
	Off []Span
	// MainsHz is the mains' frequency at the newest sample.
	MainsHz float64
}

// Generator makes counts. Next is called from one goroutine; the other methods
// are safe from any.
type Generator struct {
	// Immutable after New.
	config Config
	inner  int     // analogue steps per sample
	step   float64 // seconds of one
	lsb    float64
	top    float64

	// Owned by the goroutine of Next.
	index      int64
	heart      *heart
	mains      mains
	breathRate float64
	breathWobb []line
	motion     motion
	off        int
	boards     []board
	hum        []float64

	mu    sync.Mutex
	truth Truth     // guarded by mu
	knobs []float64 // guarded by mu; TrimmerHz of each channel
	turns int       // guarded by mu; how often a knob was turned
	seen  int       // owned by Next
}

// New checks a Config and makes a Generator that stands before its first sample.
func New(c Config) (*Generator, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	c.Rates, c.Off = slices.Clone(c.Rates), slices.Clone(c.Off)
	c.Harmonics, c.Channels = slices.Clone(c.Harmonics), slices.Clone(c.Channels)
	g := &Generator{config: c}
	g.inner = int(math.Ceil(innerRateHz / c.RateHz))
	if g.inner < 1 {
		g.inner = 1
	}
	g.step = 1 / (c.RateHz * float64(g.inner))
	g.top = math.Exp2(float64(c.Bits)) - 1
	g.lsb = c.ReferenceVolts / (g.top + 1)
	g.heart = newHeart(c)
	g.mains = newMains(c)
	rng := stream(c.Seed, streamBreath, 0)
	g.breathRate = c.BreathsPerMinute / 60
	g.breathWobb = []line{{0.011, 2 * math.Pi * rng.Float64(), 0.7}, {0.037, 2 * math.Pi * rng.Float64(), 0.3}}
	g.motion = motion{rng: stream(c.Seed, streamMotion, 0), perMinute: c.MotionPerMinute}
	g.truth.Beats = make([][]Beat, len(c.Channels))
	g.hum = make([]float64, 2)
	for i, ch := range c.Channels {
		g.boards = append(g.boards, newBoard(c, ch, i, g.step))
		g.knobs = append(g.knobs, ch.TrimmerHz)
	}
	return g, nil
}

// Config returns what the Generator was made with.
func (g *Generator) Config() Config { return g.config }

// Channels describes the converter's channels.
func (g *Generator) Channels() []acquire.Channel {
	var list []acquire.Channel
	for _, ch := range g.config.Channels {
		list = append(list, acquire.Channel{Label: ch.Label, Kind: ch.Kind, Unit: "V",
			VoltsPerCount: g.lsb, MinCount: 0, MaxCount: int32(g.top)})
	}
	return list
}

// SetTrimmerHz turns the trimmer of all channels: the corner of the single-pole
// low-pass, at least 0.1 Hz, or 0 for none. It acts from the next call of Next on.
func (g *Generator) SetTrimmerHz(hz float64) error {
	if err := checkTrimmer(hz); err != nil {
		return err
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	for i := range g.knobs {
		g.knobs[i] = hz
	}
	g.turns++
	return nil
}

// TrimmerHz is where the first channel's trimmer stands.
func (g *Generator) TrimmerHz() float64 {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.knobs[0]
}

// Truth returns what is true of the samples made so far, as a copy.
func (g *Generator) Truth() Truth {
	g.mu.Lock()
	defer g.mu.Unlock()
	t := g.truth
	t.Beats = make([][]Beat, len(g.truth.Beats))
	for i, b := range g.truth.Beats {
		t.Beats[i] = slices.Clone(b)
	}
	t.Motion, t.Off = slices.Clone(t.Motion), slices.Clone(t.Off)
	return t
}

// Next fills counts, [channel][sample], with the next samples. All channels
// must be there and have one length; it panics otherwise. Calls on pieces give
// the same counts as one call on the whole, but for a trimmer turned between.
func (g *Generator) Next(counts [][]int32) {
	if len(counts) != len(g.boards) {
		panic("simulate: Next: wrong number of channels")
	}
	n := len(counts[0])
	for _, c := range counts {
		if len(c) != n {
			panic("simulate: Next: channels of different lengths")
		}
	}
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.seen != g.turns {
		g.seen = g.turns
		for i := range g.boards {
			g.boards[i].setTrimmer(g.knobs[i])
		}
	}
	for s := range n {
		g.sample(counts, s)
	}
	g.truth.MainsHz = g.mains.hz
	if n > 0 {
		g.heart.forget(g.seconds(g.index) - 3)
		if g.config.KeepTruthSeconds > 0 {
			g.forget()
		}
	}
}

func (g *Generator) seconds(index int64) float64 { return float64(index) / g.config.RateHz }

// sample makes the sample at g.index: the analogue steps up to it, then the converter.
func (g *Generator) sample(counts [][]int32, s int) {
	c := &g.config
	end := g.seconds(g.index)

	// Slow parts, once per sample.
	for g.off < len(c.Off) && end >= c.Off[g.off].ToSeconds {
		g.off++
	}
	off := g.off < len(c.Off) && end >= c.Off[g.off].FromSeconds
	if off {
		o := c.Off[g.off]
		span := Span{int64(math.Ceil(o.FromSeconds * c.RateHz)), int64(math.Ceil(min(o.ToSeconds*c.RateHz, math.MaxInt64/2)))}
		if k := len(g.truth.Off); k == 0 || g.truth.Off[k-1] != span {
			g.truth.Off = append(g.truth.Off, span)
		}
	}
	breath := math.Sin(2*math.Pi*g.breathRate*end + sum(g.breathWobb, end))
	if span, begun := g.motion.reach(end); begun {
		g.truth.Motion = append(g.truth.Motion, Span{int64(math.Ceil(span.FromSeconds * c.RateHz)), int64(math.Ceil(span.ToSeconds * c.RateHz))})
	}
	for i := range g.boards {
		g.boards[i].slow(end, breath, off, &g.motion)
	}
	g.mains.wander(1 / c.RateHz)

	for k := range g.inner {
		// The last step ends on the sample itself.
		m := moment{t: end - float64(g.inner-1-k)*g.step, position: float64(g.index) - float64(g.inner-1-k)/float64(g.inner)}
		m.hum, m.flicker = g.mains.step(g.step)
		m.from, m.to = g.heart.around(m.t)
		for i := range g.boards {
			b := &g.boards[i]
			beat, found := b.analogue(g.heart, m)
			if found && !g.isOff(beat) {
				g.truth.Beats[i] = append(g.truth.Beats[i], beat)
			}
		}
	}
	for i := range g.boards {
		b := &g.boards[i]
		v := (b.out+b.NoiseVolts*b.noise.NormFloat64())*b.Gain + c.MidRailVolts + b.OffsetVolts
		v = max(c.RailLowVolts, min(v, c.RailHighVolts))
		counts[i][s] = int32(max(0, min(math.Floor(v/g.lsb+0.5), g.top)))
	}
	g.index++
}

// isOff tells whether a beat's peak or foot lies where no finger was.
func (g *Generator) isOff(b Beat) bool {
	if b.Foot < 0 {
		return true // it began before the first sample
	}
	for _, o := range g.truth.Off {
		if b.Sample >= o.From && b.Foot < o.To {
			return true
		}
	}
	return false
}

func (g *Generator) forget() {
	oldest := g.index - int64(g.config.KeepTruthSeconds*g.config.RateHz)
	for i, beats := range g.truth.Beats {
		n := 0
		for n < len(beats) && beats[n].Sample < oldest {
			n++
		}
		g.truth.Beats[i] = slices.Delete(beats, 0, n)
	}
	older := func(s Span) bool { return s.To < oldest }
	g.truth.Motion = slices.DeleteFunc(g.truth.Motion, older)
	g.truth.Off = slices.DeleteFunc(g.truth.Off, older)
}

// mains is the house's frequency and its phase.
type mains struct {
	nominal, sd float64
	hz          float64
	error       float64
	phase       float64
	harmonics   []float64
	rng         *rand.Rand
}

func newMains(c Config) mains {
	rng := stream(c.Seed, streamMains, 0)
	m := mains{nominal: c.MainsHz, sd: c.MainsWanderHz, harmonics: c.Harmonics, rng: rng}
	m.phase = 2 * math.Pi * rng.Float64()
	m.error = m.sd * rng.NormFloat64()
	m.hz = m.nominal + m.error
	return m
}

// wander moves the frequency: an Ornstein–Uhlenbeck process with 20 s.
func (m *mains) wander(seconds float64) {
	if m.sd == 0 {
		return
	}
	keep := math.Exp(-seconds / 20)
	m.error = keep*m.error + m.sd*math.Sqrt(1-keep*keep)*m.rng.NormFloat64()
	m.hz = m.nominal + m.error
}

// step returns the hum whose fundamental has 1 V rms, and flicker of 1 V rms.
func (m *mains) step(seconds float64) (hum, flicker float64) {
	m.phase = math.Mod(m.phase+2*math.Pi*m.hz*seconds, 2*math.Pi)
	hum = math.Sin(m.phase)
	for i, a := range m.harmonics {
		if a != 0 {
			hum += a * math.Sin(float64(i+2)*m.phase+float64(i))
		}
	}
	return math.Sqrt2 * hum, math.Sqrt2 * math.Cos(2*m.phase)
}

// motion plans the movements, which all channels share.
type motion struct {
	rng       *rand.Rand
	perMinute float64
	planned   bool
	announced bool
	now       Stretch
	waves     [5]line
}

// reach goes on to t and returns a movement the first time t lies in it.
func (m *motion) reach(t float64) (Stretch, bool) {
	if m.perMinute == 0 {
		return Stretch{}, false
	}
	for !m.planned || t >= m.now.ToSeconds {
		from := m.now.ToSeconds + m.rng.ExpFloat64()*60/m.perMinute
		m.now = Stretch{from, from + 0.5 + 2.5*m.rng.Float64()}
		for i := range m.waves {
			m.waves[i] = line{0.5 + 4.5*m.rng.Float64(), 2 * math.Pi * m.rng.Float64(), 0.45}
		}
		m.planned, m.announced = true, false
	}
	if t < m.now.FromSeconds || m.announced {
		return Stretch{}, false
	}
	m.announced = true
	return m.now, true
}

// at is the movement at t, about −1 to 1: a few waves of 0.5 to 5 Hz under a Hann window.
func (m *motion) at(t float64) float64 {
	if !m.planned || t < m.now.FromSeconds || t >= m.now.ToSeconds {
		return 0
	}
	x := (t - m.now.FromSeconds) / (m.now.ToSeconds - m.now.FromSeconds)
	return math.Sin(math.Pi*x) * math.Sin(math.Pi*x) * max(-1, min(sum(m.waves[:], t), 1))
}
