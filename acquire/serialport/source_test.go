package serialport

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
)

// fakePort is a board behind a port with a true baud rate: at any other, bytes
// come garbled, as they do on a wire.
type fakePort struct {
	board *fakeBoard
	baud  int
}

// fakeBoard prints line i every interval.
type fakeBoard struct {
	trueBaud int
	interval time.Duration
	line     func(i int) string
	onOpen   string // printed at each opening, as a board does that resets

	mu     sync.Mutex
	opened []int // baud rates, of openings and changes
	sent   int
	next   time.Time
	queued []byte
	gone   bool
	rng    *rand.Rand
}

func (b *fakeBoard) dial(name string, baud int) (link, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.opened = append(b.opened, baud)
	b.queued = append(b.queued[:0], b.onOpen...)
	b.next = time.Now().Add(50 * time.Millisecond)
	if b.rng == nil {
		b.rng = rand.New(rand.NewPCG(1, 1))
	}
	return &fakePort{board: b, baud: baud}, nil
}

func (p *fakePort) SetBaud(baud int) error {
	p.board.mu.Lock()
	defer p.board.mu.Unlock()
	p.baud = baud
	p.board.opened = append(p.board.opened, baud)
	return nil
}

func (p *fakePort) Close() error {
	p.board.mu.Lock()
	defer p.board.mu.Unlock()
	p.baud = -1
	return nil
}

func (p *fakePort) Read(buf []byte) (int, error) {
	b := p.board
	time.Sleep(2 * time.Millisecond)
	b.mu.Lock()
	defer b.mu.Unlock()
	if p.baud < 0 || b.gone {
		return 0, io.ErrClosedPipe
	}
	for now := time.Now(); b.line != nil && !b.next.After(now); b.next = b.next.Add(b.interval) {
		b.queued = append(b.queued, b.line(b.sent)...)
		b.sent++
	}
	n := copy(buf, b.queued)
	b.queued = b.queued[:copy(b.queued, b.queued[n:])]
	if p.baud != b.trueBaud {
		for i := range buf[:n] {
			buf[i] = byte(b.rng.IntN(256))
			if b.rng.IntN(3) == 0 { // some garble looks like a newline or a digit
				buf[i] = "\n1 "[b.rng.IntN(3)]
			}
		}
	}
	return n, nil
}

func openFake(t *testing.T, b *fakeBoard, address string) (acquire.Source, error) {
	t.Helper()
	a, err := acquire.ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	s, err := open(deadline(t), a, b.dial)
	if err == nil {
		t.Cleanup(func() { s.Close() })
	}
	return s, err
}

func TestFindBaud(t *testing.T) {
	for _, baud := range []int{115200, 9600, 57600} {
		t.Run(fmt.Sprint(baud), func(t *testing.T) { t.Parallel(); findBaudOf(t, baud) })
	}
}

func findBaudOf(t *testing.T, baud int) {
	{
		b := &fakeBoard{trueBaud: baud, interval: 4 * time.Millisecond, onOpen: "seq,pulse\n",
			line: func(i int) string { return fmt.Sprintf("%d,%d\n", i, 512+i%7) }}
		s, err := openFake(t, b, "serial:fake?kind=pulse")
		if err != nil {
			t.Fatal(err)
		}
		info := s.Describe()
		if want := fmt.Sprintf("serial:fake?baud=%d&kind=pulse", baud); info.Address != want {
			t.Errorf("address %q, want %q", info.Address, want)
		}
		if len(info.Channels) != 1 || info.Channels[0].Label != "pulse" {
			t.Errorf("%d baud: channels %+v; the header must survive the search", baud, info.Channels)
		}
		if d := s.(acquire.HealthReporter).Health().Detail; !strings.Contains(d, fmt.Sprintf("%d baud, found by trying", baud)) {
			t.Errorf("detail %q", d)
		}
		// What was found opens at once.
		opened := len(b.opened)
		s.Close()
		if _, err = openFake(t, b, info.Address); err != nil {
			t.Fatal(err)
		}
		if got := b.opened[opened:]; len(got) != 1 || got[0] != baud {
			t.Errorf("opened again at %v, want %d once", got, baud)
		}
	}
}

func TestFindBaudFails(t *testing.T) {
	t.Parallel()
	b := &fakeBoard{trueBaud: 31250, interval: 4 * time.Millisecond, line: func(i int) string { return "512,300\n" }}
	_, err := findBaud(deadline(t), options{port: "fake"}, b.dial, commonBauds[:3])
	if err == nil || !strings.Contains(err.Error(), "no readable line at any of 3 common baud rates") {
		t.Errorf("error %v", err)
	}
}

