package beat

import (
	"encoding/binary"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"pulsewright/dsp/beat/internal/mitdata"
	"pulsewright/dsp/beat/score"
)

// situation is a signal with what is known of its rate.
type situation struct {
	group string // figures are given for each
	kind  Kind
	delay float64 // of a pulse after the R peak
	record
	// known tells whether a second counts; nil: all do. silent: there is no heart in it.
	known  func(second int) bool
	silent bool
	step   float64 // of the converter, 0 unknown
}

// has lists the names of a folder's files with an ending, without it; none when the
// folder is missing.
func has(t testing.TB, folder, ending string) []string {
	t.Helper()
	list, err := fs.Glob(openData(t, folder), "*"+ending)
	if err != nil {
		t.Fatal(err)
	}
	for i := range list {
		list[i] = strings.TrimSuffix(list[i], ending)
	}
	return list
}

// mitLead is one lead of a record of the MIT-BIH Arrhythmia Database (Moody and Mark
// 2001), counts of 5 µV.
func mitLead(t testing.TB, name string, lead int) record {
	t.Helper()
	data := openData(t, "mitdb")
	first, second, err := mitdata.Signal(data, name)
	if err != nil {
		t.Fatal(err)
	}
	ann, err := mitdata.Annotations(data, name)
	if err != nil {
		t.Fatal(err)
	}
	x := first
	if lead == 2 {
		x = second
	}
	return record{name: fmt.Sprintf("%s/%d", name, lead), rateHz: mitdata.RateHz, x: x, sure: score.FromAnnotations(ann).Samples}
}

// electrodeNoise is bw, ma or em of the Noise Stress Test Database (Moody et al. 1984).
func electrodeNoise(t testing.TB, name string) [2][]float64 {
	t.Helper()
	data := openData(t, "nstdb")
	if name != "em_first" {
		a, b, err := mitdata.Signal(data, name)
		if err != nil {
			t.Fatal(err)
		}
		return [2][]float64{a, b}
	}
	var out [2][]float64
	b := readGzip(t, data, name+".dat.gz")
	for i := 0; i+4 <= len(b); i += 4 {
		for c := range out {
			out[c] = append(out[c], float64(int16(binary.LittleEndian.Uint16(b[i+2*c:]))))
		}
	}
	return out
}

// derivedBeats reads derived/NAME_r.csv into r.
func derivedBeats(t testing.TB, data fs.FS, name string, r *record) {
	t.Helper()
	b, err := fs.ReadFile(data, "derived/"+name+"_r.csv")
	if err != nil {
		t.Fatal(err)
	}
	for _, l := range strings.Split(string(b), "\n") {
		f := strings.Split(strings.TrimSpace(l), ",")
		if len(f) != 2 || f[0] == "sample" || strings.HasPrefix(f[0], "#") {
			continue
		}
		if at := int64(number(t, f[0])); f[1] == "1" {
			r.sure = append(r.sure, at)
		} else {
			r.unsure = append(r.unsure, at)
		}
	}
}

// motionLeads are the recordings of an AD8232 in motion (Kalouskova 2024): degrees 1 to 3
// of artefact and degree 4, by the author's labels.
func motionLeads(t testing.TB) (list []situation) {
	data := openData(t, "cvut-motion")
	for _, name := range has(t, "cvut-motion", ".csv.gz") {
		r := record{name: name, rateHz: 497.45}
		for _, l := range strings.Split(strings.TrimSpace(string(readGzip(t, data, name+".csv.gz"))), "\n")[1:] {
			r.x = append(r.x, number(t, l))
		}
		derivedBeats(t, data, name, &r)
		b, err := fs.ReadFile(data, name+"_labels.csv")
		if err != nil {
			t.Fatal(err)
		}
		degree := map[int]int{} // by thousands of samples
		for _, l := range strings.Split(strings.TrimSpace(string(b)), "\n")[1:] {
			f := strings.Split(l, ";")
			degree[int(number(t, f[0]))/1000] = int(number(t, f[3]))
		}
		worst := func(second int) int { // of the last ten seconds
			d := 0
			for s := max(0, second-10); s <= second; s++ {
				d = max(d, degree[int(float64(s)*r.rateHz/1000)])
			}
			return d
		}
		list = append(list, situation{group: "motion 1-3", kind: ECG, record: r, known: func(s int) bool { return worst(s) < 4 }})
		hard := r
		hard.sure, hard.unsure = append(slices.Clone(r.sure), r.unsure...), nil
		slices.Sort(hard.sure)
		list = append(list, situation{group: "motion 4", kind: ECG, record: hard, known: func(s int) bool { return worst(s) == 4 }})
	}
	return list
}

