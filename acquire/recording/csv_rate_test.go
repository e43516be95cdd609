package recording

import (
	"fmt"
	"strings"
	"testing"
)

// TestRateInWords: the sample rate, and no other number, of a line that people write above a table.
func TestRateInWords(t *testing.T) {
	for text, want := range map[string]float64{
		"rate 250 Hz": 250, "fs=250": 250, "Sampling rate: 0.25 kHz": 250, "250 Hz": 250, "sampled at 1.5 kHz": 1500, "Rate: 250": 250, "Sampling rate,250": 250,
		"Abtastrate: 249,5 Hz": 249.5, "Sampling rate: 1,024 Hz": 1024, "Sampling rate: 2 048 Hz": 2048, "fs: 0,25 kHz": 250, "fs: .25 kHz": 250, "sample_rate = 360": 360, "Sampling frequency (Hz): 500": 500, "Frequency: 128 Hz": 128,
		"Heart rate: 75": 0, "Respiration rate: 15": 0, "baud rate: 115200": 0, "Notch filter 50 Hz": 0, "Bandpass 0.5-40 Hz": 0, "Mains frequency: 60": 0, "cutoff frequency: 40": 0, "LED PWM 1000 Hz": 0, "I2C 400 kHz": 0, "Samples: 2500": 0,
		"sample 3": 0, "Mains frequency: 60 Hz": 0, "board 7, 5 V": 0,
	} {
		if got, doubtful := rateIn(text); got != want || doubtful {
			t.Errorf("%q: %g Hz (in doubt: %v), want %g", text, got, doubtful, want)
		}
	}
	if got, doubtful := rateIn("waveform a, 720 Hz, counts"); got != 720 || !doubtful {
		t.Errorf("%g, %v", got, doubtful)
	}
	f, err := openBytes([]byte("# Notch 50 Hz\n# fs = 250\nppg\n1\n2\n# note: 60 Hz hum begins\n3\n"), "a.csv", OpenOptions{})
	if err != nil || f.info.ClaimedRateHz != 250 {
		t.Errorf("%+v, %v", f, err)
	}
	f, err = openBytes([]byte("# fs = 100\nppg\n1\n2\n3\n"), "a.csv", OpenOptions{RateHz: 250})
	if err != nil || f.info.ClaimedRateHz != 250 || !strings.Contains(strings.Join(f.Remarks(), " "), "the given 250 Hz was used") {
		t.Errorf("what is given comes before a comment: %+v, %v", f, err)
	}
}

// TestCSVUnevenClocks: lost rows, a changed step and packets are placed by their times, or told.
func TestCSVUnevenClocks(t *testing.T) {
	table := func(at func(i int) float64, keep func(i int) bool) string {
		var b strings.Builder
		b.WriteString("time [s],pulse [V]\n")
		for i := range 20_000 {
			if keep(i) {
				fmt.Fprintf(&b, "%.4f,%.3f\n", at(i), float64(i%100)/100)
			}
		}
		return b.String()
	}
	all := func(int) bool { return true }
	even := func(i int) float64 { return 0.004 * float64(i) }
	lost := func(share float64) func(int) bool {
		return func(i int) bool { return float64((i*7919)%1000) >= 1000*share }
	}
	for _, c := range []struct {
		name   string
		text   string
		rate   float64
		length int64
		told   string
	}{
		{"6 % lost", table(even, lost(0.06)), 250, 20_000, "clock jumps"},
		{"40 % lost", table(even, lost(0.4)), 250, 20_000, "clock jumps"},
		{"4 ms, then 8 ms", table(func(i int) float64 { return 0.004*float64(i) + 0.004*float64(max(0, i-10_000)) }, all), 250, 30_000, "clock jumps"},
		{"ten rows, then a pause of a second", table(func(i int) float64 { return 0.004*float64(i%10) + float64(i/10) }, all), 250, 499_760, "clock jumps"},
		{"8 ms, then 4 ms, later than is looked at first", "", 0, 0, "steps of its clock change"},
		{"packets of twelve with one time, some lost", table(func(i int) float64 { return 0.048 * float64(i/12) }, func(i int) bool { return i/12%10 != 3 }), 0, 0, "unevenly"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if c.text == "" && testing.Short() {
				t.Skip("420,000 rows")
			}
			if c.text == "" {
				var b strings.Builder
				b.WriteString("t_ms,pulse [V]\n")
				for i, at := 0, 0; i < 420_000; i++ {
					fmt.Fprintf(&b, "%d,0.5\n", at)
					if at += 8; i > 210_000 {
						at -= 4
					}
				}
				c.text = b.String()
			}
			f, err := openBytes([]byte(c.text), "a.csv", OpenOptions{})
			if err != nil {
				if c.rate != 0 || !strings.Contains(err.Error(), c.told) {
					t.Fatal(err)
				}
				return
			}
			defer f.Close()
			if told := strings.Join(f.Remarks(), "; "); !strings.Contains(told, c.told) {
				t.Errorf("told %q, want %q in it", told, c.told)
			}
			if c.rate > 0 && (!near(f.info.ClaimedRateHz, c.rate, 1e-6) || f.Len() < c.length-10 || f.Len() > c.length+10) {
				t.Errorf("%.6g Hz, %d samples; want %g and %d", f.info.ClaimedRateHz, f.Len(), c.rate, c.length)
			}
		})
	}
}

