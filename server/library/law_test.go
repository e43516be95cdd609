package library

import (
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"reflect"
	"slices"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/meter"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
	"pulsewright/server/library/recorder"
	"pulsewright/server/session"
)

// The law: what is streamed live and what is computed from its recording are equal, bit
// for bit.

// bench is a source whose blocks, and what a person does between them, are written down
// before; its blocks' arrivals are the session's clock.
type bench struct {
	info  acquire.Info
	steps []any // acquire.Block, or func()

	mu   sync.Mutex
	time time.Time
	busy bool // somebody does something
}

func (b *bench) Describe() acquire.Info { return b.info }
func (b *bench) Close() error           { return nil }

func (b *bench) now() time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.time
}

func (b *bench) Read(context.Context) (acquire.Block, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.busy || len(b.steps) == 0 {
		if b.busy {
			time.Sleep(time.Millisecond)
			return acquire.Block{}, nil
		}
		return acquire.Block{}, io.EOF
	}
	step := b.steps[0]
	b.steps = b.steps[1:]
	switch s := step.(type) {
	case acquire.Block:
		b.time = s.Arrived
		return s, nil
	case func():
		b.busy = true
		go func() {
			s()
			b.mu.Lock()
			b.busy = false
			b.mu.Unlock()
		}()
	}
	return acquire.Block{}, nil
}

// live is what a page saw.
type live struct {
	t        *testing.T
	points   []map[int64][channel.Points]float32 // by channel and index
	beats    [][]beat.Beat
	readings []map[int64][]beat.Reading
	meters   []map[int64][]meter.Report
	states   []session.ChannelState // the newest
}

// watch reads until the source has ended.
func (l *live) watch(client *hub.Client) {
	l.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	defer cancel()
	for {
		m, dropped, err := client.Next(ctx)
		if err != nil || dropped > 0 {
			l.t.Fatalf("%d frames dropped, %v", dropped, err)
		}
		if m.Kind == hub.Frame {
			l.frame(m.Data)
			continue
		}
		var v struct {
			Type    string
			Status  string
			Channel int
			Index   int64
			Beats   []beat.Beat
			Report  meter.Report
		}
		var state struct{ Channels []session.ChannelState }
		_ = json.Unmarshal(m.Data, &v) // a message whose members have other types is another one
		switch v.Type {
		case "beats":
			l.beats[v.Channel] = append(l.beats[v.Channel], v.Beats...)
		case "reading":
			var r beat.Reading
			if err := json.Unmarshal(m.Data, &r); err != nil {
				l.t.Fatal(err)
			}
			l.readings[v.Channel][v.Index] = append(l.readings[v.Channel][v.Index], r)
		case "meters":
			l.meters[v.Channel][v.Index] = append(l.meters[v.Channel][v.Index], v.Report)
		case "state":
			if json.Unmarshal(m.Data, &state); len(state.Channels) > 0 {
				l.states = state.Channels
			}
			if v.Status == session.StatusEnded {
				return
			}
			if v.Status == session.StatusFailed {
				l.t.Fatalf("%s", m.Data)
			}
		}
	}
}

func (l *live) frame(b []byte) {
	first, n, channels := int64(binary.LittleEndian.Uint64(b[8:])), int(binary.LittleEndian.Uint32(b[16:])), int(binary.LittleEndian.Uint16(b[20:]))
	for c := range channels {
		for i := range n {
			var row [channel.Points]float32
			for p := range row {
				row[p] = math.Float32frombits(binary.LittleEndian.Uint32(b[40+4*((c*channel.Points+p)*n+i):]))
			}
			l.points[c][first+int64(i)] = row
		}
	}
}

// spoken is a session.Memory: what was said of the channels before.
type spoken []channel.Said

func (m spoken) Load(_ string, _ acquire.Info, n int) (channel.Said, bool) { return m[n], true }
func (m spoken) Save(string, acquire.Info, []channel.Resolved)             {}

