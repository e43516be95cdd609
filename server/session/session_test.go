package session

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
)

// script is a source that delivers what a test puts in.
type script struct {
	info   acquire.Info
	blocks chan any // acquire.Block or error
	closed chan struct{}
	once   sync.Once
}

func newScript(info acquire.Info) *script {
	return &script{info: info, blocks: make(chan any, 1000), closed: make(chan struct{})}
}

func (s *script) Describe() acquire.Info { return s.info }
func (s *script) Close() error           { s.once.Do(func() { close(s.closed) }); return nil }
func (s *script) Read(ctx context.Context) (acquire.Block, error) {
	select {
	case x := <-s.blocks:
		if err, ok := x.(error); ok {
			return acquire.Block{}, err
		}
		return x.(acquire.Block), nil
	case <-time.After(20 * time.Millisecond):
		return acquire.Block{}, nil
	case <-ctx.Done():
		return acquire.Block{}, ctx.Err()
	case <-s.closed:
		return acquire.Block{}, errors.New("closed")
	}
}

// ramp is a block of one channel whose count is the sample's index.
func ramp(first, lost int64, n int, at time.Time) acquire.Block {
	counts := make([]int32, n)
	for i := range counts {
		counts[i] = int32(first + int64(i))
	}
	return acquire.Block{First: first, Lost: lost, Arrived: at, Counts: [][]int32{counts}}
}

var volts = acquire.Channel{Label: "a", Kind: acquire.KindOther, Unit: "V", VoltsPerCount: 0.5, OffsetVolts: 1, MaxCount: 1 << 20}

// start runs a session over sources that are handed out in turn.
func start[S acquire.Source](t *testing.T, taps []Tap, sources ...S) *Session {
	t.Helper()
	var mu sync.Mutex
	open := func(ctx context.Context, a acquire.Address) (acquire.Source, error) {
		mu.Lock()
		defer mu.Unlock()
		if len(sources) == 0 {
			return nil, fmt.Errorf("test:x: %w", acquire.ErrUnplugged)
		}
		s := sources[0]
		sources = sources[1:]
		return s, nil
	}
	s := New(Config{Openers: acquire.Openers{"test": open}, Hub: hub.New(1000), Taps: taps})
	run(t, s)
	return s
}

func run(t *testing.T, s *Session) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	t.Cleanup(func() { cancel(); <-done })
	if err := s.Open(ctx, "test:x"); err != nil {
		t.Fatal(err)
	}
}

// page collects what a page would see.
type page struct {
	t      *testing.T
	client *hub.Client
	values map[int64]float32 // of channel 0, point 0
	gaps   []Gap
	states []string
	flags  map[int64]uint8 // by first sample
	// reading, when set, is told of each reading message.
	reading func(ChannelReading)
}

func watch(t *testing.T, s *Session) *page {
	p := &page{t: t, client: s.Watch(), values: map[int64]float32{}, flags: map[int64]uint8{}}
	t.Cleanup(p.client.Close)
	return p
}

// until reads messages until done says so.
func (p *page) until(done func() bool) {
	p.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), time.Minute)
	defer cancel()
	for !done() {
		m, dropped, err := p.client.Next(ctx)
		if err != nil || dropped > 0 {
			p.t.Fatalf("%d frames dropped, %v; have %d values, gaps %v, states %v", dropped, err, len(p.values), p.gaps, p.states)
		}
		p.take(m)
	}
}

func (p *page) take(m hub.Message) {
	if m.Kind == hub.Frame {
		b := m.Data
		first, n := int64(binary.LittleEndian.Uint64(b[8:])), int(binary.LittleEndian.Uint32(b[16:]))
		p.flags[first] = b[3]
		for i := range n {
			v := math.Float32frombits(binary.LittleEndian.Uint32(b[frameHeaderBytes+4*i:]))
			if old, ok := p.values[first+int64(i)]; ok && old != v {
				p.t.Errorf("sample %d came as %g and as %g", first+int64(i), old, v)
			}
			p.values[first+int64(i)] = v
		}
		return
	}
	var v struct {
		Type   string
		Status string
		Gap
	}
	if err := json.Unmarshal(m.Data, &v); err != nil {
		p.t.Fatal(err)
	}
	switch v.Type {
	case "reading":
		var r ChannelReading
		if err := json.Unmarshal(m.Data, &r); err != nil {
			p.t.Fatal(err)
		}
		if p.reading != nil {
			p.reading(r)
		}
	case "gap":
		p.gaps = append(p.gaps, v.Gap)
	case "state":
		p.states = append(p.states, v.Status)
	}
}

