package playback

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// tape is a recording in memory whose sample i of channel c is 10i+c.
type tape struct {
	rate   float64
	length int64
	cut    int64 // ReadAt fails from here on with broken; 0 never
	broken error
	notes  map[int64]string
	gaps   []acquire.Gap
	holes  bool          // nothing is in the gaps
	slow   chan struct{} // when set, ReadAt waits for it
	inside atomic.Int32
	closed atomic.Int32
}

func (r *tape) Describe() acquire.Info {
	return acquire.Info{Address: "file:tape", Name: "tape", ClaimedRateHz: r.rate,
		Channels: []acquire.Channel{{Label: "a"}, {Label: "b"}}}
}
func (r *tape) Len() int64 { return r.length }
func (r *tape) ReadAt(counts [][]int32, from int64) (int, error) {
	if r.inside.Add(1) != 1 {
		panic("ReadAt twice at once")
	}
	defer r.inside.Add(-1)
	if r.closed.Load() != 0 {
		panic("ReadAt after Close")
	}
	if r.slow != nil {
		<-r.slow
	}
	end := r.length
	if r.cut > 0 {
		end = r.cut
	}
	n := int(max(0, min(int64(len(counts[0])), end-from)))
	for c := range counts {
		for i := range n {
			counts[c][i] = int32(10*(from+int64(i)) + int64(c))
			for _, g := range r.gaps {
				if at := from + int64(i); r.holes && at >= g.From && at < g.To {
					counts[c][i] = acquire.MissingCount
				}
			}
		}
	}
	if n < len(counts[0]) {
		if r.cut > 0 {
			return n, r.broken
		}
		return n, io.EOF
	}
	return n, nil
}
func (r *tape) GapRuns() []acquire.Gap { return slices.Clone(r.gaps) }
func (r *tape) NotesBetween(from, to int64) (notes []acquire.Note) {
	for i := from; i < to; i++ {
		if n, ok := r.notes[i]; ok {
			notes = append(notes, acquire.Note{Sample: i, Text: n})
		}
	}
	return notes
}
func (r *tape) Close() error {
	if r.inside.Load() != 0 {
		panic("Close during ReadAt")
	}
	r.closed.Add(1)
	return nil
}

func open(t *testing.T, r *tape, c Config) (*Source, *acquiretest.Checked) {
	t.Helper()
	s, err := New(r, c)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s, acquiretest.Check(t, s)
}

func patience(t *testing.T) context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), 15*time.Second)
	t.Cleanup(cancel)
	return ctx
}

func TestContract(t *testing.T) {
	for name, c := range map[string]Config{"plain": {}, "fast": {Speed: 100}, "loop": {Speed: 100, Loop: true}, "hold": {Hold: true}} {
		t.Run(name, func(t *testing.T) {
			acquiretest.Source(t, func(t *testing.T) acquire.Source {
				s, err := New(&tape{rate: 1000, length: 50000}, c)
				if err != nil {
					t.Fatal(err)
				}
				return s
			})
		})
	}
}

// TestExact: at every speed each sample comes once, in order, and then io.EOF.
func TestExact(t *testing.T) {
	for _, speed := range []float64{1, 2.5, 37, 100} {
		for _, rate := range []float64{7, 250, 48000} {
			r := &tape{rate: rate, length: int64(rate*speed*0.2) + 3}
			_, c := open(t, r, Config{Speed: speed})
			counts, err := c.Samples(patience(t), int(r.length)+1)
			if err != io.EOF {
				t.Fatalf("speed %g, %g Hz: ended with %v", speed, rate, err)
			}
			for ch, list := range counts {
				if int64(len(list)) != r.length {
					t.Fatalf("speed %g, %g Hz: %d samples of %d", speed, rate, len(list), r.length)
				}
				for i, x := range list {
					if x != int32(10*i+ch) {
						t.Fatalf("speed %g, %g Hz: channel %d sample %d is %d", speed, rate, ch, i, x)
					}
				}
			}
		}
	}
}

