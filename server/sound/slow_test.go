package sound

import (
	"context"
	"errors"
	"io"
	"math"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// tape gives blocks of a function of the sample index; gaps lie before some.
type tape struct {
	rateHz float64
	size   int
	blocks int
	value  func(i int64) float64 // counts
	lost   map[int]int64         // by block
	jump   map[int]bool

	at   int
	next int64
	done chan struct{}
}

func (s *tape) Describe() acquire.Info {
	return acquire.Info{Address: "sound:test", Name: "tape", ClaimedRateHz: s.rateHz,
		Channels: []acquire.Channel{{Label: "left", MinCount: -32768, MaxCount: 32767, Unit: "V", VoltsPerCount: 1.0 / 32768}}}
}

func (s *tape) Read(ctx context.Context) (acquire.Block, error) {
	if ctx.Err() != nil {
		return acquire.Block{}, ctx.Err()
	}
	select {
	case <-s.done:
		return acquire.Block{}, io.EOF
	default:
	}
	if s.at == s.blocks {
		return acquire.Block{}, io.EOF
	}
	b := acquire.Block{Lost: s.lost[s.at], Jump: s.jump[s.at], Arrived: time.Now(), Counts: [][]int32{make([]int32, s.size)}}
	b.First = s.next + b.Lost
	for i := range b.Counts[0] {
		b.Counts[0][i] = int32(math.Round(math.Min(32767, math.Max(-32768, s.value(b.First+int64(i))))))
	}
	s.next = b.First + int64(s.size)
	s.at++
	return b, nil
}

func (s *tape) Close() error {
	if s.done != nil {
		select {
		case <-s.done:
		default:
			close(s.done)
		}
	}
	return nil
}

func wrap(t *testing.T, s acquire.Source, full bool) *Source {
	t.Helper()
	w, err := New(s, full)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func TestContract(t *testing.T) {
	for _, full := range []bool{false, true} {
		acquiretest.Source(t, func(t *testing.T) acquire.Source {
			s := wrap(t, &tape{rateHz: 48000, size: 480, blocks: 300, value: func(i int64) float64 { return float64(i % 1000) },
				lost: map[int]int64{20: 7, 50: 4000, 90: 1}, jump: map[int]bool{70: true}}, full)
			return s
		})
	}
}

// TestSlowKeepsPlacesAndLevels: a 7 Hz sine at 44.1 kHz, with gaps of all sorts,
// stands at 1002.27 Hz where and as it should.
func TestSlowKeepsPlacesAndLevels(t *testing.T) {
	const rateHz, hz = 44100.0, 7.0
	src := &tape{rateHz: rateHz, size: 441, blocks: 400, value: func(i int64) float64 { return 20000.4 * math.Sin(2*math.Pi*hz*float64(i)/rateHz) },
		lost: map[int]int64{100: 1, 200: 12345, 300: 43}, jump: map[int]bool{250: true}}
	s := acquiretest.Check(t, wrap(t, src, false))
	info := s.Describe()
	if info.ClaimedRateHz != 44100.0/44 || info.Channels[0].MaxCount != 32767*256 || info.Channels[0].VoltsPerCount != 1.0/32768/256 {
		t.Fatalf("described as %+v", info)
	}
	n, gaps, jumps, worst := 0, 0, 0, 0.0
	for {
		b, err := s.Read(context.Background())
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if b.Lost > 0 {
			gaps++
		}
		if b.Jump {
			jumps++
		}
		for i, c := range b.Counts[0] {
			at := b.First + int64(i)
			n++
			want := 20000.4 * 256 * math.Sin(2*math.Pi*hz*float64(at)*44/rateHz)
			if settled(at, src) {
				worst = math.Max(worst, math.Abs(float64(c)-want))
			}
		}
	}
	// 0.001 dB of ripple is 1.2e-4.
	if worst > 1.3e-4*20000*256 || n < 3500 || gaps != 4 || jumps != 1 {
		t.Errorf("worst error %.1f of %d counts over %d outputs, %d gaps (4 wanted: a jump leaves out its 28, too), %d jumps", worst, 20000*256, n, gaps, jumps)
	}
}

// settled tells that output at lies at least 60 outputs after a start, a gap or a jump.
func settled(at int64, s *tape) bool {
	next := int64(0)
	edges := []int64{0}
	for i := range s.blocks {
		next += s.lost[i]
		if s.lost[i] > 0 || s.jump[i] {
			edges = append(edges, next)
		}
		next += int64(s.size)
	}
	for _, e := range edges {
		if d := at - e/44; d >= -30 && d < 60 {
			return false
		}
	}
	return true
}

func TestClippingIsSeenThoughDecimated(t *testing.T) {
	// 0.4 ms at an end of the range: gone after decimation, still said.
	for _, end := range []float64{40000, -40000} {
		src := &tape{rateHz: 48000, size: 480, blocks: 60, value: func(i int64) float64 {
			if i > 9600 && i < 9620 {
				return end
			}
			return 100 * math.Sin(float64(i)/500)
		}}
		s := wrap(t, src, false)
		said := 0
		for {
			b, err := s.Read(context.Background())
			if err != nil {
				break
			}
			if b.Clipped != nil && b.Clipped[0] {
				said++
			}
		}
		if said != 1 {
			t.Errorf("clipping at %g said in %d blocks, want 1", end, said)
		}
	}
}

func TestRecent(t *testing.T) {
	src := &tape{rateHz: 48000, size: 480, blocks: 500, value: func(i int64) float64 { return float64(i % 30000) }, lost: map[int]int64{400: 1}}
	s := wrap(t, src, false)
	if _, _, err := s.Recent(0, 1); !errors.Is(err, ErrShort) {
		t.Errorf("before the first sample: %v", err)
	}
	for range 300 {
		if _, err := s.Read(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
	for _, seconds := range []float64{0.013, 1, 2} {
		v, rate, err := s.Recent(0, seconds)
		if err != nil || rate != 48000 || len(v) != int(seconds*48000) {
			t.Fatalf("%g s: %d values at %g Hz, %v", seconds, len(v), rate, err)
		}
		for i, x := range v {
			if want := float64((src.next-int64(len(v)-i))%30000) / 32768; x != want {
				t.Fatalf("%g s: value %d is %g, want %g", seconds, i, x, want)
			}
		}
	}
	for range 120 {
		_, _ = s.Read(context.Background())
	}
	if _, _, err := s.Recent(0, 1); !errors.Is(err, ErrShort) {
		t.Errorf("just after a gap: %v, want ErrShort", err)
	}
	if _, _, err := s.Recent(1, 1); err == nil {
		t.Error("a channel that does not exist was given")
	}
}

func BenchmarkSlow48kStereo(b *testing.B) {
	src := &tape{rateHz: 48000, size: 480, blocks: math.MaxInt, value: func(i int64) float64 { return float64(i % 30000) }}
	s, err := New(src, false)
	if err != nil {
		b.Fatal(err)
	}
	block := acquire.Block{Counts: [][]int32{make([]int32, 480)}}
	for b.Loop() { // 10 ms of one channel
		s.remember(block)
		s.decimate(block)
		block.First += 480
	}
}