func TestFramesCarryVoltsWithoutAHole(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 250, ExactClock: true, Channels: []acquire.Channel{volts}})
	s := start(t, nil, src)
	for i := range int64(100) {
		src.blocks <- ramp(i*7, 0, 7, time.Now())
	}
	p := watch(t, s) // somewhere in the middle: history and live must join
	p.until(func() bool { return len(p.values) == 700 })
	late := watch(t, s)
	late.until(func() bool { return len(late.values) == 700 })
	for i, v := range p.values {
		if want := float32(1 + 0.5*float64(i)); v != want || late.values[i] != want {
			t.Fatalf("sample %d is %g live and %g on reload, want %g V", i, v, late.values[i], want)
		}
	}
}

func TestLostSamplesAreAGapAndKeepTheirPlace(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 1000, ExactClock: true, Channels: []acquire.Channel{volts}})
	s := start(t, nil, src)
	p := watch(t, s)
	src.blocks <- ramp(0, 0, 100, time.Now())
	src.blocks <- ramp(600, 500, 100, time.Now())
	src.blocks <- ramp(720, 20, 100, time.Now()) // short enough to be bridged, still shown as a hole
	p.until(func() bool { return len(p.values) >= 320 && len(p.gaps) == 2 })
	if want := []Gap{{100, 500, "500 samples lost on the way"}, {700, 20, "20 samples lost on the way"}}; p.gaps[0] != want[0] || p.gaps[1] != want[1] {
		t.Errorf("gaps %v, want %v", p.gaps, want)
	}
	if p.values[600] != 301 || p.flags[600]&flagGap == 0 {
		t.Errorf("sample 600 is %g (flags %d), want 301 V after a gap", p.values[600], p.flags[600])
	}
	for i := int64(700); i < 720; i++ {
		if v, ok := p.values[i]; !ok || !math.IsNaN(float64(v)) {
			t.Fatalf("lost sample %d shows %g, want none", i, v)
		}
	}
	if p.values[720] != 361 {
		t.Errorf("sample 720 is %g, want 361 V", p.values[720])
	}
}

func TestUnplugWaitsReopensAndMarksTheGap(t *testing.T) {
	info := acquire.Info{Address: "test:x", ClaimedRateHz: 1000, Channels: []acquire.Channel{volts}}
	before, after := newScript(info), newScript(info)
	tap := &tapLog{}
	s := start(t, []Tap{tap}, before, after)
	p := watch(t, s)
	at := time.Now()
	before.blocks <- ramp(0, 0, 1000, at)
	before.blocks <- fmt.Errorf("port: %w", acquire.ErrUnplugged)
	for k := range 10 {
		after.blocks <- ramp(int64(50*k), 0, 50, at.Add(2550*time.Millisecond+time.Duration(k)*50*time.Millisecond))
	}
	p.until(func() bool { return len(p.values) == 1500 })
	// 3 s lie between the arrivals of the last samples, half a second of them filled.
	if len(p.gaps) != 1 || p.gaps[0].Index != 1000 || p.gaps[0].Samples != 2500 {
		t.Errorf("gaps %v, want one of 2500 samples at 1000", p.gaps)
	}
	if v := p.values[3500]; v != 1 {
		t.Errorf("the first sample after the gap is %g, want 1 V at 3500", v)
	}
	if got := fmt.Sprint(p.states); got != "[running waiting waiting running]" {
		t.Errorf("states %s", got)
	}
	if got := tap.String(); !strings.HasPrefix(got, "begin samples 0+1000 gap 1000+2500 samples 3500+50 samples 3550+50 ") {
		t.Errorf("the tap saw %s", got)
	}
}

// TestReopenedTooLateIsLetGo: a board that comes back after another source was chosen is
// closed at once, so that its port is free, and so is one that comes back after the end.
func TestReopenedTooLateIsLetGo(t *testing.T) {
	info := acquire.Info{Address: "test:x", ClaimedRateHz: 1000, Channels: []acquire.Channel{volts}}
	for _, when := range []string{"another source was chosen", "the session ended"} {
		t.Run(when, func(t *testing.T) {
			lost, back, other := newScript(info), newScript(info), newScript(info)
			asked, release := make(chan struct{}), make(chan struct{})
			opens := 0
			s := New(Config{Hub: hub.New(1000), Openers: acquire.Openers{
				"test": func(context.Context, acquire.Address) (acquire.Source, error) {
					if opens++; opens == 1 {
						return lost, nil
					}
					close(asked)
					<-release
					return back, nil
				},
				"other": func(context.Context, acquire.Address) (acquire.Source, error) { return other, nil },
			}})
			ctx, cancel := context.WithCancel(context.Background())
			done := make(chan struct{})
			go func() { defer close(done); _ = s.Run(ctx) }()
			defer func() { cancel(); <-done }()
			if err := s.Open(ctx, "test:x"); err != nil {
				t.Fatal(err)
			}
			lost.blocks <- fmt.Errorf("port: %w", acquire.ErrUnplugged)
			<-asked
			if when == "the session ended" {
				cancel()
				select {
				case <-done:
					t.Error("the session ended while a source was still being opened")
				case <-time.After(50 * time.Millisecond):
				}
			} else if err := s.Open(ctx, "other:y"); err != nil {
				t.Fatal(err)
			}
			close(release)
			select {
			case <-back.closed:
			case <-time.After(10 * time.Second):
				t.Error("the board that came back is still held open")
			}
		})
	}
}