// trial is one board, what is said of it, and what happens.
type trial struct {
	name   string
	rateHz float64
	trueHz float64 // of the board's clock when it only claims rateHz; 0: exact
	of     []acquire.Channel
	said   []channel.Said
	// change is done in the middle, where the recording of late trials begins.
	change func(s *session.Session) error
	late   bool
	// beats is how many are compared at least; 0 stands for 10.
	beats int
	// volts of a count of channel 0, by hand; nil where nobody worked them out.
	volts func(count float64) float64
}

// byHand compares what was live with the volts worked out: live and recording may be equal, and
// both wrong.
func (tr trial) byHand(t *testing.T, l *live, counts []int32) {
	t.Helper()
	compared := 0
	for i, count := range counts {
		got, there := l.points[0][int64(i)]
		if tr.volts == nil || !there || got[channel.PointScale] != got[channel.PointScale] {
			continue
		}
		if want := tr.volts(float64(count)); !(math.Abs(float64(got[channel.PointScale])-want) < 1e-6) {
			t.Fatalf("count %d of sample %d was %g V live, by hand %g", count, i, got[channel.PointScale], want)
		}
		compared++
	}
	if tr.volts != nil && compared < len(counts)/2 {
		t.Errorf("only %d of %d samples compared with what was worked out by hand", compared, len(counts))
	}
}

// counts are a minute of an invented signal in a channel's counts, about its middle.
func (tr trial) counts(t *testing.T, n int, c acquire.Channel, seconds float64) []int32 {
	t.Helper()
	config := simulate.Finger()
	if c.Kind == acquire.KindECG {
		config = simulate.Chest()
	}
	config.RateHz = tr.rateHz
	if config.RateHz > 1000 {
		config.RateHz = 1000
	}
	config.Seed = uint64(n + 1)
	g, err := simulate.New(config)
	if err != nil {
		t.Fatal(err)
	}
	list := make([]int32, int(seconds*tr.rateHz))
	short := [][]int32{make([]int32, int(seconds*config.RateHz)+1)}
	for len(short) < len(config.Channels) {
		short = append(short, make([]int32, len(short[0])))
	}
	g.Next(short)
	for i := range list {
		at := float64(i) * config.RateHz / tr.rateHz // in between, a straight line
		k := int(at)
		a, b := float64(short[0][k]), float64(short[0][k+1])
		list[i] = int32(math.Round(a + (at-float64(k))*(b-a)))
	}
	return list
}

const lawSeconds = 48

// blocks cuts the counts of all channels into blocks with holes of 1 to 30 samples, told
// and of single channels, longer ones, and a jump; the middle one is change.
func (tr trial) blocks(counts [][]int32, change func()) []any {
	rate, n := tr.rateHz, len(counts[0])
	clockHz := rate
	if tr.trueHz > 0 {
		clockHz = tr.trueHz
	}
	begin := time.Date(2026, 3, 1, 19, 0, 0, 0, time.UTC)
	hole := 0
	for at := n / 10; at < n*9/10; at += n / 40 {
		hole++
		row := counts[hole%len(counts)]
		for i := range 1 + hole%30 {
			row[at+i] = acquire.MissingCount
		}
	}
	var list []any
	size := int(rate / 50)
	lost, changed := 0, false
	for at, k := 0, 0; at < n; k++ {
		end := min(n, at+size+k%7)
		b := acquire.Block{First: int64(at), Arrived: begin.Add(time.Duration(float64(end) / clockHz * 1e9))}
		for _, row := range counts {
			b.Counts = append(b.Counts, slices.Clone(row[at:end]))
		}
		b.Jump = k == 1500
		if !changed && at >= n/2 {
			changed = true
			list = append(list, change)
		}
		if k%97 == 50 { // lost on the way, 1 to 30 samples and once a second of them
			if lost++; lost == 4 {
				at = min(n, end+int(rate))
			} else {
				at = min(n, end+1+(lost*7)%30)
			}
		} else {
			at = end
		}
		list = append(list, b)
	}
	return list
}

