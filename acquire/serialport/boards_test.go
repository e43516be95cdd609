//go:build linux || darwin

package serialport

import (
	"context"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
)

// habit is a board that prints in its own way, and what must come of it.
type habit struct {
	name    string
	hello   string // printed first
	line    func(i int) string
	options string
	ms      int // between lines; 0 is 4
	labels  string
	units   string  // of the channels, "-" for counts; "" for all counts
	digits  int     // of the first channel
	rate    float64 // claimed; 0 is none
	says    string  // in Health.Detail
	fails   string  // in the error of opening
	free    bool    // the first channel's counts are not wave's
}

// wave is a value that tells its place.
func wave(i int) int { return 300 + (i*37)%601 }

func printed(format string, values func(i int) []any) func(int) string {
	return func(i int) string { return fmt.Sprintf(format, values(i)...) }
}

func one(i int) []any { return []any{wave(i)} }
func two(i int) []any { return []any{wave(i), (i * 7) % 50} }

// stampedEvery prints a clock of so many ticks a line beside a value.
func stampedEvery(ticks, from int64) func(int) []any {
	return func(i int) []any { return []any{from + ticks*int64(i), wave(i)} }
}

var habits60 = []habit{
	{name: "one number", line: printed("%d\r\n", one), labels: "ch1"},
	{name: "LF", line: printed("%d\n", one), labels: "ch1"},
	{name: "CR", line: printed("%d\r", one), labels: "ch1"},
	{name: "comma", line: printed("%d,%d\r\n", two), labels: "ch1 ch2"},
	{name: "comma and space", line: printed("%d, %d\r\n", two), labels: "ch1 ch2"},
	{name: "tab", line: printed("%d\t%d\r\n", two), labels: "ch1 ch2"},
	{name: "space", line: printed("%d %d\r\n", two), labels: "ch1 ch2"},
	{name: "semicolon", line: printed("%d;%d\r\n", two), labels: "ch1 ch2"},
	{name: "trailing comma", line: printed("%d,%d,\r\n", two), labels: "ch1 ch2"},
	{name: "three, two of them limits", line: printed("%d,0,1023\r\n", one), labels: "ch1 ch2 ch3"},
	{name: "header", hello: "pulse,ecg\r\n", line: printed("%d,%d\r\n", two), labels: "pulse ecg"},
	{name: "header with units", hello: "pulse [mV],temp [C]\r\n", line: printed("%d,%d\r\n", two), labels: "pulse temp", units: "V C"},
	{name: "pairs with colon", line: printed("pulse:%d,ecg:%d\r\n", two), labels: "pulse ecg"},
	{name: "pairs with equals", line: printed("pulse=%d ecg=%d\r\n", two), labels: "pulse ecg"},
	{name: "pairs with spaces", line: printed("Pulse Sensor=%d , Temp=%d\r\n", two), labels: "Pulse Sensor|Temp"},
	{name: "words before", line: printed("Sensor value: %d\r\n", one), labels: "Sensor value"},
	{name: "word before", line: printed("Signal %d\r\n", one), labels: "Signal"},
	{name: "words between", line: printed("Signal %d BPM 72 IBI 833\r\n", one), labels: "Signal BPM IBI"},
	{name: "bars between", line: printed("IR: %d | Red: %d\r\n", two), labels: "IR Red"},
	{name: "prompt", line: printed("> %d\r\n", one), labels: "ch1"},
	{name: "prompt and pair", line: printed(">pulse:%d\r\n", one), labels: "pulse"},
	{name: "object", line: printed("{\"ir\":%d,\"red\":%d}\r\n", two), labels: "ir red"},
	{name: "object with spaces", line: printed("{\"ir\": %d, \"red\": %d, \"ok\": true}\r\n", two), labels: "ir red ok"},
	{name: "array", line: printed("[%d,%d]\r\n", two), labels: "ch1 ch2"},
	{name: "brackets", line: printed("(%d, %d)\r\n", two), labels: "ch1 ch2"},
	{name: "0x", line: printed("0x%03X\r\n", one), labels: "ch1"},
	{name: "bare hex", line: printed("%X\r\n", one), labels: "ch1", says: "hexadecimal"},
	{name: "volts, two decimals", line: printed("%d.%02d\r\n", func(i int) []any { return []any{wave(i) / 100, wave(i) % 100} }), labels: "ch1", digits: 2},
	{name: "unit behind", line: printed("%d.%02d V\r\n", func(i int) []any { return []any{wave(i) / 100, wave(i) % 100} }), labels: "ch1", units: "V", digits: 2},
	{name: "unit glued", line: printed("%dmV\r\n", one), labels: "ch1", units: "V"},
	{name: "named with unit", line: printed("Voltage: %d mV\r\n", one), labels: "Voltage", units: "V"},
	{name: "decimal comma beside semicolon", line: printed("%d,%02d;%d,5\r\n", func(i int) []any { return []any{wave(i) / 100, wave(i) % 100, i % 7} }), labels: "ch1 ch2", digits: 2},
	{name: "decimal comma beside tab", line: printed("%d,%02d\t%d,5\r\n", func(i int) []any { return []any{wave(i) / 100, wave(i) % 100, i % 7} }), labels: "ch1 ch2", digits: 2},
	{name: "decimal comma of a pair", line: printed("pulse:%d,%02d\r\n", func(i int) []any { return []any{wave(i) / 100, wave(i) % 100} }), labels: "pulse", digits: 2},
	{name: "decimal comma by its zeros", line: printed("%d,%03d\r\n", func(i int) []any { return []any{wave(i) / 1000, wave(i) % 1000} }), labels: "ch1 ch2", free: true},
	{name: "decimal comma of thousandths", line: printed("%d,%03d\r\n", func(i int) []any { return []any{wave(i*29) * 5 / 1000, wave(i*29) * 5 % 1000} }), labels: "ch1", digits: 3, says: "decimal marks", free: true},
	{name: "exponents", line: printed("%de0\r\n", one), labels: "ch1"},
	{name: "signs", line: printed("%+d\r\n", one), labels: "ch1"},
	{name: "nan now and then", line: func(i int) string {
		if i%10 == 3 {
			return "1,nan\r\n"
		}
		return "1,2\r\n"
	}, labels: "ch1 ch2", free: true},
	{name: "64 columns", ms: 20, line: func(i int) string { return fmt.Sprint(wave(i)) + strings.Repeat(",7", 63) + "\n" }, labels: columnNames(64)},
	{name: "65 columns", ms: 20, line: func(i int) string { return fmt.Sprint(wave(i)) + strings.Repeat(",7", 64) + "\n" }, fails: "no readable line"},
	{name: "banner", hello: "\r\n*** Pulse board v1.2 ***\r\nSensor init... OK\r\nADC 10 bit, ref 5.0 V\r\nStarting!\r\n", line: printed("%d\r\n", one), labels: "ch1"},
	{name: "text between", line: func(i int) string {
		if i%40 == 7 {
			return fmt.Sprintf("Beat! BPM = 72\r\nthreshold 530 gain=10\r\n%d\r\n", wave(i))
		}
		return fmt.Sprintf("%d\r\n", wave(i))
	}, labels: "ch1"},
	{name: "micros", line: printed("%d,%d\r\n", stampedEvery(4000, 81234)), labels: "ch1", rate: 250},
	{name: "millis", line: printed("%d,%d\r\n", stampedEvery(4, 81234)), labels: "ch1", rate: 250},
	{name: "millis about to wrap", line: func(i int) string {
		return fmt.Sprintf("%d,%d\r\n", uint32(int64(4294967296-1000)+int64(4*i)), wave(i))
	}, labels: "ch1", rate: 250},
	{name: "millis, tab, value", line: printed("%d\t%d\r\n", stampedEvery(4, 5)), labels: "ch1", rate: 250},
	{name: "header millis", hello: "millis,ir\r\n", line: printed("%d,%d\r\n", stampedEvery(4, 0)), labels: "ir", rate: 250},
	{name: "time and pulse pairs", line: printed("time:%d,pulse:%d\r\n", stampedEvery(4, 0)), labels: "pulse", rate: 250},
	{name: "t_us pairs", line: printed("t_us:%d,pulse:%d\r\n", stampedEvery(4000, 0)), labels: "pulse", rate: 250},
	{name: "seconds", line: func(i int) string { return fmt.Sprintf("%.3f,%d\r\n", float64(i)*0.004, wave(i)) }, labels: "ch1", rate: 250},
	{name: "time in an object", line: printed("{\"time\":%d,\"ir\":%d}\r\n", stampedEvery(4, 900)), labels: "ir", rate: 250},
	{name: "a counter", line: printed("%d,%d\r\n", stampedEvery(1, 40)), labels: "ch1"},
	{name: "header every 100 lines, joined late", line: func(i int) string {
		if i%300 == 290 {
			return fmt.Sprintf("t_ms,pulse\r\n%d,%d\r\n", 4*i, wave(i))
		}
		return fmt.Sprintf("%d,%d\r\n", 4*i, wave(i))
	}, labels: "ch1", rate: 250, says: "names its columns t_ms, pulse"},
	{name: "rate claimed", hello: "# rate 250 Hz\r\n", line: printed("%d\r\n", one), labels: "ch1", rate: 250},
	{name: "left out by the user", options: "&names=pulse%20[mV],-", line: printed("%d,%d\r\n", two), labels: "pulse", units: "V"},
	{name: "kinds by the user", options: "&names=red%20(pulse),lead%20[mV]%20(ecg)", line: printed("%d,%d\r\n", two), labels: "red lead", units: "- V"},
	{name: "clock named by the user", options: "&names=t_ms,red", line: printed("%d,%d\r\n", stampedEvery(4, 7)), labels: "red", rate: 250},
	{name: "counter kept by the user", options: "&names=n1,n2", line: printed("%d,%d\r\n", func(i int) []any { return []any{wave(i), i} }), labels: "n1 n2"},
	{name: "10 Hz", ms: 100, line: printed("%d\r\n", one), labels: "ch1"},
	{name: "no newline", line: printed("%d ", one), fails: "end each line"},
	{name: "menu", ms: 100, line: func(int) string { return "Press any key to start\r\n" }, fails: "Press any key"},
	{name: "time of day", line: printed("12:30:05.120 -> %d\r\n", one), fails: "time of day"},
	{name: "nested object", line: printed("{\"a\":{\"b\":%d}}\r\n", one), fails: "the numbers alone"},
	{name: "text only", line: func(int) string { return "beat\r\n" }, fails: "lines of numbers"},
}

