package recording

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// rows makes n lines.
func rows(n int, line func(i int) string) string {
	var b strings.Builder
	for i := range n {
		b.WriteString(line(i) + "\n")
	}
	return b.String()
}

// What a CSV may look like, and what it means. Expected values are read off the
// text by eye.
func TestCSVForms(t *testing.T) {
	for _, tc := range []struct {
		name   string
		text   string
		given  float64
		rate   float64
		labels string
		first  []int32 // first row
		last   []int32
		length int64
		gaps   string
		volts  float64 // value of the first channel's first sample, if not NaN
	}{
		{name: "comment", text: "# rate 250 Hz, lamp clip\nadc\n512\n513\n", rate: 250, labels: "adc", first: []int32{512}, last: []int32{513}, length: 2, volts: 512},
		{name: "comment in kHz", text: "# sampled at 1.5 kHz\n512\n513\n", rate: 1500, labels: "channel 1", first: []int32{512}, last: []int32{513}, length: 2, volts: 512},
		{name: "rate given", text: "1,2\n3,4\n", given: 100, rate: 100, labels: "channel 1|channel 2", first: []int32{1, 2}, last: []int32{3, 4}, length: 2, volts: 1},
		{name: "seconds", text: "time_s,pulse [mV]\n" + rows(50, func(i int) string { return fmt.Sprintf("%.3f,%d.25", 5+float64(i)*0.004, i) }),
			rate: 250, labels: "pulse", first: []int32{25}, last: []int32{4925}, length: 50, volts: 0.25e-3},
		{name: "milliseconds in integers", text: "t_ms,x\n" + rows(3600, func(i int) string { return fmt.Sprintf("%d,%d", int(float64(i)*1000/360), i) }),
			rate: 360, labels: "x", first: []int32{0}, last: []int32{3599}, length: 3600, volts: 0},
		{name: "microseconds and a gap", text: "t_us,x\n" + rows(100, func(i int) string { return fmt.Sprintf("%d,%d", i*2000+i/50*20000, i) }),
			rate: 500, labels: "x", first: []int32{0}, last: []int32{99}, length: 110, gaps: "[{50 10}]", volts: 0},
		{name: "three samples lost at 1 kHz in whole milliseconds", text: "t_ms,x\n" + rows(200, func(i int) string { return fmt.Sprintf("%d,%d", i+i/100*3, i) }),
			rate: 1000, labels: "x", first: []int32{0}, last: []int32{199}, length: 203, gaps: "[{100 3}]", volts: 0},
		{name: "semicolon and decimal comma", text: "Zeit;t_ms;a;b\nx;0;1,5;-0,25\nx;4;2,5;\nx;8;3,5;0,75\n", rate: 250, labels: "a|b",
			first: []int32{15, -25}, last: []int32{35, 75}, length: 3, volts: 1.5},
		{name: "tabs, no header, sample numbers", text: rows(40, func(i int) string { return fmt.Sprintf("%d\t%d\t%d", i, i*i, -i) }),
			given: 50, rate: 50, labels: "channel 1|channel 2", first: []int32{0, 0}, last: []int32{39 * 39, -39}, length: 40, volts: 0},
		{name: "sample numbers with a hole", text: "sample,x\n0,5\n1,6\n5,7\n6,8\n", given: 10, rate: 10, labels: "x", first: []int32{5}, last: []int32{8}, length: 7, gaps: "[{2 3}]", volts: 5},
		{name: "blanks", text: "  1.5   2\n  2.5   3\n", given: 10, rate: 10, labels: "channel 1|channel 2", first: []int32{15, 2}, last: []int32{25, 3}, length: 2, volts: 1.5},
		{name: "quotes, leading spaces, CR LF, BOM", text: "\xef\xbb\xbf\"Time [s]\", \"II, left\"\r\n0,\"1\"\r\n0.5,\"2\"\r\n1.0,3\r\n", rate: 2, labels: "II, left", first: []int32{1}, last: []int32{3}, length: 3, volts: 1},
		{name: "two header lines and clock text", text: "'Elapsed time','MLII'\n'hh:mm:ss.mmm','mV'\n" + rows(100, func(i int) string { return fmt.Sprintf("'0:%06.3f',-0.145", float64(i)*0.01) }),
			rate: 100, labels: "MLII", first: []int32{-145}, last: []int32{-145}, length: 100, volts: -0.145e-3},
		{name: "exponents and words", text: "x\n1e-3\nnan\n-2.5E-2\n", given: 1, rate: 1, labels: "x", first: []int32{1}, last: []int32{-25}, length: 3, volts: 0.001},
		{name: "ragged", text: "a,b\n1,2\n3\n5,6\n", given: 1, rate: 1, labels: "a|b", first: []int32{1, 2}, last: []int32{5, 6}, length: 3, volts: 1},
		{name: "no line end at the end", text: "x\n1\n2", given: 1, rate: 1, labels: "x", first: []int32{1}, last: []int32{2}, length: 2, volts: 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f, err := openBytes([]byte(tc.text), "a.csv", OpenOptions{RateHz: tc.given})
			if err != nil {
				t.Fatal(err)
			}
			defer f.Close()
			info := f.Describe()
			var labels []string
			for _, c := range info.Channels {
				labels = append(labels, c.Label)
			}
			if got := strings.Join(labels, "|"); got != tc.labels {
				t.Fatalf("channels %q, want %q", got, tc.labels)
			}
			if !near(info.ClaimedRateHz, tc.rate, 1e-6) {
				t.Errorf("rate %.9g, want %g", info.ClaimedRateHz, tc.rate)
			}
			if f.Len() != tc.length {
				t.Errorf("%d samples, want %d", f.Len(), tc.length)
			}
			gaps := ""
			if g := f.Gaps(); len(g) > 0 {
				gaps = fmt.Sprint(g)
			}
			if gaps != tc.gaps {
				t.Errorf("gaps %v, want %v", gaps, tc.gaps)
			}
			counts := all(t, f)
			for c := range counts {
				if counts[c][0] != tc.first[c] || counts[c][len(counts[c])-1] != tc.last[c] {
					t.Errorf("channel %d is %d … %d, want %d … %d", c, counts[c][0], counts[c][len(counts[c])-1], tc.first[c], tc.last[c])
				}
			}
			if got := info.Channels[0].Value(counts[0][0]); !math.IsNaN(tc.volts) && math.Abs(got-tc.volts) > 1e-12 {
				t.Errorf("first value %g, want %g", got, tc.volts)
			}
		})
	}
}