// TestLaw runs invented boards with every kind of scale live and from their recordings.
func TestLaw(t *testing.T) {
	for _, tr := range trials() {
		t.Run(tr.name, func(t *testing.T) { tr.run(t) })
	}
}

func (tr trial) run(t *testing.T) {
	t.Parallel()
	source := &bench{info: acquire.Info{Address: "test:board", Name: "board", ClaimedRateHz: tr.rateHz, ExactClock: tr.trueHz == 0, Channels: tr.of}}
	folder := t.TempDir()
	records := recorder.New(recorder.Config{Folder: folder, Problem: func(text string) { t.Error("problem told:", text) }})
	s := session.New(session.Config{Openers: acquire.Openers{"test": func(context.Context, acquire.Address) (acquire.Source, error) { return source, nil }},
		Hub: hub.New(1 << 20), Taps: []session.Tap{records}, Remember: spoken(tr.said), Now: source.now})
	start := func() {
		if _, err := records.Start("law", 0, 0, ""); err != nil {
			t.Error(err)
		}
	}
	change := func() {
		if tr.late {
			start()
		}
		if tr.change != nil {
			if err := tr.change(s); err != nil {
				t.Error(err)
			}
		}
	}
	var counts [][]int32
	for n, c := range tr.of {
		counts = append(counts, tr.counts(t, n, c, lawSeconds))
	}
	source.steps = tr.blocks(counts, change)
	if !tr.late {
		source.steps = append([]any{start}, source.steps...)
	}
	cuts, first := []int64{}, int64(0) // of blocks, and where the recording begins
	for i, step := range source.steps {
		if b, ok := step.(acquire.Block); ok {
			cuts = append(cuts, b.First, b.First+int64(b.Len()))
		} else if tr.late {
			first = source.steps[i-1].(acquire.Block).First + int64(source.steps[i-1].(acquire.Block).Len())
		}
	}
	if tr.trueHz == 0 { // readings are told where a second of signal ends
		for at := int64(0); at < int64(len(counts[0])); at = channel.SecondAfter(at, tr.rateHz) {
			cuts = append(cuts, at)
		}
		slices.Sort(cuts)
	}
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Run(ctx) }()
	defer func() { cancel(); <-done }()
	l := &live{t: t}
	for range tr.of {
		l.points = append(l.points, map[int64][channel.Points]float32{})
		l.beats = append(l.beats, nil)
		l.readings = append(l.readings, map[int64][]beat.Reading{})
		l.meters = append(l.meters, map[int64][]meter.Report{})
	}
	client := s.Watch()
	defer client.Close()
	if err := s.Open(ctx, "test:board"); err != nil {
		t.Fatal(err)
	}
	l.watch(client)
	tr.byHand(t, l, counts[0])
	if err := records.Close(); err != nil {
		t.Fatal(err)
	}
	list, err := NewStore(folder).List()
	if err != nil || len(list) != 1 {
		t.Fatalf("recordings %v, %v", list, err)
	}
	path := filepath.Join(folder, list[0].ID)
	tr.compare(t, l, path, cuts, first)
	for _, name := range []string{"out.bdf", "back" + filepath.Ext(path)} { // to BDF+ and back
		to := filepath.Join(t.TempDir(), name)
		if err := recording.Convert(path, to, recording.OpenOptions{}, recording.ExportOptions{Context: ctx}); err != nil {
			t.Fatal(err)
		}
		path = to
		tr.compare(t, l, path, cuts, first)
	}
}

