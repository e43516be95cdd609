package serialport

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"
)

// onWire is what a receiver at readBaud makes of text sent at sentBaud: eight data
// bits, lowest first, between a start bit 0 and a stop bit 1, each bit looked at in
// its middle. A byte whose stop bit is 0 is read as NUL, as Linux does (termios(3),
// neither IGNPAR nor PARMRK). Between lines the wire rests for idleBits at 1.
func onWire(text string, sentBaud, readBaud, idleBits int) []byte {
	var bits []byte
	send := func(b byte, n int) {
		for range n {
			bits = append(bits, b)
		}
	}
	send(1, idleBits)
	for i := range len(text) {
		send(0, 1)
		for k := range 8 {
			send(text[i]>>k&1, 1)
		}
		send(1, 1)
		if text[i] == '\n' {
			send(1, idleBits)
		}
	}
	ratio := float64(sentBaud) / float64(readBaud) // bits sent in one bit read
	at := func(t float64) byte {
		if i := int(t); i < len(bits) {
			return bits[i]
		}
		return 1
	}
	var read []byte
	for t := 0.0; t < float64(len(bits)); {
		for t < float64(len(bits)) && at(t) == 1 { // a sixteenth of a bit at a time, as receivers do
			t += ratio / 16
		}
		if t >= float64(len(bits)) {
			break
		}
		if at(t+ratio/2) != 0 { // a spike is no start bit
			t += ratio / 2
			continue
		}
		var b byte
		for k := range 8 {
			b |= at(t+ratio*(1.5+float64(k))) << k
		}
		if at(t+ratio*9.5) == 0 {
			b = 0
			for t += ratio * 9.5; t < float64(len(bits)) && at(t) == 0; {
				t += ratio / 16
			}
		} else {
			t += ratio * 9.5
		}
		read = append(read, b)
	}
	return read
}

// deadline is a context that ends a test which would wait for ever.
func deadline(t testing.TB) context.Context {
	ctx, cancel := context.WithTimeout(context.Background(), 2*time.Minute)
	t.Cleanup(cancel)
	return ctx
}

func TestOnWire(t *testing.T) {
	const text = "512,-3.25\r\n\xff\x00U"
	if got := onWire(text, 9600, 9600, 3); string(got) != text {
		t.Errorf("at the sender's rate %q is read as %q", text, got)
	}
	if got := onWire(text, 9600, 9800, 3); string(got) != text {
		t.Errorf("2 %% off %q is read as %q", text, got)
	}
}

// TestWrongBaudInventsNothing reads boards of every common rate at every other: what
// comes is hardly ever a number, and never enough to pass for a board.
func TestWrongBaudInventsNothing(t *testing.T) {
	rates := []int{9600, 38400, 57600, 74880, 115200, 250000}
	for form, line := range map[string]func(i int) string{
		"numbers": func(i int) string { return fmt.Sprintf("%d\n", 400+(i*37)%300) },
		"columns": func(i int) string { return fmt.Sprintf("%d,%d.%02d\r\n", i, i%5, i%100) },
		"named":   func(i int) string { return fmt.Sprintf("pulse:%d\n", 400+(i*37)%300) },
	} {
		var all strings.Builder
		for i := range 300 {
			all.WriteString(line(i))
		}
		for _, sent := range rates {
			for _, read := range rates {
				for _, idle := range []int{0, 1, 400} {
					d := NewLineDecoder(nil)
					bytes := onWire(all.String(), sent, read, idle)
					for len(bytes) > 0 {
						n, err := d.Feed(bytes)
						if err != nil || n == 0 {
							break
						}
						bytes = bytes[n:]
					}
					rows, readable := d.Rows()
					if sent == read {
						if rows < 298 || readable < 0.99 { // the first line may be torn
							t.Errorf("%s at %d baud: %d rows, %.2f readable", form, sent, rows, readable)
						}
					} else if rows > 5 || readable > openReadable {
						t.Errorf("%s sent at %d read at %d baud, %d bits between lines: %d rows, %.2f readable", form, sent, read, idle, rows, readable)
					}
				}
			}
		}
	}
}

// TestOpenNeedsMostlyNumbers: among much garble a few lines look like numbers.
func TestOpenNeedsMostlyNumbers(t *testing.T) {
	t.Parallel()
	b := &fakeBoard{trueBaud: 74880, interval: 4 * time.Millisecond, line: func(i int) string {
		if i%40 == 20 {
			return "4\n7\n"
		}
		return "\xfd\x80\x12\xc6\n\xa4\x00\x0e\n"
	}}
	if _, err := openFake(t, b, "serial:fake?baud=74880"); err == nil || !strings.Contains(err.Error(), "no readable line in 3 s at 74880 baud") {
		t.Errorf("garble with a number now and then was opened: %v", err)
	}
}