// tapLog writes down what a tap sees.
type tapLog struct {
	mu  sync.Mutex
	log string
}

func (l *tapLog) add(format string, args ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.log != "" {
		l.log += " "
	}
	l.log += fmt.Sprintf(format, args...)
}
func (l *tapLog) String() string { l.mu.Lock(); defer l.mu.Unlock(); return l.log }

func (l *tapLog) Begin(uint32, acquire.Info, float64, time.Time) { l.add("begin") }
func (l *tapLog) Samples(first int64, counts [][]int32) {
	l.add("samples %d+%d", first, len(counts[0]))
}
func (l *tapLog) Gap(first, samples int64, _ string) { l.add("gap %d+%d", first, samples) }
func (l *tapLog) Rate(float64)                       {}
func (l *tapLog) Beats(int, []beat.Beat, int)        {}
func (l *tapLog) Note(first int64, text string)      { l.add("note %d %s", first, text) }
func (l *tapLog) Text(first int64, lines []string)   { l.add("text %d %q", first, lines) }
func (l *tapLog) Settings([]ChannelState)            {}
func (l *tapLog) End()                               { l.add("end") }

func TestMissingCountIsAHole(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 100, ExactClock: true, Channels: []acquire.Channel{volts}})
	s := start(t, nil, src)
	p := watch(t, s)
	b := ramp(0, 0, 300, time.Now())
	for i := 50; i < 150; i++ {
		b.Counts[0][i] = acquire.MissingCount
	}
	src.blocks <- b
	p.until(func() bool { return len(p.values) == 300 })
	for i := range int64(300) {
		if hole := i >= 50 && i < 150; math.IsNaN(float64(p.values[i])) != hole {
			t.Fatalf("sample %d is %g; samples 50 to 149 have no value", i, p.values[i])
		}
	}
}

func TestRateIsMeasuredWhenNoneIsClaimed(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", Channels: []acquire.Channel{volts}})
	s := start(t, nil, src)
	p := watch(t, s)
	at := time.Now()
	for i := range int64(500) { // 5 s at 200 Hz, two samples at a time
		src.blocks <- ramp(2*i, 0, 2, at.Add(time.Duration(i)*10*time.Millisecond))
	}
	p.until(func() bool { return len(p.values) == 1000 })
	if hz := s.State().RateHz; math.Abs(hz-200) > 1 {
		t.Errorf("rate %g Hz, want 200", hz)
	}
	if p.values[0] != 1 || p.values[999] != 500.5 {
		t.Errorf("the first seconds, held while the rate was measured, are wrong: %g, %g", p.values[0], p.values[999])
	}
}

func TestEndKeepsTheTraceAndSaysSo(t *testing.T) {
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 100, ExactClock: true, Channels: []acquire.Channel{volts}})
	tap := &tapLog{}
	s := start(t, []Tap{tap}, src)
	p := watch(t, s)
	src.blocks <- ramp(0, 0, 10, time.Now())
	src.blocks <- io.EOF
	p.until(func() bool { return len(p.states) > 1 && p.states[len(p.states)-1] == StatusEnded })
	if late := watch(t, s); true {
		late.until(func() bool { return len(late.values) == 10 })
	}
	if got := tap.String(); got != "begin samples 0+10 end" {
		t.Errorf("the tap saw %s", got)
	}
}

func TestScaleSettings(t *testing.T) {
	raw := acquire.Channel{Label: "a", Kind: acquire.KindOther}
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 100, ExactClock: true, Channels: []acquire.Channel{raw}})
	s := start(t, nil, src)
	ctx := context.Background()
	if u := s.State().Channels[0].Unit; u != "counts" {
		t.Errorf("unit %q before anybody gave a scale, want counts", u)
	}
	mid := 2.5
	scale := channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1, Invert: true, MidRailVolts: &mid}
	if err := s.SetScale(ctx, 0, scale); err != nil {
		t.Fatal(err)
	}
	src.blocks <- ramp(512, 0, 1, time.Now())
	src.blocks <- ramp(513, 0, 1, time.Now())
	p := watch(t, s)
	p.until(func() bool { return len(p.values) == 2 })
	// 512 of 1024 steps of a 5 V reference are 2.5 V; one more step, turned about 2.5 V.
	if p.values[512] != 2.5 || p.values[513] != float32(2.5-5.0/1024) {
		t.Errorf("values %g and %g, want 2.5 and %g", p.values[512], p.values[513], 2.5-5.0/1024)
	}
	bad := scale
	bad.Bits = 40
	if err := s.SetScale(ctx, 0, bad); err == nil {
		t.Error("a 40-bit converter was accepted")
	}
	if err := s.SetScale(ctx, 3, scale); !errors.Is(err, ErrNoChannel) {
		t.Errorf("channel 3 of 1: %v, want ErrNoChannel", err)
	}
}