// compare computes everything from a recording that begins at sample first.
func (tr trial) compare(t *testing.T, l *live, path string, cuts []int64, first int64) {
	t.Helper()
	file, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	rec := channel.Open(file, channel.Sidecar{})
	run := channel.Run{Parts: channel.All, To: file.Len(), Whole: true, Finish: true}
	for n := range tr.of {
		run.Channels = append(run.Channels, n)
	}
	run.Ends = func(from int64) int64 {
		i, found := slices.BinarySearch(cuts, from+first+1)
		if !found && i == len(cuts) {
			return file.Len()
		}
		return cuts[i] - first
	}
	ratio := int64(channel.Decimation(tr.rateHz))
	c := &comparison{t: t, l: l, base: first / ratio, beats: make([][]beat.Beat, len(tr.of)), seen: make([]int, len(tr.of)), end: make([]int64, len(tr.of)), from: make([]int64, len(tr.of)), events: map[int64]bool{}}
	for k := range c.from {
		if tr.late {
			c.from[k] = -1 // from the first restart on
		}
	}
	for _, a := range file.Annotations() {
		if recording.IsEngine(a.Text) {
			c.events[(a.Sample+first)/ratio] = true
		}
	}
	run.Take = c.take
	if err := rec.Run(context.Background(), run); err != nil {
		t.Fatal(err)
	}
	c.finish(tr)
	if !tr.late {
		tr.listed(t, l, rec)
	}
	for n, r := range rec.Channels {
		s := l.states[n]
		if got := r.Settings; got.Kind != s.Kind || got.Linear(rec.Info.Channels[n]).Unit != s.Unit || got.Label != s.Label || got.Path != s.Path || !reflect.DeepEqual(got.Scale, s.Scale) {
			t.Errorf("channel %d is %+v, live it was %+v", n, got, s)
		}
	}
}

// listed asks for the beats as everybody else does, and for Review's trace of channel 0.
func (tr trial) listed(t *testing.T, l *live, rec *channel.Recording) {
	t.Helper()
	for n := range tr.of {
		last := int64(-1) // as far as beats were told live
		if k := len(l.beats[n]); k > 0 {
			last = l.beats[n][k-1].Sample
		}
		var got []beat.Beat
		if err := analysis.Beats(context.Background(), analysis.All(rec, n), func(b beat.Beat) { got = append(got, b) }); err != nil {
			t.Fatal(err)
		}
		ratio := int64(rec.Start.Ratio)
		for i, want := range l.beats[n] {
			if i >= len(got) || got[i].Sample != want.Sample*ratio || got[i].Foot != want.Foot*ratio || got[i].Kind != want.Kind || got[i].Quality != want.Quality {
				t.Errorf("channel %d: beat %d of a list of %d is not %+v", n, i, len(got), want)
				break
			}
		}
		if extra := len(got) - len(l.beats[n]); extra > 0 && got[len(l.beats[n])].Sample <= last*ratio {
			t.Errorf("channel %d: %d beats more than live", n, extra)
		}
	}
	// A replay begins with what held at the end.
	for n, c := range rec.Channels {
		replayed := channel.Resolve(channel.Places{Described: rec.Info.Channels[n], RateHz: rec.PointHz(), Recorded: channel.ParseCarried(rec.File.Settings()).AtEnd(n, rec.File.EngineTexts())})
		if !reflect.DeepEqual(replayed, c) {
			t.Errorf("channel %d is replayed as %+v, it was %+v", n, replayed, c)
		}
	}
	// In the unit at the end, where the last settings hold; with the same path.
	path := rec.Channels[0].Path
	list, _, err := plan(rec, []*signalpath.Settings{&path})
	if err != nil {
		t.Fatal(err)
	}
	from, compared := rec.File.Len()*3/4/int64(rec.Start.Ratio), 0
	err = through{rec, list, 0, rec.File.Len()}.run(context.Background(), func(c int, at int64, values []float64) {
		if c != 0 {
			return // shown with its coupling undone
		}
		for i, v := range values {
			want, there := l.points[0][at+int64(i)]
			if !there || at+int64(i) < from || v != v && want[channel.PointSmooth] != want[channel.PointSmooth] {
				continue
			}
			if compared++; float32(v) != want[channel.PointSmooth] {
				t.Fatalf("Review shows %v at %d, live it was %v", v, at+int64(i), want[channel.PointSmooth])
			}
		}
	})
	if err != nil || compared < 500 {
		t.Errorf("%d points of Review's trace compared, %v", compared, err)
	}
}