// TestSeek: First goes on, the block is marked, the samples are those asked for.
func TestSeek(t *testing.T) {
	r := &tape{rate: 1000, length: 1 << 20, notes: map[int64]string{500000: "stairs"}}
	s, c := open(t, r, Config{Speed: 10})
	ctx := patience(t)
	if _, err := c.Samples(ctx, 300); err != nil {
		t.Fatal(err)
	}
	for _, seek := range []struct{ to, want int64 }{{500000, 500000}, {-7, 0}, {10, 10}} {
		s.SeekTo(seek.to)
		if s.Position() != seek.want {
			t.Errorf("position %d after SeekTo(%d)", s.Position(), seek.to)
		}
		b, err := c.Read(ctx)
		for err == nil && b.Len() == 0 {
			b, err = c.Read(ctx)
		}
		if err != nil {
			t.Fatal(err)
		}
		if !b.Jump || len(b.Text) == 0 || !strings.Contains(b.Text[0], "moved to") {
			t.Errorf("seek to %d: jump %t, text %q", seek.to, b.Jump, b.Text)
		}
		if got := int64(b.Counts[0][0]); got != 10*seek.want {
			t.Errorf("seek to %d: first count %d, want %d", seek.to, got, 10*seek.want)
		}
		if seek.to == 500000 && (!slices.Equal(b.Text, []string{"moved to 8:20.0"}) || !slices.Equal(b.Notes, []acquire.Note{{Sample: b.First, Text: "stairs"}})) {
			t.Errorf("text %q, notes %v", b.Text, b.Notes)
		}
		if b, err = c.Read(ctx); err != nil || b.Jump || b.Text != nil {
			t.Errorf("the block after: jump %t, text %q, error %v", b.Jump, b.Text, err)
		}
	}
	// Beyond the end is the end.
	s.SeekTo(1 << 40)
	if _, err := c.Samples(ctx, 1); err != io.EOF {
		t.Errorf("seek beyond the end: %v", err)
	}
}

func TestLoop(t *testing.T) {
	_, c := open(t, &tape{rate: 1000, length: 777}, Config{Speed: 20, Loop: true})
	jumps := 0
	var counts []int32
	for len(counts) < 3000 {
		b, err := c.Read(patience(t))
		if err != nil {
			t.Fatal(err)
		}
		if b.Jump {
			jumps++
			if int32(b.First)%777 != 0 || b.Counts[0][0] != 0 || len(b.Text) != 1 {
				t.Errorf("jump at %d with count %d, text %q", b.First, b.Counts[0][0], b.Text)
			}
		}
		if b.Len() > 0 {
			counts = append(counts, b.Counts[0]...)
		}
	}
	for i, x := range counts {
		if int(x) != 10*(i%777) {
			t.Fatalf("sample %d is %d", i, x)
		}
	}
	if want := (len(counts) - 1) / 777; jumps != want {
		t.Errorf("%d jumps marked in %d samples, want %d", jumps, len(counts), want)
	}
}

// TestPause: empty blocks at a standstill; nothing is lost or rushed through after it.
func TestPause(t *testing.T) {
	s, c := open(t, &tape{rate: 1000, length: 1 << 20}, Config{Speed: 10, Paused: true})
	ctx := patience(t)
	for range 2 {
		if b, err := c.Read(ctx); err != nil || b.Len() != 0 {
			t.Fatalf("at a standstill: %d samples, error %v", b.Len(), err)
		}
	}
	if s.Speed() != 0 || s.Position() != 0 {
		t.Errorf("speed %g, position %d", s.Speed(), s.Position())
	}
	s.SetSpeed(1)
	counts, err := c.Samples(ctx, 50)
	if err != nil {
		t.Fatal(err)
	}
	s.SetSpeed(0)
	c.Read(ctx)
	s.SetSpeed(3)
	more, err := c.Samples(ctx, 50)
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range append(counts[0], more[0]...) {
		if int(x) != 10*i {
			t.Fatalf("sample %d is %d", i, x)
		}
	}
	// A standstill is no end, even when the reader sits in Read.
	s.SetSpeed(0)
	go s.SetSpeed(100)
	if _, err := c.Samples(ctx, 1); err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ set, want float64 }{{-1, 0}, {0.02, 0.1}, {0.2, 0.2}, {1000, 100}, {12.5, 12.5}} {
		if s.SetSpeed(x.set); s.Speed() != x.want {
			t.Errorf("SetSpeed(%g): speed %g, want %g", x.set, s.Speed(), x.want)
		}
	}
}

