package serialport

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire"
)

func TestAdvice(t *testing.T) {
	for line, want := range map[string]string{
		"0x1FG": "0x1FF", "512,0x1ff.2": "0x1FF", "1FF": "0x1FF", "3A 7F": "0x1FF",
		"2.915 V": "the unit once", "2.915V": "the unit once", "512 mV, 3 mV": "the unit once", "pulse: 512 mV": "the unit once", "72 bpm": "the unit once",
		"51'200": "thousands", "12:30:05.120 -> 512": "t_ms",
		`{"pulse": 512}`: "alone", "(512, 3)": "alone", ">pulse:512": "alone", `"512"`: "alone", "$512": "alone",
		"pulse 512": "colon", "S512": "colon", "light level = 12 3 4": "commas between", "hello there": "commas between",
		"": "", "\xfe\xfe\x80": "", `\xfe`: "", "�z": "", "é~": "", "ok": "",
	} {
		got := advice(line)
		if !strings.Contains(got, want) || (got == "") != (want == "") {
			t.Errorf("%q: %q, want %q in it", line, got, want)
		}
	}
}

// TestErrorsSayWhatToPrint: what a board prints instead of lines of numbers, and what
// is told then.
func TestErrorsSayWhatToPrint(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		line func(int) string
		bauds,
		want string
	}{
		"hex":        {func(i int) string { return fmt.Sprintf("0x%X!\n", 512+i%9) }, "baud=9600", `such as "0x20`},
		"json":       {func(i int) string { return fmt.Sprintf("{\"pulse\": {\"v\": %d}}\n", 512+i%9) }, "baud=9600", "print the numbers alone"},
		"found baud": {func(i int) string { return fmt.Sprintf("12:30:05 -> %d\n", 512+i%9) }, "", `at 9600 baud it prints "12:30`},
		"no end":     {func(i int) string { return "512," }, "baud=9600", `"512,512,`},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			b := &fakeBoard{trueBaud: 9600, interval: 8 * time.Millisecond, line: c.line}
			if _, err := openFake(t, b, "serial:fake?"+c.bauds); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v\nwant one with %s", err, c.want)
			}
		})
	}
}

// TestValuesThatAreNone: what stands for no number is none, and is told.
func TestValuesThatAreNone(t *testing.T) {
	for value, want := range map[string]struct {
		count int32
		hint  string
	}{
		"nan(0x8)": {acquire.MissingCount, ""}, "-nan(ind)": {acquire.MissingCount, ""}, "-inf": {acquire.MissingCount, ""},
		"7e32": {acquire.MissingCount, "1 values beyond"}, "123456789012345678901": {acquire.MissingCount, "1 values beyond"}, "3000000000": {acquire.MissingCount, "1 values beyond"},
	} {
		d := NewLineDecoder(nil)
		r := readAll(t, d, []byte("\n1\n2\n"+value+"\n3\n"), 5, func() int { return 3 })
		if len(r.counts[0]) != 4 || r.counts[0][2] != want.count {
			t.Errorf("%s: %v", value, r.counts)
		}
		if got := strings.Join(d.hints(), "; "); !strings.HasPrefix(got, want.hint) || (got == "") != (want.hint == "") {
			t.Errorf("%s: hints %q, want %q", value, got, want.hint)
		}
	}
	d := NewLineDecoder(nil)
	r := readAll(t, d, []byte("\n1\n2\n1.#INF\n-1.#IND\n3\n"), 5, func() int { return 100 })
	if len(r.counts[0]) != 3 || r.stats.unreadable != 2 {
		t.Errorf("1.#INF: %v, %d unreadable, want 3 samples and 2", r.counts, r.stats.unreadable)
	}
	d = NewLineDecoder(nil)
	readAll(t, d, []byte("\nlamp,chest\n"+strings.Repeat("512,nan\n", 60)), 40, func() int { return 1 + rand.IntN(20) })
	if got := fmt.Sprint(d.hints()); got != "[chest has had no number so far]" {
		t.Errorf("hints %s of a column of nan", got)
	}
}

func TestCommaMeantOtherwiseIsTold(t *testing.T) {
	for lines, want := range map[string]bool{"2,050\n2,312\n": true, "51,200\n51,076\n": true, "1,5;3\n2,5;4\n": false, "050,012\n": false, "2,50\n3,12\n": false, "12,0\n": false, "12, 050\n": false} {
		d := NewLineDecoder(nil)
		readAll(t, d, []byte("\n"+lines), len(lines)+1, func() int { return 1 })
		if got := strings.Contains(fmt.Sprint(d.hints()), "a comma is read as separating"); got != want {
			t.Errorf("%q: hints %v", lines, d.hints())
		}
	}
}