// comparison holds what is computed against what was live.
type comparison struct {
	t       *testing.T
	l       *live
	base    int64          // live index of the recording's point 0
	from    []int64        // of each channel, live index from where the law holds; −1: not yet
	events  map[int64]bool // where something happened: a reading was told before or after
	beats   [][]beat.Beat
	seen    []int
	end     []int64 // sample of the recording taken last
	fails   int
	reading int
	meters  int
}

func (c *comparison) fail(format string, args ...any) {
	if c.fails++; c.fails < 8 {
		c.t.Errorf(format, args...)
	}
}

func (c *comparison) take(k int, e *channel.Engine, out *channel.Output, end int64) {
	over := end == c.end[k] // what follows the end, its last beats
	c.end[k] = end
	if c.from[k] < 0 && len(out.Breaks) > 0 && out.First > 0 {
		c.from[k] = out.First + int64(out.Len()) + c.base
	}
	for _, b := range out.Beats {
		b.Sample += c.base
		b.Foot += c.base
		c.beats[k] = append(c.beats[k], b)
	}
	if c.from[k] < 0 || over {
		return
	}
	for i := range out.Len() {
		at := out.First + int64(i) + c.base
		want, there := c.l.points[k][at]
		for p := range want {
			got := float32(out.Series[p][i])
			none := got != got
			if there && (math.Float32bits(got) == math.Float32bits(want[p]) || none && want[p] != want[p]) || !there && none || at < c.from[k] {
				continue
			}
			c.fail("channel %d, point %d at %d is %v, live %v (%v)", k, p, at, got, want[p], there)
		}
		if there {
			c.seen[k]++
		}
	}
	at := e.Point() + c.base
	if list := c.l.readings[k][at]; len(list) > 0 && !c.events[at] {
		c.reading++
		if r := e.Reading(); !slices.Contains(list, r) {
			c.fail("channel %d at %d: reading %+v, live %+v", k, at, r, list)
		}
	}
	if list := c.l.meters[k][at]; len(list) > 0 {
		c.meters++
		r, ok := e.Report()
		if text := asJSON(r); !ok || !slices.ContainsFunc(list, func(w meter.Report) bool { return asJSON(w) == text }) {
			c.fail("channel %d at %d: meters %s, live %s", k, at, text, asJSON(list[0]))
		}
	}
}

func asJSON(v any) string {
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Sprint(err)
	}
	return string(data)
}

func (c *comparison) finish(tr trial) {
	c.t.Helper()
	late := func(k int, list []beat.Beat) []beat.Beat {
		return slices.DeleteFunc(slices.Clone(list), func(b beat.Beat) bool { return b.Sample < c.from[k] || b.Foot < c.from[k] })
	}
	beats := 0
	for k := range c.beats {
		got, want := late(k, c.beats[k]), late(k, c.l.beats[k])
		beats += len(want)
		if len(got) != len(want) {
			c.fail("channel %d: %d beats, live %d", k, len(got), len(want))
			continue
		}
		for i := range got {
			if got[i] != want[i] {
				c.fail("channel %d: beat %+v, live %+v", k, got[i], want[i])
			}
		}
		least := int(tr.rateHz) / channel.Decimation(tr.rateHz) * lawSeconds / 2
		if tr.late {
			least /= 4
		}
		if c.seen[k] < least {
			c.fail("channel %d: %d points were live, too few", k, c.seen[k])
		}
	}
	least := tr.beats
	if least == 0 {
		least = 10
	}
	if beats < least || c.reading < 20 || c.meters < 10 {
		c.fail("compared: %d beats, %d readings, %d meters: too few to say anything", beats, c.reading, c.meters)
	}
}