// TestHold: at the end the source waits, says so once, and plays on after a seek.
func TestHold(t *testing.T) {
	s, c := open(t, &tape{rate: 1000, length: 100}, Config{Speed: 10, Hold: true})
	ctx := patience(t)
	for round := range 2 {
		if _, err := c.Samples(ctx, 100); err != nil {
			t.Fatal(err)
		}
		if b, err := c.Read(ctx); err != nil || b.Len() != 0 || len(b.Text) != 1 {
			t.Errorf("round %d: at the end %d samples, text %q, error %v", round, b.Len(), b.Text, err)
		}
		if b, err := c.Read(ctx); err != nil || b.Len() != 0 || b.Text != nil {
			t.Errorf("round %d: later %d samples, text %q, error %v", round, b.Len(), b.Text, err)
		}
		s.SeekTo(0)
	}
}

// TestBroken: what could be read comes first, then the error with the place.
func TestBroken(t *testing.T) {
	broken := errors.New("bad sector")
	for _, c := range []struct{ give, want error }{{broken, broken}, {io.EOF, io.ErrUnexpectedEOF}, {nil, io.ErrNoProgress}} {
		_, s := open(t, &tape{rate: 1000, length: 1000, cut: 333, broken: c.give}, Config{Speed: 100})
		counts, err := s.Samples(patience(t), 1000)
		if len(counts[0]) != 333 || !errors.Is(err, c.want) || errors.Is(err, io.EOF) || !strings.Contains(err.Error(), "sample 333 of 1000") {
			t.Errorf("%v: %d samples, then %v", c.give, len(counts[0]), err)
		}
	}
}

// TestCloseDuringReadAt: Close waits for the recording's reader; tape panics otherwise.
func TestCloseDuringReadAt(t *testing.T) {
	r := &tape{rate: 1000, length: 1000, slow: make(chan struct{})}
	s, _ := open(t, r, Config{Speed: 100})
	ended := make(chan error)
	go func() {
		for {
			if _, err := s.Read(context.Background()); err != nil {
				ended <- err
				return
			}
		}
	}()
	for r.inside.Load() == 0 {
		time.Sleep(time.Millisecond)
	}
	closed := make(chan error)
	go func() { closed <- s.Close() }()
	time.Sleep(10 * time.Millisecond)
	close(r.slow)
	if err := <-closed; err != nil {
		t.Error(err)
	}
	if err := <-ended; err == nil || errors.Is(err, io.EOF) {
		t.Errorf("Read after Close: %v", err)
	}
	if err := s.Close(); err != nil || r.closed.Load() != 1 {
		t.Errorf("second Close: %v; the recording was closed %d times", err, r.closed.Load())
	}
}

// TestSeekDuringReadAt: the samples read before the seek are not delivered after it.
func TestSeekDuringReadAt(t *testing.T) {
	r := &tape{rate: 1000, length: 100000, slow: make(chan struct{})}
	s, c := open(t, r, Config{Speed: 100})
	go func() {
		for r.inside.Load() == 0 {
			time.Sleep(time.Millisecond)
		}
		s.SeekTo(50000)
		close(r.slow)
	}()
	counts, err := c.Samples(patience(t), 1)
	if err != nil || counts[0][0] != 500000 {
		t.Errorf("first count %v, error %v, want 500000", counts[0][0], err)
	}
}

func TestNewRefuses(t *testing.T) {
	for _, c := range []struct {
		tape *tape
		conf Config
		says string
	}{
		{&tape{rate: 250}, Config{}, "no samples"},
		{&tape{length: 9}, Config{}, "?rate=250"},
		{&tape{rate: -1, length: 9}, Config{}, "must be above 0"},
		{&tape{rate: 250, length: 9}, Config{Speed: 101}, "give 0.1 to 100 times"},
		{&tape{rate: 250, length: 9}, Config{Speed: 0.05}, "give 0.1 to 100 times"},
	} {
		_, err := New(c.tape, c.conf)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: got %v", c.says, err)
		}
		if c.tape.closed.Load() != 1 {
			t.Errorf("%q: the recording was left open", c.says)
		}
	}
	s, _ := open(t, &tape{length: 9}, Config{RateHz: 125, Address: "file:x.csv?rate=125", Name: "x.csv"})
	i := s.Describe()
	if i.ClaimedRateHz != 125 || !i.ExactClock || i.LengthSamples != 9 || i.Name != "x.csv" || i.Address != "file:x.csv?rate=125" {
		t.Errorf("described as %+v", i)
	}
}

