package library

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/signalpath"
	"pulsewright/server/library/overview"
)

// wave is a count that a test can compute anywhere.
func wave(i int64) int32 { return int32(i*i%4001) - 2000 + int32(i%97) }

// day writes n samples of two channels; samples 5000 to 7999 are missing.
func day(t testing.TB, folder string, n int64, rate float64) string {
	t.Helper()
	path := filepath.Join(folder, "day.edf")
	two := acquire.Channel{Label: "a", Kind: acquire.KindPulse, Unit: "V", VoltsPerCount: 0.001, MinCount: -4000, MaxCount: 4000}
	other := two
	other.Label = "b"
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{ClaimedRateHz: rate, Channels: []acquire.Channel{two, other}}, NoSync: true})
	if err != nil {
		t.Fatal(err)
	}
	const block = 1 << 14
	counts := [][]int32{make([]int32, block), make([]int32, block)}
	for at := int64(0); at < n; at += block {
		k := min(block, n-at)
		for i := range k {
			v := wave(at + i)
			if at+i >= 5000 && at+i < 8000 {
				v = acquire.MissingCount
			}
			counts[0][i], counts[1][i] = v, -v
			if v == acquire.MissingCount {
				counts[1][i] = v
			}
		}
		if err := w.Write([][]int32{counts[0][:k], counts[1][:k]}, at); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return "day.edf"
}

func ready(t testing.TB, r *review) {
	t.Helper()
	select {
	case <-r.ended:
	case <-time.After(60 * time.Second):
		t.Fatal("the pyramid was not built")
	}
}

func TestViewsShowEveryExtreme(t *testing.T) {
	store := NewStore(t.TempDir())
	const n = 1_000_000
	id := day(t, store.Folder(), n, 1000)
	for _, pass := range []string{"built", "loaded"} {
		rs := NewReviews(store)
		r, err := rs.get(id)
		if err != nil {
			t.Fatal(err)
		}
		ready(t, r)
		for _, c := range []struct{ from, to, columns int64 }{{0, n, 500}, {0, n, 3}, {1234, 987_654, 777}, {4000, 9000, 100}, {100, 200, 100}, {100, 200, 4000}, {n - 50, n + 1000, 10}} {
			v, err := r.view(c.from, c.to, int(c.columns), nil)
			if err != nil {
				t.Fatal(err)
			}
			columns := int64(len(v.Low[0]))
			low, high := math.Inf(1), math.Inf(-1)
			for i := range columns {
				if l, h := float64(v.Low[0][i]), float64(v.High[0][i]); !math.IsNaN(l) {
					low, high = min(low, l), max(high, h)
				}
				// Whatever the level, a column covers all samples that belong to it.
				for s := v.From + (v.To-v.From)*i/columns; s < v.From+(v.To-v.From)*(i+1)/columns; s++ {
					y := float32(float64(wave(s)) * 0.001)
					if s >= 5000 && s < 8000 {
						continue
					}
					if !(v.Low[0][i] <= y+1e-6 && v.High[0][i] >= y-1e-6) {
						t.Fatalf("%s, view %v: column %d spans %g to %g and leaves out sample %d, %g", pass, c, i, v.Low[0][i], v.High[0][i], s, y)
					}
				}
			}
			if !v.Exact || low < -2.1 || high > 2.2 || v.High[1][0] != -v.Low[0][0] {
				t.Errorf("%s, view %v: exact %v, from %g to %g", pass, c, v.Exact, low, high)
			}
		}
		v, err := r.view(5200, 7800, 50, nil)
		if err != nil {
			t.Fatal(err)
		}
		for i, y := range v.Low[0] {
			if !math.IsNaN(float64(y)) {
				t.Fatalf("%s: column %d of the missing stretch shows %g", pass, i, y)
			}
		}
		rs.Close()
	}
	if _, err := os.Stat(overview.Path(store.Folder(), id)); err != nil {
		t.Error("the pyramid was not kept:", err)
	}
}