func columnNames(n int) string {
	names := make([]string, n)
	for i := range names {
		names[i] = fmt.Sprintf("ch%d", i+1)
	}
	return strings.Join(names, " ")
}

// TestSixtyBoards reads each habit through a pseudo-terminal: columns, decimals, units,
// rate, words, and every value in its place.
func TestSixtyBoards(t *testing.T) {
	if len(habits60) < 60 {
		t.Fatalf("%d habits", len(habits60))
	}
	room := make(chan struct{}, 16) // they mostly wait
	var wg sync.WaitGroup
	for _, h := range habits60 {
		wg.Go(func() {
			room <- struct{}{}
			defer func() { <-room }()
			if err := h.try(t); err != nil {
				t.Errorf("%s: %v", h.name, err)
			}
		})
	}
	wg.Wait()
}

func (h habit) try(t *testing.T) error {
	ctx, cancel := context.WithTimeout(context.Background(), 60*time.Second)
	defer cancel()
	b := newPtyBoard(t)
	defer b.unplug()
	b.say("\n" + h.hello)
	if h.ms == 0 {
		h.ms = 4
	}
	lumped := 5 // as an adapter lumps; fewer wake-ups
	if h.ms >= 20 {
		lumped = 1
	}
	b.print(time.Duration(h.ms*lumped)*time.Millisecond, 0, func(k int) string {
		var s strings.Builder
		for i := range lumped {
			s.WriteString(h.line(k*lumped + i))
		}
		return s.String()
	})
	s, err := acquire.Openers{"serial": Open}.Open(ctx, "serial:"+b.link+"?baud=115200"+h.options)
	if h.fails != "" {
		if err == nil {
			s.Close()
		}
		if err == nil || !strings.Contains(err.Error(), h.fails) {
			return fmt.Errorf("error %v, want one with %q", err, h.fails)
		}
		return nil
	}
	if err != nil {
		return err
	}
	defer s.Close()
	if err := h.described(s.Describe()); err != nil {
		return err
	}
	want := 350
	if h.ms > 4 {
		want = 30
	}
	if err := h.counts(ctx, s, want); err != nil {
		return err
	}
	if d := s.(acquire.HealthReporter).Health().Detail; !strings.Contains(d, h.says) {
		return fmt.Errorf("detail %q, want %q in it", d, h.says)
	}
	return nil
}