// wristSignals are chest ECG and wrist light of people in motion (Jarchi and Casson 2017).
func wristSignals(t testing.TB) (list []situation) {
	data := openData(t, "wrist")
	for _, name := range has(t, "wrist", ".edf.gz") {
		b := readGzip(t, data, name+".edf.gz")
		text := func(at, n int) string { return strings.TrimSpace(string(b[at : at+n])) }
		n := int(number(t, text(252, 4)))
		begin, records := int(number(t, text(184, 8))), int(number(t, text(236, 8)))
		var each []int
		for i := range n {
			each = append(each, int(number(t, text(256+216*n+8*i, 8))))
		}
		signals := make([][]float64, n)
		for range records {
			for i := range n {
				for range each[i] {
					signals[i] = append(signals[i], float64(int16(binary.LittleEndian.Uint16(b[begin:]))))
					begin += 2
				}
			}
		}
		for i := range n {
			s := situation{record: record{name: name, rateHz: 256, x: signals[i]}}
			switch label := text(256+16*i, 16); {
			case strings.Contains(label, "ecg"):
				s.group, s.kind = "wrist ECG", ECG
			case strings.Contains(label, "ppg"):
				s.group, s.kind, s.delay = "wrist light", Pulse, 0.3
			default:
				continue
			}
			derivedBeats(t, data, name, &s.record)
			list = append(list, s)
		}
	}
	return list
}

// situations are the cases the gate is fitted on and judged by; leads says which of
// mitdb are taken.
func situations(t testing.TB, leads ...int) (list []situation) {
	t.Helper()
	for _, lead := range leads {
		for _, name := range has(t, "mitdb", ".dat.gz") {
			r := mitLead(t, name, lead)
			list = append(list, situation{group: fmt.Sprintf("mit %d", lead), kind: ECG, record: r})
			for _, file := range []string{"em_first", "ma_first", "bw_first"} {
				noise := electrodeNoise(t, file)[lead-1]
				for _, snr := range []float64{12, 6, 0} {
					with := noisy(annotated{name, r.x, score.Reference{Samples: r.sure}}, noise, snr)
					n := min(len(with.x), 780*360)
					s := situation{group: fmt.Sprintf("%s %g", file[:2], snr), kind: ECG, record: r}
					s.x = with.x[:n]
					s.known = func(second int) bool { return second >= 300 && (second-300)/120%2 == 0 }
					list = append(list, s)
				}
			}
		}
	}
	for _, file := range []string{"em_first", "ma_first", "bw_first"} {
		for _, lead := range leads {
			x := electrodeNoise(t, file)[lead-1]
			list = append(list, situation{group: file[:2] + " alone", kind: ECG, record: record{name: fmt.Sprint(file, lead), rateHz: 360, x: x}, silent: true, step: 1})
		}
	}
	for _, kind := range []Kind{ECG, Pulse} {
		for _, b := range benches(t, kind) {
			list = append(list, situation{group: "bench", kind: kind, record: record{name: b.name, rateHz: b.rateHz, x: b.x}, silent: true, step: b.step})
		}
	}
	list = append(list, motionLeads(t)...)
	list = append(list, wristSignals(t)...)
	folders := map[string]string{"bidmc": "_Signals.csv.gz", "challenge2015": ".hea"}
	for _, folder := range []string{"bidmc", "challenge2015"} {
		for _, name := range has(t, folder, folders[folder]) {
			path := folder + "/" + strings.TrimPrefix(name, "bidmc_")
			fit := slices.Contains(pulseRecords, path)
			r := readRecord(t, path)
			if fit || !slices.Contains(unfitRecords, path) || true {
				g := "pulse"
				if !fit {
					g = "pulse unfit"
				}
				_, delay := scorePulse(t, r, runPulse(t, r, defaultPulseParams()))
				list = append(list, situation{group: g, kind: Pulse, record: r, delay: delay})
			}
			g := "hospital ECG"
			if !fit {
				g = "hospital ECG unfit"
			}
			e := r
			e.x = r.ecg
			list = append(list, situation{group: g, kind: ECG, record: e})
		}
	}
	return list
}

// verdict is one second of a situation.
type verdict struct {
	shown, judged, right bool
	candidate            bool // a rate could be worked out
	candidateRight       bool
	reading              Reading
	rate                 float64
	truth                referenceRate
	f                    evidence
}

