package server

import (
	"errors"
	"fmt"
	"math"
	"net/http"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/variability"
	"pulsewright/server/channel"
	"pulsewright/server/session"
)

// Intervals is a session.Tap that follows every channel's beats for the interval
// measures. Safe for concurrent use.
type Intervals struct {
	// Guarded by mu. What is slow is worked out on copies, outside of it.
	mu       sync.Mutex
	epoch    uint32
	rateHz   float64 // of the source
	step     int     // source samples a point
	doubt    bool    // the rate is not to be trusted
	channels []followed
	values   []float64
	beats    []beat.Beat
}

// followed is a channel; tracker is nil when it is not read for beats.
type followed struct {
	label, kind string
	tracker     *variability.Tracker
}

// NewIntervals returns a tap for a session's Config and a server's.
func NewIntervals() *Intervals { return &Intervals{step: 1} }

// Begin implements session.Tap.
func (v *Intervals) Begin(epoch uint32, info acquire.Info, rateHz float64, _ time.Time) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.epoch, v.rateHz, v.step = epoch, rateHz, 1
	v.channels = make([]followed, len(info.Channels))
}

// Settings implements session.Tap: a channel of another kind is followed anew.
func (v *Intervals) Settings(channels []session.ChannelState) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for i, c := range channels {
		if i >= len(v.channels) {
			return
		}
		f := &v.channels[i]
		if f.label = c.Label; f.kind == c.Kind {
			continue
		}
		f.kind, f.tracker = c.Kind, nil
		if c.Kind == acquire.KindECG || c.Kind == acquire.KindPulse {
			// The step is known with the first beats.
			t, err := variability.NewTracker(variability.Config{Kind: beat.Kind(c.Kind), RateHz: v.rateHz, StepSamples: v.step})
			if err != nil {
				continue // a rate outside of what a session takes
			}
			t.Doubt(0, v.doubt)
			f.tracker = t
		}
	}
}

// Engines implements session.EngineTap.
func (v *Intervals) Engines(start channel.Start) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.doubt = start.Doubt != ""
}

// Engine implements session.EngineTap: while the clock is in doubt, intervals are not sure.
func (v *Intervals) Engine(first int64, e channel.Event) {
	if e.Doubt == nil {
		return
	}
	v.mu.Lock()
	defer v.mu.Unlock()
	v.doubt = *e.Doubt != ""
	for _, c := range v.channels {
		if c.tracker != nil {
			c.tracker.Doubt(first, v.doubt)
		}
	}
}

// Samples implements session.Tap.
func (v *Intervals) Samples(first int64, counts [][]int32) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for i, c := range counts {
		if i >= len(v.channels) || v.channels[i].tracker == nil {
			continue
		}
		v.values = v.values[:0]
		for _, count := range c {
			if count == acquire.MissingCount {
				v.values = append(v.values, math.NaN())
			} else {
				v.values = append(v.values, float64(count))
			}
		}
		v.channels[i].tracker.Samples(first, v.values)
	}
}

// Beats implements session.Tap.
func (v *Intervals) Beats(channel int, beats []beat.Beat, samplesPerPoint int) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if channel >= len(v.channels) || v.channels[channel].tracker == nil {
		return
	}
	v.step = samplesPerPoint
	v.beats = append(v.beats[:0], beats...)
	for i := range v.beats {
		v.beats[i].Sample *= int64(samplesPerPoint)
		v.beats[i].Foot *= int64(samplesPerPoint)
	}
	t := v.channels[channel].tracker
	t.SetStepSamples(samplesPerPoint)
	t.Beats(v.beats)
}

// Gap implements session.Tap.
func (v *Intervals) Gap(int64, int64, string) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, c := range v.channels {
		if c.tracker != nil {
			c.tracker.Break()
		}
	}
}

// Restarted implements session.Restarter.
func (v *Intervals) Restarted(channel int) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if channel < len(v.channels) && v.channels[channel].tracker != nil {
		v.channels[channel].tracker.Break()
	}
}

// Rate implements session.Tap.
func (v *Intervals) Rate(hz float64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.rateHz = hz
	for _, c := range v.channels {
		if c.tracker != nil {
			c.tracker.SetRateHz(hz)
		}
	}
}

// Moved implements session.Mover.
func (v *Intervals) Moved(from int64, hz float64) {
	v.mu.Lock()
	defer v.mu.Unlock()
	for _, c := range v.channels {
		if c.tracker != nil {
			c.tracker.Moved(from, hz)
		}
	}
}