func TestConfigFromAddress(t *testing.T) {
	parse := func(s string) (Config, error) {
		a, err := acquire.ParseAddress(s)
		if err != nil {
			t.Fatal(err)
		}
		return ConfigFromAddress(a, "channel")
	}
	c, err := parse("file:walk.edf?speed=10&loop=1&from=500&rate=200&channel=2")
	if want := (Config{Address: "file:walk.edf?channel=2&from=500&loop=1&rate=200&speed=10", Speed: 10, Loop: true, From: 500, RateHz: 200}); err != nil || c != want {
		t.Errorf("got %+v, %v; want %+v", c, err, want)
	}
	if c, err := parse("file:walk.edf?speed=0"); err != nil || !c.Paused {
		t.Errorf("speed=0: %+v, %v", c, err)
	}
	for _, bad := range []string{"speed=0.05", "speed=101", "speed=fast", "loop=maybe", "from=-1", "rate=0", "spede=2"} {
		var wrong *acquire.AddressError
		if _, err := parse("file:walk.edf?" + bad); !errors.As(err, &wrong) {
			t.Errorf("%s: %v", bad, err)
		}
	}
}

// TestLateReaderFindsItWaiting: who comes back after three seconds gets the samples of
// now on, none sooner than they are over, instead of three seconds at once; a delay of
// half a second is caught up with.
func TestLateReaderFindsItWaiting(t *testing.T) {
	for late, want := range map[time.Duration]int{3 * time.Second: 0, 500 * time.Millisecond: 4 * 16} {
		s, _ := open(t, &tape{rate: 1000, length: 100_000}, Config{})
		now := time.Date(2026, 3, 1, 19, 0, 0, 0, time.UTC)
		if d := s.plan(now); d.n != 0 || d.wait != 16*time.Millisecond { // a sixtieth of a second, whole samples
			t.Fatalf("at first %d samples, wait %v", d.n, d.wait)
		}
		now = now.Add(16 * time.Millisecond)
		if n := s.plan(now).n; n != 16 {
			t.Fatalf("after 16 ms %d samples", n)
		}
		s.position += 16
		if n := s.plan(now.Add(late)).n; n != want {
			t.Errorf("%v late: %d samples at once, want %d", late, n, want)
		}
	}
}

func Example_clockTime() {
	fmt.Println(clockTime(0), clockTime(59.96), clockTime(3725.4))
	// Output: 0:00.0 1:00.0 1:02:05.4
}

// TestASlowRecordingKeepsNobodyWaiting: while the next sample is an hour away nothing has arrived,
// which Read says again and again.
func TestASlowRecordingKeepsNobodyWaiting(t *testing.T) {
	_, s := open(t, &tape{rate: 1.0 / 3600, length: 10}, Config{Speed: 1})
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	for empty := 0; empty < 3; {
		b, err := s.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if b.Len() == 0 {
			empty++
		}
	}
}