// TestHistoryInANewScale: what is remembered goes over to a reversed polarity by the path that held then: behind the high-pass it
// stays about 0, without it it is as at the scale.
func TestHistoryInANewScale(t *testing.T) {
	raw := acquire.Channel{Label: "a", Kind: acquire.KindOther}
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: 100, ExactClock: true, Channels: []acquire.Channel{raw}})
	s := start(t, nil, src)
	ctx, mid := context.Background(), 2.5
	scale := channel.Scale{Source: "converter", ReferenceVolts: 5, Bits: 10, Gain: 1, MidRailVolts: &mid}
	path := func(drift bool) signalpath.Settings {
		return signalpath.Settings{Drift: signalpath.Drift{On: drift, CutoffHz: 1}}
	}
	p := watch(t, s)
	play := func(from, to int64, change func() error) {
		t.Helper()
		if err := change(); err != nil {
			t.Fatal(err)
		}
		for i := from; i < to; i++ {
			b := ramp(i, 0, 1, time.Now())
			b.Counts[0][0] = 800
			src.blocks <- b
		}
		p.until(func() bool { return len(p.values) == int(to) })
	}
	if err := s.SetScale(ctx, 0, scale); err != nil {
		t.Fatal(err)
	}
	turned := scale
	turned.Invert = true
	set := func(drift bool) func() error {
		return func() error { _, err := s.SetPath(ctx, 0, path(drift)); return err }
	}
	play(0, 100, set(true))
	play(100, 200, set(false))
	play(200, 300, func() error { return s.SetScale(ctx, 0, turned) })
	play(300, 400, set(true))
	play(400, 500, func() error { return s.SetScale(ctx, 0, scale) })
	const volts = 800 * 5.0 / 1024
	behind := func(i int64) float64 {
		if i < 100 || i >= 310 { // but for the tenth of a second in which the change fades
			return 0
		}
		return volts
	}
	err := s.History(0, 500, func(frame []byte) error {
		first, n := int64(binary.LittleEndian.Uint64(frame[8:])), int64(binary.LittleEndian.Uint32(frame[16:]))
		for i := range n {
			for point := range int64(channel.PointBeats) {
				got := float64(math.Float32frombits(binary.LittleEndian.Uint32(frame[frameHeaderBytes+4*(point*n+i):])))
				want, at := volts, first+i
				if point > 0 {
					want = behind(at)
				}
				if fades := point > 0 && (at >= 100 && at < 110 || at >= 300 && at < 310); math.Abs(got-want) > 1e-5 && !(fades && got > -1e-5 && got < volts+1e-5) {
					t.Fatalf("point %d at %d: %g V, want %g", point, at, got, want)
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestFastSourceIsDecimatedInPlace(t *testing.T) {
	const rate, hz = 48000, 5.0
	ch := volts
	ch.VoltsPerCount, ch.OffsetVolts = 1, 0
	src := newScript(acquire.Info{Address: "test:x", ClaimedRateHz: rate, ExactClock: true, Channels: []acquire.Channel{ch}})
	s := start(t, nil, src)
	p := watch(t, s)
	const total = 2 * rate
	for first := int64(0); first < total; first += 480 {
		b := ramp(first, 0, 480, time.Now())
		for i := range b.Counts[0] {
			b.Counts[0][i] = int32(math.Round(1e6 * math.Sin(2*math.Pi*hz*float64(first+int64(i))/rate)))
		}
		src.blocks <- b
	}
	p.until(func() bool { return len(p.values) >= 1900 })
	if d := s.State().Decimation; d != 48 {
		t.Fatalf("decimation %d, want 48 to reach 1 kHz", d)
	}
	for i := int64(200); i < 1900; i++ {
		want := 1e6 * math.Sin(2*math.Pi*hz*float64(i)/1000)
		if math.Abs(float64(p.values[i])-want) > 1e6*0.001 {
			t.Fatalf("point %d is %g, want %g: delay not removed?", i, p.values[i], want)
		}
	}
}
