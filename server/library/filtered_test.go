package library

import (
	"math"
	"testing"
	"time"

	"pulsewright/dsp/signalpath"
)

// TestWholeRecordingFiltered: a view of everything through a path shows, once it is
// worked out, the extremes that the path itself gives, in the channel that has one;
// the other stays as recorded.
func TestWholeRecordingFiltered(t *testing.T) {
	store := NewStore(t.TempDir())
	const n, columns = directSamples + 300_000, 500
	id := day(t, store.Folder(), n, 250)
	rs := NewReviews(store)
	defer rs.Close()
	r, err := rs.get(id)
	if err != nil {
		t.Fatal(err)
	}
	ready(t, r)
	settings := signalpath.Settings{Hum: signalpath.Hum{Mode: "off"}, Smooth: signalpath.Smooth{Shape: "butterworth", CutoffHz: 10, Order: 2}}
	paths := []*signalpath.Settings{&settings, nil}
	var v View
	for deadline := time.Now().Add(time.Minute); ; time.Sleep(20 * time.Millisecond) {
		if v, err = r.view(0, n, columns, paths); err != nil {
			t.Fatal(err)
		}
		if v.Exact {
			break
		}
		if !math.IsNaN(float64(v.Low[0][10])) || math.IsNaN(float64(v.Low[1][10])) {
			t.Fatalf("while it is worked out channel 0 shows %g, channel 1 %g", v.Low[0][10], v.Low[1][10])
		}
		if time.Now().After(deadline) {
			t.Fatal("it is not worked out in a minute")
		}
	}
	p, err := signalpath.New(settings, 250)
	if err != nil {
		t.Fatal(err)
	}
	// From behind the missing stretch, where the path begins anew, in one piece.
	const start = 8000
	x := make([]float64, n-start)
	for i := range x {
		x[i] = float64(wave(start+int64(i))) * 0.001
	}
	var out [signalpath.Points][]float64
	for i := range out {
		out[i] = make([]float64, len(x))
	}
	p.Process(&out, x)
	smooth := out[signalpath.PointSmooth]
	for i := 10; i < columns; i++ {
		from, to := int64(n)*int64(i)/columns, int64(n)*int64(i+1)/columns
		// The pyramid's entries of 256 samples may reach over a column's ends.
		inner, outer := [2]float64{math.Inf(1), math.Inf(-1)}, [2]float64{math.Inf(1), math.Inf(-1)}
		for s := max(start, from-256); s < min(n, to+256); s++ {
			y := smooth[s-start]
			outer[0], outer[1] = min(outer[0], y), max(outer[1], y)
			if s >= from && s < to {
				inner[0], inner[1] = min(inner[0], y), max(inner[1], y)
			}
		}
		const step = 0.001 / filteredSteps
		low, high := float64(v.Low[0][i]), float64(v.High[0][i])
		if low > inner[0]+step || high < inner[1]-step || low < outer[0]-step || high > outer[1]+step {
			t.Fatalf("column %d shows %g to %g, the path gives %v", i, low, high, inner)
		}
	}
	whole, err := r.view(0, n, columns, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i := range columns {
		a, b := whole.Low[1][i], v.Low[1][i]
		if a != b && !(a != a && b != b) {
			t.Fatalf("channel 1 has no path, column %d shows %g, recorded is %g", i, b, a)
		}
	}
}

// TestParsePaths reads one path for all and one for each channel.
func TestParsePaths(t *testing.T) {
	one := `{"drift":{"on":true,"cutoffHz":0.3,"order":1}}`
	for text, want := range map[string][]bool{one: {true, true}, "[null," + one + "]": {false, true}, "[" + one + "]": {true, false}, "": nil, "[null,null]": nil, "[]": nil} {
		paths, err := parsePaths(text, 2)
		if err != nil {
			t.Errorf("%s: %v", text, err)
			continue
		}
		if len(paths) != len(want) {
			t.Errorf("%s gives %d paths, want %d", text, len(paths), len(want))
			continue
		}
		for i, w := range want {
			if (paths[i] != nil) != w {
				t.Errorf("%s: channel %d has a path: %v, want %v", text, i, paths[i] != nil, w)
			}
		}
	}
	for _, text := range []string{"{", "[1]", "[" + one + "," + one + "," + one + "]", "7"} {
		if _, err := parsePaths(text, 2); err == nil {
			t.Errorf("%s is taken", text)
		}
	}
}
