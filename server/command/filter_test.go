package command

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/simulate"
	"pulsewright/dsp/meter"
	"pulsewright/server/channel"
)

// table reads CSV without its comments.
func table(t *testing.T, text string) (rows [][]string) {
	t.Helper()
	r := csv.NewReader(strings.NewReader(text))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

func float(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

// smoothed is what an engine of the recording's own settings makes of all its counts at once.
func smoothed(t *testing.T, path string) []float64 {
	t.Helper()
	f, err := recording.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rec := channel.Open(f, channel.Sidecar{})
	rec.Learn()
	e, err := channel.New(rec.Start.Config(0, rec.Info.Channels[0], 0, channel.All))
	if err != nil {
		t.Fatal(err)
	}
	counts := [][]int32{make([]int32, f.Len())}
	if _, err := f.ReadAt(counts, 0); err != nil {
		t.Fatal(err)
	}
	var out channel.Output
	e.Process(&out, counts[0])
	return out.Series[channel.PointSmooth]
}

// TestFilterIsWhatWasLive: every format holds the points of the live engine, CSV bit for bit, from
// the middle on too, the others to half a step; scipy reads the same numbers of the WAV file.
func TestFilterIsWhatWasLive(t *testing.T) {
	in := filepath.Join(testdata, "lamp_clip_a.edf")
	want := smoothed(t, in)
	folder := t.TempDir()
	for _, c := range []struct {
		args []string
		from int
	}{{nil, 0}, {[]string{"-from", "5", "-to", "1000"}, 1250}} {
		out := filepath.Join(folder, fmt.Sprint("a", c.from, ".csv"))
		if status, _, told := call(append(append([]string{"filter"}, c.args...), in, out)...); status != 0 {
			t.Fatal(told)
		}
		rows := table(t, readText(t, out))[1:]
		if len(rows) != len(want)-c.from {
			t.Fatalf("%d rows from %d on, want %d", len(rows), c.from, len(want)-c.from)
		}
		for i, r := range rows {
			if got := float(t, r[1]); math.Float64bits(got) != math.Float64bits(want[c.from+i]) {
				t.Fatalf("point %d is %v, live it was %v", c.from+i, got, want[c.from+i])
			}
		}
	}
	// Far in: the points are in their places.
	long, _ := record(t, simulate.Finger(), 150, ".edf")
	late := filepath.Join(folder, "late.csv")
	if status, _, told := call("filter", "-from", "140", long, late); status != 0 {
		t.Fatal(told)
	}
	all, rows := smoothed(t, long), table(t, readText(t, late))[1:]
	for i, r := range rows {
		if got, want := float(t, r[1]), all[len(all)-len(rows)+i]; got != want {
			t.Fatalf("%d points from the end: %v, live it was %v", len(rows)-i, got, want)
		}
	}
	for _, ext := range []string{".edf", ".bdf", ".wav"} {
		out := filepath.Join(folder, "a"+ext)
		if status, _, told := call("filter", in, out); status != 0 || !strings.Contains(told, "rounded to steps of 0.000305 V") {
			t.Fatalf("status %d, told %q", status, told)
		}
		f, err := recording.Open(out)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		counts := [][]int32{make([]int32, f.Len())}
		if _, err := f.ReadAt(counts, 0); err != nil || len(counts[0]) != len(want) {
			t.Fatalf("%s: %d samples, %v", ext, len(counts[0]), err)
		}
		for i, n := range counts[0] {
			if got := f.Describe().Channels[0].Value(n); math.Abs(got-want[i]) > 0.000153 {
				t.Fatalf("%s: point %d is %v, want %v to half a step", ext, i, got, want[i])
			}
		}
		if ext == ".wav" {
			t.Run("scipy", func(t *testing.T) { scipyReads(t, out, counts[0]) })
		}
	}
	if status, _, _ := call("filter", "-point", "middle", in, filepath.Join(folder, "a.csv")); status != 2 {
		t.Errorf("a point that there is not: status %d", status)
	}
	if status, _, told := call("filter", in, filepath.Join(folder, "a0.csv")); status != 1 || !strings.Contains(told, "nothing is overwritten") {
		t.Errorf("over a file: status %d, %q", status, told)
	}
}

// python is the one that Debian's packages are for.
const python = "/usr/bin/python3"

// scipyReads compares a WAV file of one channel as scipy reads it.
func scipyReads(t *testing.T, path string, want []int32) {
	t.Helper()
	if out, err := exec.Command(python, "-c", "import scipy.io.wavfile").CombinedOutput(); err != nil {
		t.Logf("%s", out)
		acquiretest.Missing(t, "scipy (Debian: python3-scipy)")
	}
	out, err := exec.Command(python, "-W", "ignore", "-c", "import sys,scipy.io.wavfile as w\nfor v in w.read(sys.argv[1])[1]: print(int(v))", path).Output()
	if err != nil {
		t.Fatal(err)
	}
	got := strings.Fields(string(out))
	if len(got) != len(want) {
		t.Fatalf("scipy reads %d samples, want %d", len(got), len(want))
	}
	for i, s := range got {
		if s != strconv.Itoa(int(want[i])) {
			t.Fatalf("scipy reads sample %d as %s, want %d", i, s, want[i])
		}
	}
}

// TestOtherVoltsAreTold: where polarity was reversed on the way, all values are in the last scale, about 0 behind the
// high-pass, and filter, beats and a CSV say so; where it was not, or the file keeps it, nothing is said.
func TestOtherVoltsAreTold(t *testing.T) {
	folder, mid := t.TempDir(), 2.5
	path := filepath.Join(folder, "turned.edf")
	c := acquire.Channel{Label: "clip", Kind: acquire.KindPulse, MaxCount: 1023}
	s := channel.Resolve(channel.Places{Described: c, RateHz: 250}).Settings
	s.Scale = channel.Scale{Source: channel.ScaleConverter, ReferenceVolts: 5, Bits: 10, Gain: 1, MidRailVolts: &mid}
	s.Path.Drift.On = true
	w, err := recording.Create(path, recording.Header{Info: acquire.Info{Channels: []acquire.Channel{c}}, RateHz: 250,
		Settings: channel.NewCarried(channel.Start{RateHz: 250, ClockHz: 250, Ratio: 1, HumHz: []float64{50}, Channels: []channel.Settings{s}})})
	if err != nil {
		t.Fatal(err)
	}
	counts := make([]int32, 2500)
	for i := range counts {
		counts[i] = 512
	}
	s.Scale.Invert = true
	turned := s
	for _, err := range []error{w.Write([][]int32{counts[:1000]}, 0), w.Annotate(1000, 0, channel.Event{Settings: &turned}.Text()), w.Write([][]int32{counts[1000:]}, 1000), w.Close()} {
		if err != nil {
			t.Fatal(err)
		}
	}
	const says = "clip: until 4 s other volts or another polarity were set; values from before are in the scale that was set last"
	for name, args := range map[string][]string{"filtered.csv": {"filter", "-point", "drift"}, "values.csv": {"convert"}, "later.csv": {"filter", "-from", "5"},
		"later-values.csv": {"convert", "-from", "5"}, "copy.edf": {"convert"}, "counts.csv": {"convert", "-counts"}, "": {"beats"}} {
		out := filepath.Join(folder, name)
		if args = append(args, path); name != "" {
			args = append(args, out)
		}
		status, _, told := call(args...)
		if want := name == "" || name == "filtered.csv" || name == "values.csv"; status != 0 || strings.Contains(told, says) != want {
			t.Errorf("%v: status %d, %q", args, status, told)
		}
		if name != "filtered.csv" {
			continue
		}
		text := readText(t, out)
		if !strings.Contains(text, "# "+says) {
			t.Errorf("%s does not say so: %.300s", name, text)
		}
		for _, row := range table(t, text)[1:] {
			if v := float(t, row[1]); math.Abs(v) > 1e-9 {
				t.Fatalf("%g V behind the high-pass at %s s", v, row[0])
			}
		}
	}
}

// TestIntervalsAreThoseBetweenBeats: of an ECG the list is the differences of what beats prints,
// and the measures are those of the normal ones, counted here by their definitions (Task Force 1996).
func TestIntervalsAreThoseBetweenBeats(t *testing.T) {
	edf, _ := record(t, simulate.Chest(), 1500, ".edf")
	_, beatsText, _ := call("beats", edf)
	status, list, told := call("intervals", edf)
	_, measures, _ := call("intervals", "-measures", edf)
	if status != 0 {
		t.Fatal(told)
	}
	at := columnOf(t, beatsText, "sample")
	rows := table(t, list)[1:]
	if len(rows) != len(at)-1 || len(rows) < 1000 {
		t.Fatalf("%d intervals between %d beats", len(rows), len(at))
	}
	var sum, squares float64
	n, pairs := 0, 0
	last := math.NaN()
	for i, r := range rows {
		seconds := float(t, r[2])
		if want := float64(at[i+1]-at[i]) / 250; r[0] != fmt.Sprint(at[i+1]) || math.Abs(seconds-want) > 1e-4 {
			t.Fatalf("interval %d: %v, want %g s", i, r, want)
		}
		if r[3] != "normal" {
			last = math.NaN()
			continue
		}
		sum, n = sum+seconds, n+1
		if d := seconds - last; !math.IsNaN(d) {
			squares, pairs = squares+d*d, pairs+1
		}
		last = seconds
	}
	value := map[string]string{}
	for _, r := range table(t, measures)[1:] {
		value[r[0]] = r[2]
	}
	if mean := sum / float64(n); math.Abs(float(t, value["meanNN"])-mean) > 1e-4*mean {
		t.Errorf("mean NN %s, of the list %g", value["meanNN"], mean)
	}
	if rmssd := math.Sqrt(squares / float64(pairs)); math.Abs(float(t, value["rmssd"])-rmssd) > 1e-3*rmssd {
		t.Errorf("RMSSD %s, of the list %g", value["rmssd"], rmssd)
	}
}

// TestFilterKeepsRails: what was said of rails, kind and name is in every format, and no range is invented: the
// converter's is known of the values before the path alone.
func TestFilterKeepsRails(t *testing.T) {
	path, _ := record(t, simulate.Chest(), 20, ".edf")
	said := fmt.Sprintf(`{%q: {"channels": [{"label": "lead II", "kind": "ecg", "scale": {"source": "converter", "referenceVolts": 5, "bits": 12, "gain": -100, "supplyLowVolts": 0, "supplyHighVolts": 5, "midRailVolts": 2.5}}]}}`, filepath.Base(path))
	if err := os.WriteFile(filepath.Join(filepath.Dir(path), ".said.json"), []byte(said), 0o600); err != nil {
		t.Fatal(err)
	}
	check := func(path string) (r meter.Report) {
		t.Helper()
		status, out, told := call("check", "-json", path)
		if err := json.Unmarshal([]byte(out), &r); status != 0 || err != nil {
			t.Fatal(status, err, told)
		}
		return r
	}
	want := check(path)
	for _, point := range []string{"scale", "smooth"} {
		for _, ext := range []string{".edf", ".bdf", ".wav", ".csv"} {
			to := filepath.Join(t.TempDir(), "a"+ext)
			if status, _, told := call("filter", "-point", point, path, to); status != 0 {
				t.Fatal(told)
			}
			r := check(to)
			if l := r.Level; !l.RailKnown || l.RailReason != "" || math.Abs(l.RailShare/(l.SwingVolts/0.05)-1) > 1e-6 || !l.MidRailKnown {
				t.Errorf("%s %s: level %+v, before %+v", point, ext, l, want.Level)
			}
			if known := point == "scale" && ext != ".csv"; r.Clipping.ConverterKnown != known || known && r.Clipping.ConverterHighShare != want.Clipping.ConverterHighShare {
				t.Errorf("%s %s: clipping %+v, before %+v", point, ext, r.Clipping, want.Clipping)
			}
			if text := readText(t, to); !strings.Contains(text, "lead II") || !strings.Contains(text, `"kind":"ecg"`) {
				t.Errorf("%s %s: name or kind is gone", point, ext)
			}
		}
	}
}

// TestFilterKeepsCounts: rails said of a channel of counts leave its values as they are.
func TestFilterKeepsCounts(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.csv")
	said := `{"a.csv": {"channels": [{"unit": "mV", "scale": {"source": "unknown", "gain": 1, "supplyLowVolts": 0, "supplyHighVolts": 5}}]}}`
	text := "# rate 250 Hz\nvalue\n" + strings.Repeat("512\n600\n500\n", 200)
	for name, text := range map[string]string{path: text, filepath.Join(filepath.Dir(path), ".said.json"): said} {
		if err := os.WriteFile(name, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, ext := range []string{".edf", ".wav", ".csv"} {
		to, back := filepath.Join(t.TempDir(), "a"+ext), filepath.Join(t.TempDir(), "b.csv")
		if status, _, told := call("filter", "-point", "scale", path, to); status != 0 {
			t.Fatal(told)
		}
		if status, _, told := call("convert", to, back); status != 0 {
			t.Fatal(told)
		}
		if x := float(t, table(t, readText(t, back))[2][1]); math.Abs(x-600) > 0.04 {
			t.Errorf("%s: the second sample is %g, want 600", ext, x)
		}
	}
}