func (h habit) described(info acquire.Info) error {
	var labels, units []string
	for _, c := range info.Channels {
		labels = append(labels, c.Label)
		units = append(units, map[bool]string{true: "-", false: c.Unit}[c.Unit == ""])
	}
	between := " "
	if strings.Contains(h.labels, "|") {
		between = "|"
	}
	if got := strings.Join(labels, between); got != h.labels && len(labels) > 1 || len(labels) == 1 && labels[0] != h.labels {
		return fmt.Errorf("labels %q, want %q", got, h.labels)
	}
	if got := strings.Join(units, " "); h.units != "" && got != h.units || h.units == "" && strings.Trim(got, "- ") != "" {
		return fmt.Errorf("units %q, want %q", got, h.units)
	}
	if info.Channels[0].Digits != h.digits {
		return fmt.Errorf("%d digits, want %d", info.Channels[0].Digits, h.digits)
	}
	if info.ClaimedRateHz != h.rate {
		return fmt.Errorf("claims %g Hz, want %g", info.ClaimedRateHz, h.rate)
	}
	return nil
}

// counts reads so many samples, each of which must follow from the one before.
func (h habit) counts(ctx context.Context, s acquire.Source, want int) error {
	place := map[int32]int{}
	for i := range 601 {
		place[int32(wave(i))] = i
	}
	at := -1
	for n := 0; n < want; {
		b, err := s.Read(ctx)
		if err != nil {
			return err
		}
		if b.Lost > 0 || b.Jump {
			return fmt.Errorf("%d lost, jump %t at %d", b.Lost, b.Jump, b.First)
		}
		n += b.Len()
		if h.free || b.Len() == 0 {
			continue
		}
		for _, c := range b.Counts[0] {
			k, ok := place[c]
			if !ok || at >= 0 && k != (at+1)%601 {
				return fmt.Errorf("count %d stands after place %d, want %d", c, at, wave((at+1)%601))
			}
			at = k
		}
	}
	return nil
}

