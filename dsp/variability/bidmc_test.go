package variability

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire/acquiretest"
	"pulsewright/dsp/beat"
)

const bidmcHz = 125

// bidmcRecord is a record of the BIDMC PPG and Respiration Dataset 1.0.0 (Pimentel
// et al. 2017, doi:10.13026/C2208R): the signals used, and the monitor's own
// breathing rate by second, NaN where it has none.
type bidmcRecord struct {
	name       string
	ecg, pulse []float64
	resp       []float64
	breaths    []float64
}

func bidmc(t testing.TB, folder string) (list []bidmcRecord) {
	t.Helper()
	files, _ := filepath.Glob(filepath.Join(folder, "bidmc", "bidmc_*_Signals.csv.gz"))
	if len(files) < 18 {
		t.Fatalf("%d records of bidmc, want 18", len(files))
	}
	for _, file := range files {
		r := bidmcRecord{name: filepath.Base(file)[6:8]}
		packed, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		z, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(z).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		r.ecg, r.pulse, r.resp = column(rows, "II"), column(rows, "PLETH"), column(rows, "RESP")
		text, err := os.ReadFile(strings.TrimSuffix(file, "Signals.csv.gz") + "Numerics.csv")
		if err != nil {
			t.Fatal(err)
		}
		if rows, err = csv.NewReader(bytes.NewReader(text)).ReadAll(); err != nil {
			t.Fatal(err)
		}
		r.breaths = column(rows, "RESP")
		list = append(list, r)
	}
	return list
}

func column(rows [][]string, name string) (v []float64) {
	for i, title := range rows[0] {
		if strings.TrimSpace(title) != name {
			continue
		}
		for _, row := range rows[1:] {
			x, err := strconv.ParseFloat(strings.TrimSpace(row[i]), 64)
			if err != nil {
				x = math.NaN()
			}
			v = append(v, x)
		}
	}
	return v
}

// follow runs a monitor and a tracker over a signal and calls each after every second.
func follow(t testing.TB, kind beat.Kind, x []float64, each func(second int, tr *Tracker)) *Tracker {
	t.Helper()
	m, err := beat.NewMonitor(beat.MonitorConfig{Kind: kind, RateHz: bidmcHz, Low: math.NaN(), High: math.NaN()})
	if err != nil {
		t.Fatal(err)
	}
	tr, err := NewTracker(Config{Kind: kind, RateHz: bidmcHz})
	if err != nil {
		t.Fatal(err)
	}
	var list []beat.Beat
	for at := 0; at+bidmcHz <= len(x); at += bidmcHz {
		part := slices.Clone(x[at : at+bidmcHz])
		for i := range part {
			if math.IsNaN(part[i]) {
				part[i] = 0
			}
		}
		tr.Samples(int64(at), part)
		list = m.Process(list[:0], part)
		tr.Beats(list)
		if each != nil {
			each(at/bidmcHz+1, tr)
		}
	}
	return tr
}

// TestBreathingOfBIDMC compares the breathing rate with the monitor's own, which
// comes from the chest's impedance and is itself averaged and now and then wrong.
func TestBreathingOfBIDMC(t *testing.T) {
	folder := acquiretest.OpenData(t)
	type score struct {
		n, claimed, near int
		err              float64
	}
	for _, kind := range []beat.Kind{beat.ECG, beat.Pulse} {
		var table strings.Builder
		var all score
		for _, r := range bidmc(t, folder) {
			x := r.ecg
			if kind == beat.Pulse {
				x = r.pulse
			}
			var s score
			follow(t, kind, x, func(second int, tr *Tracker) {
				if second < breathSeconds || second >= len(r.breaths) || second%3 != 0 {
					return
				}
				// The estimate stands for the middle of its window.
				want := middleOf(r.breaths[max(0, second-breathSeconds) : second+1])
				if math.IsNaN(want) || want <= 0 {
					return
				}
				s.n++
				if b := tr.Breathing(); b.PerMinute != nil {
					s.claimed++
					e := math.Abs(*b.PerMinute - want)
					s.err += e
					if e <= 3 {
						s.near++
					}
				}
			})
			fmt.Fprintf(&table, "%s  %3.0f %% claimed  MAE %5.2f  within 3: %3.0f %%\n", r.name, share(s.claimed, s.n), s.err/float64(s.claimed), share(s.near, s.claimed))
			all.n, all.claimed, all.near, all.err = all.n+s.n, all.claimed+s.claimed, all.near+s.near, all.err+s.err
		}
		mae := all.err / float64(all.claimed)
		t.Logf("%s\n%sall: %.1f %% of %d s claimed, MAE %.2f per minute, within 3: %.1f %%", kind, table.String(), share(all.claimed, all.n), all.n, mae, share(all.near, all.claimed))
	}
}

func middleOf(v []float64) float64 {
	var w []float64
	for _, x := range v {
		if !math.IsNaN(x) && x > 0 {
			w = append(w, x)
		}
	}
	if 2*len(w) < len(v) {
		return math.NaN()
	}
	return median(w)
}

func share(a, b int) float64 { return 100 * float64(a) / float64(b) }
