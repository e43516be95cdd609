package soundcard

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// pageFrame writes a frame by the table in server/API.md.
func pageFrame(sequence uint32, first int64, rateHz float64, channels ...[]float32) []byte {
	b := []byte{'P', 'A', 1, byte(len(channels))}
	b = binary.LittleEndian.AppendUint32(b, sequence)
	b = binary.LittleEndian.AppendUint64(b, uint64(first))
	b = binary.LittleEndian.AppendUint64(b, math.Float64bits(rateHz))
	b = binary.LittleEndian.AppendUint32(b, uint32(len(channels[0])))
	b = append(b, 0, 0, 0, 0)
	for _, c := range channels {
		for _, v := range c {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(v))
		}
	}
	return b
}

func attach(t *testing.T, b *Browser, h Hello) *Feed {
	t.Helper()
	f, err := b.Attach(h)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func openPage(t *testing.T, b *Browser, address string) acquire.Source {
	t.Helper()
	a, err := acquire.ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	s, err := b.Open(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var mono = Hello{Device: "lamp clip", RateHz: 48000, Channels: 1}

func TestBrowserContract(t *testing.T) {
	b := NewBrowser()
	acquiretest.Source(t, func(t *testing.T) acquire.Source {
		f := attach(t, b, mono)
		ctx, cancel := context.WithCancel(context.Background())
		t.Cleanup(cancel)
		go func() {
			for i := uint32(0); ctx.Err() == nil; i++ {
				if f.Push(pageFrame(i, int64(i)*480, 48000, make([]float32, 480)), time.Now()) != nil {
					return
				}
				time.Sleep(2 * time.Millisecond)
			}
		}()
		return openPage(t, b, "sound:browser")
	})
}

// TestBrowserCounts: every 16-bit step comes back as itself, by both ways in which
// browsers make a float32 of it (k/32768; k/32767 above zero, as Chromium's
// media/base/audio_sample_types.h does), and so does every 24-bit step.
func TestBrowserCounts(t *testing.T) {
	for name, c := range map[string]struct {
		float func(k int) float32
		low   int
		high  int
		step  int
		times int32
	}{
		"16 bits":         {func(k int) float32 { return float32(k) / 32768 }, -32768, 32767, 1, 256},
		"16 bits, uneven": {func(k int) float32 { return float32(float64(k) / map[bool]float64{true: 32767, false: 32768}[k > 0]) }, -32768, 32767, 1, 256},
		"uneven, by 1/x": {func(k int) float32 {
			return float32(k) * map[bool]float32{true: 1.0 / 32767, false: 1.0 / 32768}[k > 0]
		}, -32768, 32767, 1, 256},
		"24 bits":          {func(k int) float32 { return float32(k) / (1 << 23) }, -1 << 23, 1<<23 - 1, 997, 1},
		"24 bits, the top": {func(k int) float32 { return float32(k) / (1 << 23) }, 1<<23 - 2000, 1<<23 - 1, 1, 1},
	} {
		f := &Feed{}
		if c.times == 1 {
			f.count(3.0 / (1 << 23)) // shows that the converter is finer
		}
		for k := c.low; k <= c.high; k += c.step {
			if got := f.count(float64(c.float(k))); got != int32(k)*c.times {
				t.Errorf("%s: %d came back as %d, want %d", name, k, got, int32(k)*c.times)
				break
			}
		}
		if f.fine != (c.times == 1) {
			t.Errorf("%s: taken for finer than 16 bits: %v", name, f.fine)
		}
	}
	f := &Feed{}
	if f.count(math.NaN()) != acquire.MissingCount || f.count(7) != 1<<23-1 || f.count(math.Inf(-1)) != -1<<23 {
		t.Error("NaN is no missing sample, or what exceeds full scale is not held at its end")
	}
}

func TestBrowserGapsAreMarked(t *testing.T) {
	b := NewBrowser()
	f := attach(t, b, Hello{Device: "a  b?c", RateHz: 8000, Channels: 2, Processing: []string{"autoGainControl"}})
	s := openPage(t, b, "sound:browser?side=right&kind=pulse")
	defer s.Close()
	if i := s.Describe(); i.Address != "sound:browser/a b c?kind=pulse&side=right" || i.Device != "a b c" || i.ClaimedRateHz != 8000 || i.Channels[0].MaxCount != 1<<23-1 {
		t.Errorf("described as %+v", i)
	}
	left, right := []float32{0, 0}, []float32{0.5, -0.5}
	for _, frame := range [][]byte{pageFrame(0, 1000, 8000, left, right), pageFrame(3, 1010, 8000, left, right)} {
		if err := f.Push(frame, time.Now()); err != nil {
			t.Fatal(err)
		}
	}
	one, err1 := s.Read(context.Background())
	two, err2 := s.Read(context.Background())
	if err1 != nil || err2 != nil || one.First != 0 || one.Lost != 0 || one.Counts[0][0] != 1<<22 || two.First != 10 || two.Lost != 8 || two.Counts[0][1] != -1<<22 {
		t.Errorf("blocks %+v (%v), %+v (%v); want 0.5 at 0 and, after 8 lost samples, at 10", one, err1, two, err2)
	}
	if len(one.Text) != 1 || !strings.Contains(one.Text[0], "autoGainControl") {
		t.Errorf("that the gain control is on is not said: %q", one.Text)
	}
	if h := s.(acquire.HealthReporter).Health(); h.LostSamples != 8 {
		t.Errorf("%d samples lost, want 8", h.LostSamples)
	}
	f.End("the audio input was unplugged")
	if _, err := s.Read(context.Background()); !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "the audio input was unplugged") {
		t.Errorf("after the end: %v", err)
	}
}

// TestSilencePutInIsMissing: what a busy browser puts in is no signal.
func TestSilencePutInIsMissing(t *testing.T) {
	const n = 8000
	loud := make([]float32, n)
	for i := range loud {
		loud[i] = float32(math.Round(8000*math.Sin(float64(i)/40))+0.25) / 32768 // never zero
	}
	for name, c := range map[string]struct{ from, to, lowest, highest int }{
		"two blocks of the audio thread": {1280, 1536, 256, 256},
		"across frames":                  {1250, 2000, 750 - 30, 750},
		"too short to tell":              {1280, 1320, 0, 0},
		"a muted input":                  {1280, n, 4000, 4000},
	} {
		x := append([]float32(nil), loud...)
		clear(x[c.from:c.to])
		f := attach(t, NewBrowser(), Hello{Device: "x", RateHz: 8000, Channels: 1})
		missing, wrong := 0, 0
		for i := 0; i < n; i += 80 {
			if err := f.Push(pageFrame(uint32(i/80), int64(i), 8000, x[i:i+80]), time.Now()); err != nil {
				t.Fatal(err)
			}
			for k, v := range (<-f.queue).counts[0] {
				if v == acquire.MissingCount {
					missing++
					if i+k < c.from || i+k >= c.to {
						wrong++
					}
				}
			}
		}
		if missing < c.lowest || missing > c.highest || wrong > 0 || f.lost != int64(missing) {
			t.Errorf("%s: %d samples missing (%d counted lost), %d of the signal's own; want %d to %d and 0", name, missing, f.lost, wrong, c.lowest, c.highest)
		}
	}
	// A pulse that decays into a quiet input's zeros is a signal.
	f := attach(t, NewBrowser(), Hello{Device: "x", RateHz: 8000, Channels: 1})
	quiet := make([]float32, 2000)
	for i := range quiet {
		quiet[i] = float32(math.Round(8000*math.Exp(-float64(i)/100))) / 32768
	}
	if err := f.Push(pageFrame(0, 0, 8000, quiet), time.Now()); err != nil || f.lost != 0 {
		t.Errorf("a decay into silence: %d samples taken for lost, %v", f.lost, err)
	}
}

func TestBrowserRefusesBadFrames(t *testing.T) {
	good := pageFrame(1, 480, 48000, make([]float32, 480))
	for name, change := range map[string]func(b []byte) []byte{
		"empty":         func([]byte) []byte { return nil },
		"magic":         func(b []byte) []byte { b[0] = 'Q'; return b },
		"version":       func(b []byte) []byte { b[2] = 2; return b },
		"channels":      func(b []byte) []byte { b[3] = 2; return b },
		"rate":          func(b []byte) []byte { binary.LittleEndian.PutUint64(b[16:], math.Float64bits(44100)); return b },
		"length":        func(b []byte) []byte { return b[:len(b)-4] },
		"no samples":    func(b []byte) []byte { b = b[:32]; binary.LittleEndian.PutUint32(b[24:], 0); return b },
		"huge length":   func(b []byte) []byte { binary.LittleEndian.PutUint32(b[24:], 1<<31); return b },
		"back in time":  func(b []byte) []byte { binary.LittleEndian.PutUint64(b[8:], 479); return b },
		"negative":      func(b []byte) []byte { binary.LittleEndian.PutUint64(b[8:], 1<<63); return b },
		"out of order":  func(b []byte) []byte { binary.LittleEndian.PutUint32(b[4:], 0xffffffff); return b },
		"never too far": func(b []byte) []byte { binary.LittleEndian.PutUint64(b[8:], 1<<60); return b },
	} {
		f := attach(t, NewBrowser(), mono)
		if err := f.Push(pageFrame(0, 0, 48000, make([]float32, 480)), time.Now()); err != nil {
			t.Fatal(err)
		}
		if err := f.Push(change(append([]byte(nil), good...)), time.Now()); !errors.Is(err, ErrFrame) {
			t.Errorf("%s: %v, want it refused", name, err)
		}
	}
	for _, h := range []Hello{{RateHz: 48000, Channels: 1}, {Device: "x", RateHz: 100, Channels: 1}, {Device: "x", RateHz: 48000, Channels: 3}, {Device: strings.Repeat("x", 300), RateHz: 48000, Channels: 1}, {Device: "x", RateHz: math.NaN(), Channels: 1}} {
		if _, err := NewBrowser().Attach(h); !errors.Is(err, ErrFrame) {
			t.Errorf("greeting %.60v: %v, want it refused", h, err)
		}
	}
}

func TestBrowserWithoutAPage(t *testing.T) {
	b := NewBrowser()
	attach(t, b, Hello{Device: "another", RateHz: 48000, Channels: 1})
	a, _ := acquire.ParseAddress("sound:browser/lamp clip")
	if _, err := b.Open(context.Background(), a); !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "open the page") {
		t.Errorf("%v, want an unplug with the remedy", err)
	}
	go func() { time.Sleep(100 * time.Millisecond); _, _ = b.Attach(mono) }()
	s, err := b.Open(context.Background(), a)
	if err != nil {
		t.Fatalf("a page that came while it was waited for: %v", err)
	}
	s.Close()
	older := openPage(t, b, "sound:browser/lamp clip")
	attach(t, b, mono)
	if _, err := older.Read(context.Background()); !errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "another page") {
		t.Errorf("after another page took over: %v", err)
	}
}

func FuzzBrowserFrame(f *testing.F) {
	f.Add(pageFrame(1, 480, 48000, make([]float32, 3)))
	f.Add([]byte("PA"))
	f.Fuzz(func(t *testing.T, data []byte) {
		feed, err := NewBrowser().Attach(mono)
		if err != nil {
			t.Fatal(err)
		}
		if err := feed.Push(data, time.Now()); err != nil && !errors.Is(err, ErrFrame) {
			t.Errorf("%v", err)
		}
	})
}