// TestUnevenStamps: a loop that slows from 461 to 193 lines a second, and one that stands
// still for 80 ms each second, both print the time. What comes stands on an even grid at its
// own time, pauses are lost samples, and the count gives the board's time throughout.
func TestUnevenStamps(t *testing.T) {
	t.Parallel()
	for name, period := range map[string]func(i int) int64{
		"slows": func(i int) int64 {
			if i < 900 {
				return 2170
			}
			return 5180
		},
		"display": func(i int) int64 {
			if i%184 == 183 {
				return 85000
			}
			return 5000
		},
		"jitter": func(i int) int64 { return 3000 + int64(i*7919%2000) },
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			micros := int64(123456)
			var lines []string
			var times []int64
			for i := range 1500 {
				lines = append(lines, fmt.Sprintf("t_us:%d,pulse:%d\r\n", micros, micros/1000))
				times = append(times, micros)
				micros += period(i)
			}
			b := newPtyBoard(t)
			b.say("\n")
			began, at := time.Now(), 0
			b.print(5*time.Millisecond, 0, func(int) string {
				var s strings.Builder
				for at < len(lines) && times[at]-times[0] <= time.Since(began).Microseconds() {
					s.WriteString(lines[at])
					at++
				}
				return s.String()
			})
			s := b.mustOpen("baud=115200")
			rate := s.Describe().ClaimedRateHz
			last := float64(times[1450]-times[0]) / 1e6
			var lost int64
			for seconds := 0.0; seconds < last; {
				block, err := s.Read(deadline(t))
				if err != nil {
					t.Fatal(err)
				}
				lost += block.Lost
				for i := range block.Len() {
					seconds = float64(block.First+int64(i)) / rate
					if want := 123.456 + 1000*seconds; float64(block.Counts[0][i]) < want-2 || float64(block.Counts[0][i]) > want+2 {
						t.Fatalf("%g Hz: sample %d is %d, and its time %g ms", rate, block.First+int64(i), block.Counts[0][i], want)
					}
				}
			}
			detail := s.Source.(acquire.HealthReporter).Health().Detail
			switch name {
			case "display":
				if pauses := int64(last / 1.0); rate != 200 || lost < 16*(pauses-1) || lost > 16*(pauses+1) || !strings.Contains(detail, "these are gaps") {
					t.Errorf("%g Hz, %d lost in %g s, %s", rate, lost, last, detail)
				}
			default:
				if lost != 0 || !strings.Contains(detail, "even grid") {
					t.Errorf("%g Hz, %d lost, %s", rate, lost, detail)
				}
			}
		})
	}
}