// TestCSVOddRows: what people's files hold besides numbers changes no number silently.
func TestCSVOddRows(t *testing.T) {
	rows := func(head string, n int, row func(i int) string) string {
		var b strings.Builder
		b.WriteString(head)
		for i := range n {
			b.WriteString(row(i) + "\n")
		}
		return b.String()
	}
	for _, c := range []struct {
		name, text string
		options    OpenOptions
		labels     string
		last       []float64 // values of the last row; empty: an error or a remark is enough
		told       string
	}{
		{"a sign for inches", rows("ppg [V],note\n", 2500, func(i int) string {
			if i == 100 {
				return `0.5,5" cable touched`
			}
			return fmt.Sprintf("%d,", i)
		}), OpenOptions{RateHz: 250, Columns: []string{"1"}}, "ppg", []float64{2499}, ""},
		{"decimal commas in quotes, commas between", rows("\"Zeit [s]\",\"Puls [V]\"\n", 500, func(i int) string {
			return strings.ReplaceAll(fmt.Sprintf("\"%.3f\"|\"%.3f\"", 0.004*float64(i), 0.5+float64(i%7)/1000), ".", ",")
		}), OpenOptions{}, "Puls", []float64{0.502}, ""},
		{"thousands with points, decimals with commas", rows("t_ms;PPG\n", 500, func(i int) string { return fmt.Sprintf("%d;1.%03d,5", 4*i, i) }), OpenOptions{}, "PPG", []float64{1499.5}, ""},
		{"blanks between decimal commas", rows("", 500, func(i int) string { return fmt.Sprintf("%d,5 0,%03d", i, i) }), OpenOptions{RateHz: 250}, "channel 1|channel 2", []float64{499.5, 0.499}, ""},
		{"decimal commas alone below a name", rows("PPG [V]\n", 500, func(i int) string { return fmt.Sprintf("1,%03d", 100+i) }), OpenOptions{RateHz: 250}, "PPG", []float64{1.599}, ""},
		{"decimal commas alone", rows("", 500, func(i int) string { return fmt.Sprintf("0,%03d", i) }), OpenOptions{RateHz: 250}, "channel 1", []float64{0.499}, ""},
		{"microseconds behind a colon", rows("time,ppg\n", 500, func(i int) string { return fmt.Sprintf("12:00:%02d:%06d,%d", i*4000/1000000, i*4000%1000000, i) }), OpenOptions{}, "ppg", []float64{499}, ""},
		{"units in the cells that change", rows("ppg\n", 500, func(i int) string {
			if i > 200 {
				return "1.146 V"
			}
			return "912 mV"
		}), OpenOptions{RateHz: 250}, "ppg", nil, "no number"},
		{"an empty line where a sample is missing", rows("ppg\n", 500, func(i int) string {
			if i%3 == 1 {
				return ""
			}
			return fmt.Sprint(i)
		}), OpenOptions{RateHz: 250}, "ppg", []float64{498}, "empty lines between the rows"},
		{"units in the cells and others in the header", rows("ppg [V]\n", 100, func(i int) string { return "512 mV" }), OpenOptions{RateHz: 250}, "ppg", []float64{0.512}, ""},
		{"pairs in another order", rows("", 500, func(i int) string {
			if i%2 == 1 {
				return fmt.Sprintf(`{"t_ms":%d,"ecg":512,"ppg":5}`, 4*i)
			}
			return fmt.Sprintf(`{"t_ms":%d,"ppg":5,"ecg":512}`, 4*i)
		}), OpenOptions{}, "ppg|ecg", []float64{5, 512}, ""},
		{"columns named data and T", rows("timestamp,data,T\n", 500, func(i int) string { return fmt.Sprintf("%.3f,%d,%d", 0.004*float64(i), 500+i%9, 20-i%3) }), OpenOptions{}, "data|T", []float64{504, 19}, ""},
		{"a column named sample that is the signal", rows("sample\n", 500, func(i int) string { return fmt.Sprint(500 + i%9) }), OpenOptions{RateHz: 250}, "sample", []float64{504}, ""},
		{"Windows' letters", rows("Zeit [\xb5s],EKG [\xb5V]\n", 500, func(i int) string { return fmt.Sprintf("%d,%d", 4000*i, i) }), OpenOptions{}, "EKG", []float64{499e-6}, ""},
		{"a unit that is none of time", "when,a\n0,1\n4,2\n8,3\n", OpenOptions{Time: "when [parsec]"}, "", nil, "none of time"},
		{"negative in parentheses", "ppg [V]\n(0.088)\n(0.089)\n", OpenOptions{RateHz: 250}, "", nil, "no row of numbers"},
		{"a pause over midnight, date and time apart", rows("Date,Time,ppg\n", 1000, func(i int) string {
			s := 20*3600 + 4*3600 - 2 + float64(i)*0.004
			if i >= 500 {
				s += 10
			}
			day := "2026-03-21"
			if s >= 86400 {
				s, day = s-86400, "2026-03-22"
			}
			return fmt.Sprintf("%s,%02d:%02d:%06.3f,%d", day, int(s)/3600, int(s)/60%60, s-float64(int(s)/60*60), i)
		}), OpenOptions{}, "ppg", []float64{999}, "clock jumps 1 time"},
		{"names that end in a unit", rows("time_ms,ECG_mV\n", 100, func(i int) string { return fmt.Sprintf("%d,%d", 4*i, i) }), OpenOptions{}, "ECG", []float64{0.099}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.ReplaceAll(c.text, "\"|\"", "\",\"")
			f, err := openBytes([]byte(text), "a.csv", c.options)
			if err != nil {
				if len(c.last) > 0 || !strings.Contains(err.Error(), c.told) {
					t.Fatal(err)
				}
				return
			}
			defer f.Close()
			var labels []string
			for _, ch := range f.info.Channels {
				labels = append(labels, ch.Label)
			}
			told := strings.Join(f.Remarks(), "; ")
			if got := strings.Join(labels, "|"); got != c.labels || !strings.Contains(told, c.told) {
				t.Fatalf("channels %q, told %q; want %q and %q", got, told, c.labels, c.told)
			}
			last := make([][]int32, len(labels))
			for k := range last {
				last[k] = make([]int32, 1)
			}
			if _, err := f.ReadAt(last, f.Len()-1); err != nil {
				t.Fatal(err)
			}
			for k, want := range c.last {
				ch := f.info.Channels[k]
				got := ch.Value(last[k][0])
				if ch.VoltsPerCount == 0 {
					got = float64(last[k][0])
					for range ch.Digits {
						got /= 10
					}
				}
				if !near(got, want, 1e-6) {
					t.Errorf("the last value of %s is %g, want %g", labels[k], got, want)
				}
			}
		})
	}
}