func TestOpenFails(t *testing.T) {
	t.Parallel()
	var wg sync.WaitGroup
	defer wg.Wait()
	for _, test := range []struct {
		name, want string
		board      *fakeBoard
		options    string
	}{
		{"silent", "serialport: fake: silent for 3 s at 9600 baud; is the board running", &fakeBoard{}, "baud=9600"},
		{"silent, no baud", "serialport: fake: silent for 3 s; is the board running", &fakeBoard{}, ""},
		{"endless", "no readable line in 3 s at 9600 baud", &fakeBoard{trueBaud: 9600, interval: 2 * time.Millisecond,
			line: func(int) string { return "1234567890 " }}, "baud=9600"},
		{"wrong baud", "is the board's baud rate the same", &fakeBoard{trueBaud: 9600, interval: 8 * time.Millisecond,
			line: func(int) string { return "\x80\x81\x82\n" }}, "baud=9600"},
		{"text only", `such as "hello there`, &fakeBoard{trueBaud: 9600, interval: 50 * time.Millisecond,
			line: func(int) string { return "hello there!\nhello there\n" }}, "baud=9600"},
		{"clock only", "print at least one value", &fakeBoard{trueBaud: 9600, interval: 4 * time.Millisecond, onOpen: "\nt_ms\n",
			line: func(i int) string { return fmt.Sprintf("%d\n", 4*i) }}, "baud=9600"},
		{"names", "lists 3 names but the board prints 2 columns", &fakeBoard{trueBaud: 9600, interval: 4 * time.Millisecond,
			line: func(i int) string { return "1,2\n" }}, "baud=9600&names=a,b,c"},
	} {
		wg.Go(func() { // they mostly wait: all at once
			_, err := openFake(t, test.board, "serial:fake?"+test.options)
			if err == nil || !strings.Contains(err.Error(), test.want) || errors.Is(err, acquire.ErrUnplugged) {
				t.Errorf("%s: error %v\nwant one with %q", test.name, err, test.want)
			}
		})
	}
}

func TestOptions(t *testing.T) {
	for _, bad := range []string{"speed=3", "baud=12.5", "baud=-1", "baud=20", "format=xml", "rate=0", "rate=1e9", "bits=1", "bits=10.5",
		"reference=5", "bits=10&reference=0", "names=a,,b", "names=a%00", "names=a%E2%80%AEb", "kind=heart", "signed=1", "bits=10&signed=perhaps"} {
		b := &fakeBoard{}
		_, err := openFake(t, b, "serial:fake?"+bad)
		var ae *acquire.AddressError
		if !errors.As(err, &ae) || len(b.opened) != 0 {
			t.Errorf("%s: %v, %d openings", bad, err, len(b.opened))
		}
	}
}

func TestCalibration(t *testing.T) {
	t.Parallel()
	b := &fakeBoard{trueBaud: 9600, interval: 2 * time.Millisecond, onOpen: "t_us,pulse,temp [mV],fine\n# rate 500 Hz\n",
		line: func(i int) string { return fmt.Sprintf("%d,512,%d.5,100.25\n", i*2000, i%9) }}
	s, err := openFake(t, b, "serial:fake?baud=9600&bits=10&reference=5&kind=ecg,other,other")
	if err != nil {
		t.Fatal(err)
	}
	info := s.Describe()
	// One count of a 10-bit converter with a 5 V reference is 5/1024 V = 4.8828125 mV.
	want := []acquire.Channel{
		{Label: "pulse", Kind: "ecg", Unit: "V", VoltsPerCount: 0.0048828125, MaxCount: 1023},
		{Label: "temp", Kind: "other", Unit: "V", VoltsPerCount: 0.0001, Digits: 1},
		{Label: "fine", Kind: "other", Unit: "V", VoltsPerCount: 0.000048828125, MaxCount: 102300, Digits: 2},
	}
	for i, c := range info.Channels {
		if c != want[i] {
			t.Errorf("channel %d: %+v\nwant %+v", i, c, want[i])
		}
	}
	if info.ClaimedRateHz != 500 {
		t.Errorf("claimed %g Hz, want 500", info.ClaimedRateHz)
	}
	block, err := s.Read(deadline(t))
	if err != nil || block.Len() == 0 || block.BoardSeconds[1]-block.BoardSeconds[0] != 0.002 {
		t.Errorf("block %+v, %v", block, err)
	}
	if v := info.Channels[0].Value(block.Counts[0][0]); v != 2.5 {
		t.Errorf("count 512 is %g V, want 2.5", v)
	}
}