// follow asks the monitor at the end of each second.
func (s situation) follow(t testing.TB) []verdict {
	t.Helper()
	m, err := NewMonitor(MonitorConfig{Kind: s.kind, RateHz: s.rateHz, Low: math.NaN(), High: math.NaN(), Step: s.step})
	if err != nil {
		t.Fatal(err)
	}
	var ref []referenceRate
	if s.silent {
		ref = make([]referenceRate, int(float64(len(s.x))/s.rateHz))
	} else {
		ref = referenceRates(s.record, s.delay+float64(m.LatencySamples())/s.rateHz)
	}
	tolerance := func(x float64) float64 { return max(5, 0.1*x) }
	var out []verdict
	var beats []Beat
	for i, o := range ref {
		beats = m.Process(beats[:0], s.x[int(float64(i)*s.rateHz):int(float64(i+1)*s.rateHz)])
		v := verdict{reading: m.Reading(), truth: o}
		ok := func(bpm float64) bool {
			return o.common > 0 && bpm >= o.low-tolerance(o.low) && bpm <= o.high+tolerance(o.high)
		}
		v.shown = v.reading.State == StateReading
		v.judged = (s.silent || o.common > 0) && (s.known == nil || s.known(i))
		v.right = v.shown && ok(v.reading.RateBPM)
		rate, n := m.gate.meter.bpm()
		v.rate = rate
		since := float64(m.n-m.last.Sample) / m.rateHz
		v.candidate = n >= 3 && m.have && since < min(max(2, 1.8*m.gate.meter.longest()), 3.2)+float64(m.latency)/m.rateHz
		v.candidateRight = v.candidate && ok(rate)
		v.f = m.gate.seen
		if s.known == nil || s.known(i) {
			out = append(out, v)
		}
	}
	return out
}

// TestGateTable prints the figures of each group, and with PULSEWRIGHT_GATE=FILE writes
// what the gate saw of every second.
func TestGateTable(t *testing.T) {
	file := os.Getenv("PULSEWRIGHT_GATE")
	if file == "" {
		t.Skip("long; set PULSEWRIGHT_GATE to a file for the features")
	}
	leads := []int{1}
	if os.Getenv("PULSEWRIGHT_LEADS") != "" {
		leads = []int{2}
	}
	out, err := os.Create(file)
	if err != nil {
		t.Fatal(err)
	}
	defer out.Close()
	type sum struct{ seconds, shown, judged, right, candidates, candidatesRight int }
	groups := map[string]*sum{}
	var order []string
	for _, s := range situations(t, leads...) {
		g := groups[s.group]
		if g == nil {
			g = &sum{}
			groups[s.group] = g
			order = append(order, s.group)
		}
		a := sum{}
		for i, v := range s.follow(t) {
			a.seconds++
			if v.shown {
				a.shown++
			}
			if v.shown && v.judged {
				a.judged++
			}
			if v.right && v.judged {
				a.right++
			}
			if v.candidate && v.judged {
				a.candidates++
				if v.candidateRight {
					a.candidatesRight++
				}
				fmt.Fprintf(out, "%s,%s,%s,%d,%v,%v,%v,%.1f,%.1f,%.1f", strings.ReplaceAll(s.group, " ", "_"), s.kind, strings.ReplaceAll(s.name, ",", ""), i, v.candidateRight, v.shown, v.right, v.rate, v.truth.low, v.truth.high)
				for _, x := range append(v.f.odds[:], v.f.half, v.f.period, v.f.wander, v.f.slow, map[bool]float64{true: 1}[v.f.doubled]) {
					fmt.Fprintf(out, ",%.4f", x)
				}
				fmt.Fprintln(out)
			}
		}
		if os.Getenv("PULSEWRIGHT_EACH") != "" {
			t.Logf("  %-18s %-22s %6d s shown %5.1f %% right %6.2f %% (%d wrong)", s.group, s.name, a.seconds, 100*float64(a.shown)/float64(max(1, a.seconds)), 100*float64(a.right)/float64(max(1, a.judged)), a.judged-a.right)
		}
		g.seconds += a.seconds
		g.shown += a.shown
		g.judged += a.judged
		g.right += a.right
		g.candidates += a.candidates
		g.candidatesRight += a.candidatesRight
	}
	for _, name := range order {
		g := groups[name]
		t.Logf("%-20s %6d s, shown %5.1f %%, right %6.2f %% of %d; candidates %d, right %6.2f %%", name, g.seconds, 100*float64(g.shown)/float64(max(1, g.seconds)),
			100*float64(g.right)/float64(max(1, g.judged)), g.judged, g.candidates, 100*float64(g.candidatesRight)/float64(max(1, g.candidates)))
	}
}