// Note, Text and End implement session.Tap; what was seen stays until the next epoch.
func (v *Intervals) Note(int64, string)   {}
func (v *Intervals) Text(int64, []string) {}
func (v *Intervals) End()                 {}

// Variability is what GET /channels/{n}/variability answers.
type Variability struct {
	Epoch   uint32 `json:"epoch"`
	Channel int    `json:"channel"`
	Label   string `json:"label"`
	Kind    string `json:"kind"`
	// WindowSeconds is what was asked for, 0 for the whole session.
	WindowSeconds float64 `json:"windowSeconds"`
	// SinceSeconds is the time since the newest beat, −1 before the first.
	SinceSeconds float64                `json:"sinceSeconds"`
	Report       variability.Report     `json:"report"`
	Intervals    []variability.Interval `json:"intervals"` // Sample is a session index
	Breathing    variability.Breathing  `json:"breathing"`
	// Arrival is null unless an ECG and a pulse are there.
	Arrival *PairArrival `json:"arrival"`
}

// PairArrival is the pulse's arrival between two channels.
type PairArrival struct {
	ECG        int    `json:"ecg"`
	Pulse      int    `json:"pulse"`
	ECGLabel   string `json:"ecgLabel"`
	PulseLabel string `json:"pulseLabel"`
	variability.Arrival
}

var errNotRead = errors.New("it is not read for beats; choose ecg or pulse as its kind")

// Look gives a channel's measures of the newest windowSeconds, 0 for all.
func (v *Intervals) Look(channel int, windowSeconds float64) (out Variability, err error) {
	stretch, out, err := v.copy(channel, windowSeconds)
	if err != nil {
		return out, err
	}
	out.Report, out.Breathing = stretch.Report(), stretch.Breathing()
	return out, nil
}

// copy takes what Look needs.
func (v *Intervals) copy(channel int, windowSeconds float64) (stretch variability.Stretch, out Variability, err error) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if channel < 0 || channel >= len(v.channels) {
		return stretch, out, fmt.Errorf("channel %d: %w; there are %d, counted from 0", channel, session.ErrNoChannel, len(v.channels))
	}
	c := v.channels[channel]
	if c.tracker == nil {
		return stretch, out, fmt.Errorf("channel %d (%s): %w", channel, c.label, errNotRead)
	}
	stretch = c.tracker.Stretch(windowSeconds)
	for i := range stretch.Intervals {
		stretch.Intervals[i].Sample /= int64(v.step)
	}
	out = Variability{Epoch: v.epoch, Channel: channel, Label: c.label, Kind: c.kind, WindowSeconds: windowSeconds, SinceSeconds: c.tracker.SinceSeconds(), Intervals: stretch.Intervals}
	if math.IsInf(out.SinceSeconds, 0) {
		out.SinceSeconds = -1
	}
	// The channel with the first one of the other kind.
	for i, other := range v.channels {
		if other.tracker == nil || other.kind == c.kind {
			continue
		}
		p := PairArrival{ECG: channel, Pulse: i}
		if c.kind == acquire.KindPulse {
			p.ECG, p.Pulse = i, channel
		}
		e, f := v.channels[p.ECG], v.channels[p.Pulse]
		p.ECGLabel, p.PulseLabel = e.label, f.label
		p.Arrival, _ = variability.PulseArrival(e.tracker, f.tracker)
		out.Arrival = &p
		break
	}
	return stretch, out, nil
}

// getVariability answers Look; window is a length as in 90s or 5m, or all.
func (s *Server) getVariability(w http.ResponseWriter, r *http.Request) {
	window := 300.0
	switch text := r.URL.Query().Get("window"); text {
	case "":
	case "all":
		window = 0
	default:
		d, err := time.ParseDuration(text)
		if err != nil || !(d.Seconds() >= 10 && d.Seconds() <= variability.KeptSeconds) {
			fail(w, http.StatusBadRequest, fmt.Sprintf("window=%s: give a length from 10s to %dm, as in 90s or 5m, or all", quoteShort(text), variability.KeptSeconds/60))
			return
		}
		window = d.Seconds()
	}
	if s.intervals == nil {
		fail(w, http.StatusNotFound, "this program does not follow intervals")
		return
	}
	out, err := s.intervals.Look(channelOf(r), window)
	if errors.Is(err, errNotRead) {
		fail(w, http.StatusConflict, err.Error())
		return
	}
	if err != nil {
		Fail(w, err)
		return
	}
	Answer(w, out)
}