// A signed converter reaches from −reference to reference. Texas Instruments, ADS1115
// (SBAS444D), table 3: full scale ±4.096 V, one count 125 µV.
func TestSignedCalibration(t *testing.T) {
	t.Parallel()
	b := &fakeBoard{trueBaud: 9600, interval: 2 * time.Millisecond, line: func(i int) string { return fmt.Sprintf("%d\n", 8000*(i%2*2-1)) }}
	s, err := openFake(t, b, "serial:fake?baud=9600&bits=16&reference=4.096&signed=1")
	if err != nil {
		t.Fatal(err)
	}
	c := s.Describe().Channels[0]
	if c.Unit != "V" || c.VoltsPerCount != 0.000125 || c.MinCount != -32768 || c.MaxCount != 32767 {
		t.Errorf("channel %+v", c)
	}
	if v := c.Value(-8000); v != -1 {
		t.Errorf("count -8000 is %g V, want -1", v)
	}
}

// A hint is given, no volts.
func TestUnknownCalibration(t *testing.T) {
	t.Parallel()
	b := &fakeBoard{trueBaud: 9600, interval: 2 * time.Millisecond, line: func(i int) string { return fmt.Sprintln(i % 1024) }}
	b.sent = 300
	s, err := openFake(t, b, "serial:fake?baud=9600&rate=500")
	if err != nil {
		t.Fatal(err)
	}
	if c := s.Describe().Channels[0]; c != (acquire.Channel{Label: "ch1"}) {
		t.Errorf("channel %+v, want nothing but a label", c)
	}
	if _, err := s.Read(deadline(t)); err != nil {
		t.Fatal(err)
	}
	if d := s.(acquire.HealthReporter).Health().Detail; !strings.Contains(d, "10-bit converter") {
		t.Errorf("detail %q has no hint", d)
	}
}

// Numbers with decimals are no counts: bits and a reference would make them wrong volts.
func TestDecimalsAreNoCounts(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		unit string
		want bool
	}{{"", true}, {" V", false}} {
		b := &fakeBoard{trueBaud: 9600, interval: 2 * time.Millisecond, line: func(i int) string { return fmt.Sprintf("%.2f%s\n", 2+float64(i%100)/100, c.unit) }}
		b.sent = 300
		s, err := openFake(t, b, "serial:fake?baud=9600&rate=500")
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Read(deadline(t)); err != nil {
			t.Fatal(err)
		}
		if d := s.(acquire.HealthReporter).Health().Detail; strings.Contains(d, "the numbers have decimals") != c.want {
			t.Errorf("unit %q: detail %q, hint wanted: %v", c.unit, d, c.want)
		}
	}
}

func TestFramesSource(t *testing.T) {
	t.Parallel()
	var e FrameEncoder
	b := &fakeBoard{trueBaud: 57600, interval: 5 * time.Millisecond, line: func(i int) string {
		var out []byte
		if i%50 == 0 {
			out = e.Info(out, 1000, testChannels)
		}
		if i == 200 || i == 201 {
			return ""
		}
		n := int32(5 * i)
		return string(e.Samples(out, uint32(n), 3, [][]int32{{n, n + 1, n + 2, n + 3, n + 4}, {-n, 0, 0, 0, 0}}))
	}}
	s, err := openFake(t, b, "serial:fake") // neither the rate nor the format is told
	if err != nil {
		t.Fatal(err)
	}
	info := s.Describe()
	if info.Address != "serial:fake?baud=57600&format=frames" {
		t.Errorf("address %q", info.Address)
	}
	if len(info.Channels) != 2 || info.Channels[0] != testChannels[0] || info.Channels[1] != testChannels[1] || info.ClaimedRateHz != 1000 {
		t.Errorf("info %+v", info)
	}
	var first, origin int64
	for started := false; first < 1500; {
		block, err := s.Read(deadline(t))
		if err != nil {
			t.Fatal(err)
		}
		if block.Len() == 0 {
			continue
		}
		if !started {
			started, origin = true, int64(block.Counts[0][0])
		}
		first = block.First
		for i, c := range block.Counts[0] {
			if want := origin + block.First + int64(i); int64(c) != want {
				t.Fatalf("sample %d is %d, want %d", block.First+int64(i), c, want)
			}
		}
	}
	if h := s.(acquire.HealthReporter).Health(); origin < 1000 && h.LostSamples != 10 || h.LostUnknown || h.Unreadable != 0 {
		t.Errorf("health %+v, want 10 lost samples", h)
	}
}

func TestPumpBacklog(t *testing.T) {
	t.Parallel()
	b := &fakeBoard{trueBaud: 9600}
	b.queued = nil
	l, _ := b.dial("fake", 9600)
	b.queued = bytes.Repeat([]byte("1\n"), maxBacklog)
	p := startPump(l)
	defer p.close()
	p.mu.Lock()
	p.bytes = append(p.bytes, make([]byte, maxBacklog)...)
	p.pieces = append(p.pieces, piece{size: maxBacklog})
	p.mu.Unlock()
	<-p.done
	var err error
	for range 5 {
		if _, _, err = p.next(deadline(t), 0); err != nil {
			break
		}
	}
	if !errors.Is(err, errBacklog) {
		t.Errorf("error %v, want a backlog", err)
	}
}