func TestFilteredViewIsThePathItself(t *testing.T) {
	store := NewStore(t.TempDir())
	id := day(t, store.Folder(), 100_000, 250)
	rs := NewReviews(store)
	defer rs.Close()
	r, err := rs.get(id)
	if err != nil {
		t.Fatal(err)
	}
	settings := signalpath.Settings{Hum: signalpath.Hum{Mode: "off"}, Smooth: signalpath.Smooth{Shape: "butterworth", CutoffHz: 10, Order: 2}}
	v, err := r.view(20_000, 21_000, 1000, []*signalpath.Settings{&settings, nil})
	if err != nil {
		t.Fatal(err)
	}
	p, err := signalpath.New(settings, 250)
	if err != nil {
		t.Fatal(err)
	}
	x := make([]float64, 13_000)
	for i := range x {
		x[i] = float64(wave(8000+int64(i))) * 0.001
	}
	var out [signalpath.Points][]float64
	for i := range out {
		out[i] = make([]float64, len(x))
	}
	p.Process(&out, x)
	for i := range 1000 {
		want := out[signalpath.PointSmooth][12_000+i]
		if math.Abs(float64(v.Low[0][i])-want) > 1e-5 || v.Low[0][i] != v.High[0][i] {
			t.Fatalf("column %d shows %g to %g, the path gives %g", i, v.Low[0][i], v.High[0][i], want)
		}
	}
}

func TestStaleOrBrokenViewIsBuiltAnew(t *testing.T) {
	store := NewStore(t.TempDir())
	id := day(t, store.Folder(), 300_000, 1000)
	rs := NewReviews(store)
	r, err := rs.get(id)
	if err != nil {
		t.Fatal(err)
	}
	ready(t, r)
	rs.Close()
	data, err := os.ReadFile(overview.Path(store.Folder(), id))
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(data) {
		if cut > 60 && cut%997 != 0 {
			continue
		}
		if err := os.WriteFile(overview.Path(store.Folder(), id), data[:cut], 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := overview.Load(store.Folder(), id); err == nil {
			t.Fatalf("a view file cut at byte %d of %d was taken for whole", cut, len(data))
		}
	}
	if err := os.WriteFile(overview.Path(store.Folder(), id), data, 0o600); err != nil {
		t.Fatal(err)
	}
	later := time.Now().Add(time.Hour)
	if err := os.Chtimes(filepath.Join(store.Folder(), id), later, later); err != nil {
		t.Fatal(err)
	}
	if _, err := overview.Load(store.Folder(), id); err == nil {
		t.Error("a view of an older file was taken")
	}
}

// BenchmarkDay opens and pans a 24-hour file of two channels at 1 kHz.
//
//	go test -run - -bench Day -benchtime 200x ./server/library
func BenchmarkDay(b *testing.B) {
	store := NewStore(b.TempDir())
	const n = 24 * 3600 * 1000
	id := day(b, store.Folder(), n, 1000)
	rs := NewReviews(store)
	begun := time.Now()
	r, err := rs.get(id)
	if err != nil {
		b.Fatal(err)
	}
	if _, err := r.view(0, n, 1600, nil); err != nil {
		b.Fatal(err)
	}
	b.Logf("first open, before the pyramid: %v", time.Since(begun))
	<-r.ended
	b.Logf("pyramid built in %v", time.Since(begun))
	rs.Close()
	rs = NewReviews(store)
	defer rs.Close()
	begun = time.Now()
	if r, err = rs.get(id); err != nil {
		b.Fatal(err)
	}
	if _, err := r.view(0, n, 1600, nil); err != nil {
		b.Fatal(err)
	}
	b.Logf("second open: %v", time.Since(begun))
	for _, seconds := range []int64{10, 60, 600, 3600, 86400} {
		b.Run(fmt.Sprintf("pan%ds", seconds), func(b *testing.B) {
			span := seconds * 1000
			for i := range b.N {
				from := int64(i) * 7919 * 1000 % max(1, n-span)
				if _, err := r.view(from, from+span, 1600, nil); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