// A board 2.5 % off, times stamped on arrival in lumps of 16 ms: the rate is
// found and no gap imagined.
func TestCSVLumpyClock(t *testing.T) {
	text := "time_s,x\n" + rows(20000, func(i int) string {
		s := float64(i) / 975
		return fmt.Sprintf("%.4f,%d", math.Floor(s/0.016)*0.016, i)
	})
	f, err := openBytes([]byte(text), "a.csv", OpenOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if r := f.Describe().ClaimedRateHz; !near(r, 975, 1e-3) || len(f.Gaps()) > 0 {
		t.Errorf("%g Hz, want 975; %d gaps, want none", r, len(f.Gaps()))
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	for _, tc := range []struct{ name, content, want string }{
		{"empty.csv", "", "empty"},
		{"norate.csv", "x\n1\n2\n", "-rate 250"},
		{"words.txt", "Dear evening class,\nplease bring the lamp clips\nand a 5 V supply.\n", "line "},
		{"picture.png", "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "EDF, EDF+, BDF, BDF+, WAV, CSV"},
		{"time.csv", "time_s\n0\n1\n", "only a time column"},
		{"a.hea", "a 1 250 10\nb.dat 16\n", "put it beside it"},
		{"b.hea", "b 1 250 10\n../../secret 16\n", "own folder"},
		{"c.hea", "c 1 250 10\nc.dat 9\n", "are read"},
		{"short.wav", "RIFF\x00\x00\x00\x00WAVE", "no format chunk"},
	} {
		path := filepath.Join(dir, tc.name)
		must(t, os.WriteFile(path, []byte(tc.content), 0o644))
		_, err := Open(path)
		if err == nil || !strings.Contains(err.Error(), tc.want) || !strings.Contains(err.Error(), dir) {
			t.Errorf("%s: %v, want %q and the path in it", tc.name, err, tc.want)
		}
	}
	if _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "a folder") {
		t.Errorf("a folder: %v", err)
	}
	if _, err := Open(filepath.Join(dir, "none.edf")); !os.IsNotExist(unwrapPath(err)) && !strings.Contains(err.Error(), "no such") {
		t.Errorf("no file: %v", err)
	}
}

// One column whose header has a unit is one channel: the blank in front of it parts nothing.
func TestOneColumnWithUnit(t *testing.T) {
	for _, text := range []string{"pulse [V]\n2.5\n2.625\n", "# rate 250 Hz\npulse [V]\n2.5\n2.625\n2.5\n"} {
		path := filepath.Join(t.TempDir(), "one.csv")
		must(t, os.WriteFile(path, []byte(text), 0o600))
		f, err := OpenWith(path, OpenOptions{RateHz: 250})
		if err != nil {
			t.Fatal(err)
		}
		info := f.Describe()
		if len(info.Channels) != 1 || info.Channels[0].Label != "pulse" || info.Channels[0].Unit != "V" {
			t.Errorf("%q: channels %+v", text, info.Channels)
		} else if counts := all(t, f); info.Channels[0].Value(counts[0][1]) != 2.625 {
			t.Errorf("%q: the second value is %v", text, info.Channels[0].Value(counts[0][1]))
		}
		f.Close()
	}
}

// TestCSVSaysWhatItsLongLineIs: the settings are the last comment, after a line that says what they are; without that
// line, as older files are, they are read as well.
func TestCSVSaysWhatItsLongLineIs(t *testing.T) {
	w := create(t, "a.edf", 250, lampClip())
	must(t, w.Write([][]int32{noise(lampClip(), 500, 1)}, 0))
	must(t, w.Close())
	for _, o := range []ExportOptions{{Settings: map[string]int{"hum": 50}}, {Settings: map[string]int{"hum": 50}, Counts: true}} {
		var b strings.Builder
		must(t, ExportCSV(&b, mustOpen(t, w.Path()), o))
		text := b.String()
		comments, _, _ := strings.Cut(text, "\r\ntime_s")
		lines := strings.Split(comments, "\r\n")
		if n := len(lines); lines[n-2]+"\r\n" != skipLine || !strings.Contains(lines[n-1], `{"hum":50}`) {
			t.Errorf("counts %v: the comments are %q", o.Counts, lines)
		}
		for _, text := range []string{text, strings.Replace(text, skipLine, "", 1)} {
			path := filepath.Join(t.TempDir(), "a.csv")
			must(t, os.WriteFile(path, []byte(text), 0o600))
			f := mustOpen(t, path)
			if f.Len() != 500 || f.Describe().ClaimedRateHz != 250 || string(f.Settings()) != `{"hum":50}` {
				t.Errorf("counts %v: %d samples at %g Hz, settings %s", o.Counts, f.Len(), f.Describe().ClaimedRateHz, f.Settings())
			}
		}
	}
}
