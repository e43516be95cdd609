package beat

import (
	"encoding/binary"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"sync"
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
	step   float64          // of the converter, 0 unknown
	own    bool             // the record as it is, under its own name
	signal func() []float64 // makes x when it is asked for, so that not all are there at once; or nil
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

// mitLead is lead 1 or 2 of a record; see readMIT.
func mitLead(t testing.TB, name string, lead int) record {
	t.Helper()
	r := readMIT(t, name)
	return record{name: fmt.Sprintf("%s/%d", name, lead), rateHz: mitdata.RateHz, x: r.leads[lead-1], sure: r.ref.Samples}
}

// electrodeNoise is bw, ma or em of the Noise Stress Test Database (Moody et al. 1984).
func electrodeNoise(t testing.TB, name string) [2][]float64 {
	t.Helper()
	return once("nstdb/"+name, func() [2][]float64 { return readNoise(t, name) })
}

func readNoise(t testing.TB, name string) [2][]float64 {
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

// motionSignal is a recording of an AD8232 in motion (Kalouskova 2024).
func motionSignal(t testing.TB, name string) []float64 {
	t.Helper()
	data := openData(t, "cvut-motion")
	return once("cvut-motion/"+name, func() (x []float64) {
		for _, l := range strings.Fields(string(readGzip(t, data, name+".csv.gz")))[1:] {
			x = append(x, number(t, l))
		}
		return x
	})
}

// motionLeads are the recordings of an AD8232 in motion (Kalouskova 2024): degrees 1 to 3
// of artefact and degree 4, by the author's labels.
func motionLeads(t testing.TB) (list []situation) {
	data := openData(t, "cvut-motion")
	for _, name := range has(t, "cvut-motion", ".csv.gz") {
		r := record{name: name, rateHz: 497.45, x: motionSignal(t, name)}
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
		list = append(list, situation{group: "motion 1-3", kind: ECG, record: r, own: true, known: func(s int) bool { return worst(s) < 4 }})
		hard := r
		hard.sure, hard.unsure = append(slices.Clone(r.sure), r.unsure...), nil
		slices.Sort(hard.sure)
		list = append(list, situation{group: "motion 4", kind: ECG, record: hard, own: true, known: func(s int) bool { return worst(s) == 4 }})
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

// mitLeads are the records of mitdb as they are.
func mitLeads(t testing.TB, lead int) (list []situation) {
	t.Helper()
	for _, name := range has(t, "mitdb", ".dat.gz") {
		list = append(list, situation{group: fmt.Sprintf("mit %d", lead), kind: ECG, record: mitLead(t, name, lead), own: true})
	}
	return list
}

// situations are the cases the gate is fitted on and judged by; leads says which of
// mitdb are taken.
func situations(t testing.TB, leads ...int) (list []situation) {
	t.Helper()
	for _, lead := range leads {
		list = append(list, mitLeads(t, lead)...)
		for _, name := range has(t, "mitdb", ".dat.gz") {
			r := mitLead(t, name, lead)
			for _, file := range []string{"em_first", "ma_first", "bw_first"} {
				noise := electrodeNoise(t, file)[lead-1]
				for _, snr := range []float64{12, 6, 0} {
					// From 4 min on, a minute before the noise, to its second end.
					const from, to = 240 * 360, 660 * 360
					s := situation{group: fmt.Sprintf("%s %g", file[:2], snr), kind: ECG, record: record{name: r.name, rateHz: r.rateHz}}
					s.signal = func() []float64 {
						return noisy(annotated{name, r.x[:min(len(r.x), to)], score.Reference{Samples: r.sure}}, noise, snr).x[from:]
					}
					for _, at := range r.sure {
						if at >= from && at < to {
							s.sure = append(s.sure, at-from)
						}
					}
					s.known = func(second int) bool { return second >= 60 && (second-60)/120%2 == 0 }
					list = append(list, s)
				}
			}
		}
	}
	for _, file := range []string{"em_first", "ma_first", "bw_first"} {
		for lead := 1; lead <= 2; lead++ {
			x := electrodeNoise(t, file)[lead-1]
			list = append(list, situation{group: file[:2] + " alone", kind: ECG, record: record{name: fmt.Sprint(file, lead), rateHz: 360, x: x}, silent: true, step: 1})
		}
	}
	// Noise of other electrodes is made of it: slower, faster, backwards.
	for _, lead := range leads {
		for _, pace := range []float64{0.8, 1, 1.2} {
			for _, file := range []string{"em_first", "ma_first"} {
				x := slices.Clone(electrodeNoise(t, file)[lead-1])
				slices.Reverse(x)
				list = append(list, situation{group: file[:2] + " at another pace", kind: ECG, record: record{name: fmt.Sprint(file, lead, " backwards times ", pace), rateHz: 360 * pace, x: x}, silent: true, step: 1})
			}
		}
	}
	for _, kind := range []Kind{ECG, Pulse} {
		for _, b := range benches(t, kind, 0) {
			list = append(list, situation{group: "bench", kind: kind, record: record{name: b.name, rateHz: b.rateHz, x: b.x}, silent: true, step: b.step})
		}
	}
	list = append(list, motionLeads(t)...)
	list = append(list, wristSignals(t)...)
	folders := map[string]string{"bidmc": "_Signals.csv.gz", "challenge2015": ".hea"}
	for _, folder := range []string{"bidmc", "challenge2015"} {
		for _, name := range has(t, folder, folders[folder]) {
			path := folder + "/" + strings.TrimPrefix(name, "bidmc_")
			r := readRecord(t, path)
			unfit := ""
			if !slices.Contains(pulseRecords, path) {
				unfit = " unfit"
			}
			list = append(list, situation{group: "pulse" + unfit, kind: Pulse, record: r, delay: pulseDelay(t, r), own: true})
			e := r
			e.x = r.ecg
			list = append(list, situation{group: "hospital ECG" + unfit, kind: ECG, record: e})
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

// monitored is what a monitor makes of a record.
type monitored struct {
	latency float64 // seconds
	seconds []said
	beats   []Beat
}

// said is what it says, and has seen, at the end of a second.
type said struct {
	reading   Reading
	rate      float64
	candidate bool // a rate could be worked out
	seen      evidence
}

// monitor runs a record through a monitor that does not know the converter's ends.
func monitor(t testing.TB, r record, c MonitorConfig, p monitorParams) (out monitored) {
	t.Helper()
	c.RateHz, c.Low, c.High = r.rateHz, math.NaN(), math.NaN()
	m, err := newMonitor(c, p)
	if err != nil {
		t.Error(err)
		return out
	}
	out.latency = float64(m.latency) / r.rateHz
	seconds := int(float64(len(r.x)) / r.rateHz)
	for i := range seconds {
		out.beats = m.Process(out.beats, r.x[int(float64(i)*r.rateHz):int(float64(i+1)*r.rateHz)])
		rate, n := m.gate.meter.bpm()
		since := float64(m.n-m.last.Sample) / m.rateHz
		out.seconds = append(out.seconds, said{m.Reading(), rate, n >= 3 && m.have && since < min(max(2, 1.8*m.gate.meter.longest()), 3.2)+out.latency, m.gate.seen})
	}
	out.beats = atEnd(m, m.Process(out.beats, r.x[int(float64(seconds)*r.rateHz):]), r)
	return out
}

// monitoredOnce is a record under its own name through the monitor as it is.
func monitoredOnce(t testing.TB, kind Kind, r record) monitored {
	t.Helper()
	return once(fmt.Sprintf("%s monitored as %s", r.name, kind), func() monitored {
		return monitor(t, r, MonitorConfig{Kind: kind}, defaultMonitorParams(kind))
	})
}

// follow asks the monitor at the end of each second.
func (s situation) follow(t testing.TB) []verdict {
	t.Helper()
	if s.signal != nil {
		s.x = s.signal()
	}
	var m monitored
	if s.own {
		m = monitoredOnce(t, s.kind, s.record)
	} else {
		m = monitor(t, s.record, MonitorConfig{Kind: s.kind, Step: s.step}, defaultMonitorParams(s.kind))
	}
	return s.judge(m)
}

// judge holds what was said against the truth.
func (s situation) judge(m monitored) (out []verdict) {
	ref := make([]referenceRate, len(m.seconds))
	if !s.silent {
		ref = referenceRates(s.record, s.delay+m.latency)
	}
	tolerance := func(x float64) float64 { return max(5, 0.1*x) }
	for i, o := range ref {
		said := &m.seconds[i]
		v := verdict{reading: said.reading, truth: o, rate: said.rate, candidate: said.candidate, f: said.seen}
		ok := func(bpm float64) bool {
			return o.common > 0 && bpm >= o.low-tolerance(o.low) && bpm <= o.high+tolerance(o.high)
		}
		v.shown = v.reading.State == StateReading
		v.judged = (s.silent || o.common > 0) && (s.known == nil || s.known(i))
		v.right = v.shown && ok(v.reading.RateBPM)
		v.candidateRight = v.candidate && ok(v.rate)
		if s.known == nil || s.known(i) {
			out = append(out, v)
		}
	}
	return out
}

// twoAtATime does n things, two at a time.
func twoAtATime(n int, do func(i int)) {
	var wait sync.WaitGroup
	for half := range 2 {
		wait.Go(func() {
			for i := half; i < n; i += 2 {
				do(i)
			}
		})
	}
	wait.Wait()
}

// figures of a group of situations, in seconds.
type figures struct{ seconds, shown, judged, right, candidates, candidatesRight int }

func (f *figures) add(v verdict) {
	f.seconds++
	if v.shown {
		f.shown++
	}
	if !v.judged {
		return
	}
	if v.shown {
		f.judged++
	}
	if v.right {
		f.right++
	}
	if v.candidate {
		f.candidates++
	}
	if v.candidateRight {
		f.candidatesRight++
	}
}

func percent(n, of int) float64 { return 100 * float64(n) / float64(max(1, of)) }

// wanted are what a group must keep: the share of seconds with a rate at least, at most,
// and of these the right ones at least, in percent. They are loose, there against a fall:
// METHOD.md has the figures.
var wanted = map[string]struct{ least, most, right float64 }{
	"mit 1": {96, 100, 99.7}, "mit 2": {83, 100, 99.7}, "em alone": {0, 2, 0}, "ma alone": {0, 2, 0}, "bw alone": {0, 2, 0}, "bench": {0, 2, 0},
	"em 12": {90, 100, 99.5}, "em 6": {75, 100, 99}, "em 0": {25, 100, 98},
	"ma 12": {90, 100, 99.5}, "ma 6": {64, 100, 99}, "ma 0": {21, 100, 98},
	"bw 12": {92, 100, 99.5}, "bw 6": {87, 100, 99.5}, "bw 0": {67, 100, 99.3},
	"motion 1-3": {92, 100, 99.8}, "motion 4": {36, 100, 95}, "wrist ECG": {80, 100, 99.5}, "wrist light": {0, 8, 90},
	"pulse": {90, 100, 99.6}, "hospital ECG": {92, 100, 99.7}, "ma at another pace": {0, 2, 0},
}

// TestGateOnRecords: what a person is shown of open recordings, of those with noise added,
// and of noise alone. A rate is right within EC13's 10 % or 5 bpm of the true one of any of
// the last 4 to 12 intervals. And the quality shown is a probability: of the seconds shown
// with about q, about q are right.
//
// PULSEWRIGHT_LEADS=2 takes the second leads of mitdb instead, with noise too, PULSEWRIGHT_EACH=1 tells
// of each recording, PULSEWRIGHT_GATE=FILE writes what the gate saw of every second.
func TestGateOnRecords(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("short")
	}
	lead := 1
	if os.Getenv("PULSEWRIGHT_LEADS") == "2" {
		lead = 2
	}
	out := io.Discard
	if name := os.Getenv("PULSEWRIGHT_GATE"); name != "" {
		file, err := os.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		defer file.Close()
		out = file
	}
	groups, order := map[string]*figures{}, []string(nil)
	curves := map[Kind]*curve{ECG: {}, Pulse: {}}
	list := situations(t, lead)
	if lead == 1 {
		list = append(list, mitLeads(t, 2)...)
	}
	heard := make([][]verdict, len(list))
	twoAtATime(len(list), func(i int) { heard[i] = list[i].follow(t) })
	for k, s := range list {
		if groups[s.group] == nil {
			groups[s.group] = &figures{}
			order = append(order, s.group)
		}
		var each figures
		for i, v := range heard[k] {
			each.add(v)
			groups[s.group].add(v)
			if v.shown && v.judged {
				curves[s.kind].add(v.reading.Quality, v.right)
			}
			v.write(out, s, i)
		}
		if os.Getenv("PULSEWRIGHT_EACH") != "" {
			t.Logf("  %-18s %-22s %6d s, shown %5.1f %%, right %6.2f %% (%d wrong)", s.group, s.name, each.seconds, percent(each.shown, each.seconds), percent(each.right, each.judged), each.judged-each.right)
		}
	}
	for _, name := range order {
		g, w := groups[name], wanted[name]
		shown, right := percent(g.shown, g.seconds), percent(g.right, g.judged)
		t.Logf("%-20s %6d s, shown %5.1f %%, right %6.2f %% of %d; of all that could be worked out %d, right %6.2f %%", name, g.seconds, shown, right, g.judged, g.candidates, percent(g.candidatesRight, g.candidates))
		if w.most > 0 && lead == 1 && !(shown >= w.least && shown <= w.most && (right >= w.right || g.judged == 0)) {
			t.Errorf("%s: shown %.1f %%, right %.2f %%; want %g to %g %%, right %g %%", name, shown, right, w.least, w.most, w.right)
		}
	}
	for kind, c := range curves {
		c.check(t, kind)
	}
}

// curve is the calibration of the quality shown.
type curve [5]struct{ n, right, sum float64 }

var curveEdges = [...]float64{0.9, 0.95, 0.98, 0.99}

func (c *curve) add(q float64, right bool) {
	i := 0
	for i < len(curveEdges) && q >= curveEdges[i] {
		i++
	}
	c[i].n++
	c[i].sum += q
	if right {
		c[i].right++
	}
}

// check draws the curve and holds it: each point with 100 seconds and more within 0.08 of the
// diagonal.
func (c *curve) check(t *testing.T, kind Kind) {
	for _, p := range c {
		if p.n < 100 {
			continue
		}
		q, right := p.sum/p.n, p.right/p.n
		t.Logf("%-5s quality %.3f: right %.3f of %.0f s  |%s", kind, q, right, p.n, strings.Repeat("#", int(40*(right-0.5)/0.5+0.5)))
		if math.Abs(q-right) > 0.08 {
			t.Errorf("%s: of %.0f s shown with quality %.3f the share %.3f is right; want it within 0.08", kind, p.n, q, right)
		}
	}
}

// write appends what the gate saw.
func (v verdict) write(out io.Writer, s situation, second int) {
	if !v.candidate || !v.judged || out == io.Discard {
		return
	}
	fmt.Fprintf(out, "%s,%s,%s,%d,%v,%v,%v,%.1f,%.1f,%.1f", strings.ReplaceAll(s.group, " ", "_"), s.kind, strings.ReplaceAll(s.name, ",", ""), second, v.candidateRight, v.shown, v.right, v.rate, v.truth.low, v.truth.high)
	for _, x := range append(v.f.odds[:], v.f.half, v.f.period, v.f.wander, v.f.slow, v.f.uneven, v.f.calm, v.f.sharp) {
		fmt.Fprintf(out, ",%.4f", x)
	}
	fmt.Fprintln(out)
}

// TestGateFit fits the logistic of each kind to the development records and prints what
// belongs into defaultGateParams: Newton's steps on the log likelihood of "the rate that
// could be worked out is right", with a small ridge. Run it when the evidence or a detector
// has changed, with PULSEWRIGHT_FIT=1.
func TestGateFit(t *testing.T) {
	if os.Getenv("PULSEWRIGHT_FIT") == "" {
		t.Skip("prints, checks nothing; set PULSEWRIGHT_FIT=1")
	}
	// What buys nothing is not asked, nor what then says against sense: that a pulse that
	// rests is less of one.
	asked := map[Kind][]int{
		ECG:   {evidencePeriod, evidenceMissed, evidenceBetween, evidenceSure, evidenceLevel, evidenceHeights},
		Pulse: {evidencePeriod, evidenceMissed, evidenceUnevenP, evidenceUnevenQ, evidenceCalmQ, evidenceLevelQ, evidenceAlike, evidenceBetween},
	}
	rows := map[Kind][]sample{}
	for _, s := range situations(t, 1) {
		weight := 1.0
		switch {
		case s.group == "bench" && strings.HasPrefix(s.name, "light"):
			continue // a sine is told otherwise
		case s.group == "bench":
			weight = 0.1 // not to outweigh what people gave
		case strings.HasSuffix(s.group, "alone"):
			weight = 5 // little of it, but the likeliest to be met
		}
		for _, v := range s.follow(t) {
			if v.candidate && v.judged && v.f.beats > 0 {
				x := append(v.f.odds[:], 1)
				for i := range evidences {
					if !slices.Contains(asked[s.kind], i) {
						x[i] = 0
					}
				}
				rows[s.kind] = append(rows[s.kind], sample{x, v.candidateRight, weight})
			}
		}
	}
	for _, kind := range []Kind{ECG, Pulse} {
		w := logistic(rows[kind])
		t.Logf("%s: odds: [...]float64{%s}", kind, strings.Trim(strings.Join(strings.Fields(fmt.Sprintf("%.3f", w)), ", "), "[]"))
	}
}

// sample is one second: evidence and a last 1, the outcome, a weight.
type sample struct {
	x      []float64
	right  bool
	weight float64
}

// logistic fits the log odds by Newton's method with a ridge of 1 on all but the last.
func logistic(rows []sample) []float64 {
	n := evidences + 1
	w := make([]float64, n)
	for range 30 {
		h := make([][]float64, n) // Hessian with the gradient as its last column
		for i := range h {
			h[i] = make([]float64, n+1)
			h[i][i], h[i][n] = 1, -w[i]
		}
		h[n-1][n-1], h[n-1][n] = 1e-6, 0
		for _, r := range rows {
			z, y := 0.0, 0.0
			for i, x := range r.x {
				z += w[i] * x
			}
			if r.right {
				y = 1
			}
			p := 1 / (1 + math.Exp(-z))
			for i, x := range r.x {
				h[i][n] += r.weight * (y - p) * x
				for j, u := range r.x {
					h[i][j] += r.weight * p * (1 - p) * x * u
				}
			}
		}
		for i, d := range solve(h) {
			w[i] += d
		}
	}
	return w
}

// solve solves by Gauss's elimination; the right side is the last column.
func solve(a [][]float64) []float64 {
	n := len(a)
	for i := range n {
		p := i
		for j := i + 1; j < n; j++ {
			if math.Abs(a[j][i]) > math.Abs(a[p][i]) {
				p = j
			}
		}
		a[i], a[p] = a[p], a[i]
		for j := i + 1; j < n; j++ {
			f := a[j][i] / a[i][i]
			for k := i; k <= n; k++ {
				a[j][k] -= f * a[i][k]
			}
		}
	}
	x := make([]float64, n)
	for i := n - 1; i >= 0; i-- {
		x[i] = a[i][n]
		for k := i + 1; k < n; k++ {
			x[i] -= a[i][k] * x[k]
		}
		x[i] /= a[i][i]
	}
	return x
}