// TestSkipGaps: a long gap passes at once, told as a jump; a short one, and all when that is not chosen, are played.
func TestSkipGaps(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	for _, skip := range []bool{true, false} {
		r := &tape{rate: 1000, length: 9000, gaps: []acquire.Gap{{From: 0, To: 1500}, {From: 2000, To: 2500}, {From: 3000, To: 6000}, {From: 8000, To: 9000}}}
		s, c := open(t, r, Config{Speed: 100})
		if s.Gaps() != 3 {
			t.Errorf("%d gaps can be skipped, want 3", s.Gaps())
		}
		s.SetSkipGaps(skip)
		var got []int64
		jumps := 0
		for {
			b, err := c.Read(ctx)
			if err != nil {
				if err != io.EOF {
					t.Fatal(err)
				}
				break
			}
			if b.Jump {
				jumps++
				if len(b.Text) != 1 || !strings.Contains(b.Text[0], "skipped") {
					t.Errorf("a jump says %q", b.Text)
				}
			}
			if b.Len() > 0 {
				for _, x := range b.Counts[0] {
					got = append(got, int64(x)/10)
				}
			}
		}
		var want []int64
		for i := range r.length {
			if !skip || i >= 1500 && i < 3000 || i >= 6000 && i < 8000 {
				want = append(want, i)
			}
		}
		if !slices.Equal(got, want) || skip && jumps != 2 || !skip && jumps != 0 {
			t.Errorf("skip %v: %d samples, want %d; %d jumps", skip, len(got), len(want), jumps)
		}
	}
}

// TestGapsAreTold: a gap takes its time, in which empty blocks tell how far it reaches, and is told once with the first sample after
// it, with its reason; its notes come with that. One at the end, after which nothing could tell it, comes as missing counts.
func TestGapsAreTold(t *testing.T) {
	ctx := patience(t)
	r := &tape{rate: 1000, length: 9000, holes: true, notes: map[int64]string{4000: "in the gap"},
		gaps: []acquire.Gap{{From: 0, To: 1500}, {From: 2000, To: 2015}, {From: 3000, To: 6000, Reason: "unplugged"}, {From: 8000, To: 9000}}}
	s, c := open(t, r, Config{Speed: 20})
	var told []string
	next, reached := int64(0), int64(0)
	for {
		b, err := c.Read(ctx)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if b.Len() == 0 {
			if b.First < next || b.First > s.Position() {
				t.Fatalf("an empty block at %d after %d, the recording at %d", b.First, next, s.Position())
			}
			reached = max(reached, b.First-next)
			continue
		}
		if b.Lost > 0 {
			told = append(told, fmt.Sprintf("%d+%d %s %v", b.First-b.Lost, b.Lost, b.LostWhy, b.Notes))
		}
		for i, x := range b.Counts[0] {
			if at := b.First + int64(i); int64(x) != 10*at && !(at >= 8000 && x == acquire.MissingCount) {
				t.Fatalf("sample %d is %d", at, x)
			}
		}
		next = b.First + int64(b.Len())
	}
	want := []string{"0+1500 a gap of the recording []", "2000+15 a gap of the recording []", "3000+3000 unplugged [{4000 in the gap}]"}
	if !slices.Equal(told, want) || next != 9000 || reached != 3000 {
		t.Errorf("told %q, want %q; ended at %d, a gap reached %d", told, want, next, reached)
	}
}

// TestSeekOutOfAGap: who moves on from within a gap is told of a jump and of no gap.
func TestSeekOutOfAGap(t *testing.T) {
	r := &tape{rate: 1000, length: 60_000, holes: true, gaps: []acquire.Gap{{From: 100, To: 50_000}}}
	s, c := open(t, r, Config{Speed: 10})
	for {
		b, err := c.Read(patience(t))
		if err != nil {
			t.Fatal(err)
		}
		if b.First > 500 && s.Position() < 50_000 {
			s.SeekTo(55_000)
		}
		if b.Jump {
			if b.First != 100 || b.Lost != 0 || b.Counts[0][0] != 550_000 {
				t.Errorf("after a seek out of a gap: block at %d, %d lost, count %d", b.First, b.Lost, b.Counts[0][0])
			}
			return
		}
	}
}

// TestSlowMotion: a tenth of the speed plays every sample in its order.
func TestSlowMotion(t *testing.T) {
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	s, c := open(t, &tape{rate: 1000, length: 30}, Config{Speed: 0.1})
	counts, err := c.Samples(ctx, 30)
	if err != nil || len(counts[0]) != 30 || s.Speed() != 0.1 {
		t.Fatalf("%d samples at %g: %v", len(counts[0]), s.Speed(), err)
	}
	for i, x := range counts[0] {
		if int(x) != 10*i {
			t.Fatalf("sample %d is %d", i, x)
		}
	}
}
