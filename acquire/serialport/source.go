package serialport

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/url"
	"os"
	"strconv"
	"strings"
	"sync"
	"time"

	"go.bug.st/serial"

	"pulsewright/acquire"
)

const (
	minRateHz = 1
	maxRateHz = 100_000

	// In garbledPatience garbledLines and more that are unreadable, and garbledTimes as many as
	// readable ones, are a board with another program.
	garbledLines    = 10
	garbledTimes    = 3
	garbledPatience = 5 * time.Second

	openSilence   = 3 * time.Second        // without a byte, opening fails
	openPatience  = 3 * time.Second        // of bytes without a readable line
	openListening = 500 * time.Millisecond // of readable lines before the format is settled
	openRows      = 20
	openManyRows  = 4096                    // settle it at once: they come faster than any clock
	openReadable  = 0.05                    // share of readable bytes; a wrong baud rate gives now and then a number
	infoPatience  = 1500 * time.Millisecond // for an info frame
	tryListening  = 400 * time.Millisecond  // at one baud rate while looking for it
	slowListening = 2600 * time.Millisecond // at one where hardly a byte comes
	slowBytes     = 60                      // at one baud rate are hardly any
	quietStart    = 100 * time.Millisecond  // before a byte means that it begins a line

	readSilence  = 100 * time.Millisecond // Read returns an empty block
	readCoalesce = 3 * time.Millisecond   // at least, between two blocks
	maxBlock     = 1 << 8                 // samples; a sender that never pauses gets no longer ones: beats and rates stay in step

	maxBacklog     = 4 << 20  // bytes waiting for Read; more is a reader that stopped
	patientBacklog = 64 << 10 // bytes waiting for Read; then a sender that can wait has to
)

// commonBauds are tried in this order when none is given.
var commonBauds = []int{115200, 9600, 57600, 230400, 38400, 19200, 250000, 500000, 1000000, 460800, 921600, 2000000, 74880, 4800, 2400}

// link is an open serial port. Read blocks until bytes arrive, returns 0 and nil
// after its timeout if it has one, and fails when the device is gone or Close
// was called.
type link interface {
	Read(p []byte) (int, error)
	SetBaud(baud int) error
	Close() error
}

type dialer func(name string, baud int) (link, error)

// decoder is LineDecoder or FrameDecoder.
type decoder interface {
	StartOfLine()
	Feed(p []byte) (int, error)
	Rows() (int, float64)
	Settle() (Format, error)
	Waiting() int
	Take() acquire.Block
	Rewind()
	hints() []string
}

// Open opens a serial port by its address,
//
//	serial:/dev/ttyACM0?baud=115200&format=lines&rate=250&bits=10&reference=5&names=pulse,ecg&kind=pulse
//
// where every option may be left out:
//
//   - baud: 50 to 8000000; 0 or none: the common rates are tried for the most readable lines;
//   - format: lines or frames; none: what the board sends is found;
//   - rate: the rate the board is said to have, hertz; overrides the board's own claim;
//   - bits (2 to 31) and reference (volts): the board prints counts of a
//     converter, count 2^bits at the reference, so one count is reference/2^bits volts.
//     With signed=1 full scale runs from −reference to reference, one count is
//     reference/2^(bits−1) volts. Channels whose unit the board tells keep it. bits alone
//     gives the range only;
//   - names: comma-separated, one for each column, as in "t_us,pulse [mV],lead [mV] (ecg),-":
//     a clock's name (t_us, t_ms, t_s, seq) makes it one, "-" leaves the column out;
//   - kind: pulse, ecg or other, one for all channels or comma-separated for each;
//   - usb: the board's identity, as Describe's address has it: when another board or none
//     is on the port, the port that it is on now is opened.
//
// When bytes come at the baud rate given but nothing can be read, the common ones are tried.
//
// Open listens until it knows the columns and their decimals, about a second, and
// fails when the port stays silent or unreadable for three. The error of a port
// that is not there wraps acquire.ErrUnplugged.
func Open(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	return openOn(ctx, a, machine{dial, Ports})
}

// machine is the computer with its ports.
type machine struct {
	dial  dialer
	ports func() ([]Port, error) // nil: it has no list
}

// options of an address, checked.
type options struct {
	wire      wire
	port      string
	baud      int // 0: to be found
	frames    bool
	either    bool // frames or lines: to be found
	rateHz    float64
	bits      int // 0: unknown
	reference float64
	signed    bool // full scale from −reference to reference
	names     []string
	kinds     []string
	usb       string // identity of the board, or ""
}

func parseOptions(a acquire.Address) (o options, err error) {
	fail := func(name, rule string) (options, error) {
		return o, &acquire.AddressError{Address: a.String(), Part: fmt.Sprintf("option %s=%s", name, a.Text(name, "")), Rule: rule}
	}
	if err := a.Only("baud", "bits", "format", "kind", "names", "rate", "reference", "signed", "usb"); err != nil {
		return o, err
	}
	o.port, o.wire, o.usb = a.Path, cable(a.Path), a.Text("usb", "")
	baud, err := a.Number("baud", 0, 0, 8_000_000)
	if err != nil {
		return o, err
	}
	if baud != math.Trunc(baud) || baud > 0 && baud < 50 {
		return fail("baud", "give a whole number from 50, or 0 to have it found")
	}
	o.baud = int(baud)
	switch a.Text("format", "") {
	case "":
		o.either = true
	case "lines":
	case "frames":
		o.frames = true
	default:
		return fail("format", "give lines or frames")
	}
	if o.rateHz, err = a.Number("rate", 0, minRateHz, maxRateHz); err != nil {
		return o, err
	}
	bits, err := a.Number("bits", 0, 2, 31)
	if err != nil {
		return o, err
	}
	if bits != math.Trunc(bits) {
		return fail("bits", "give a whole number from 2 to 31")
	}
	o.bits = int(bits)
	if o.reference, err = a.Number("reference", 0, 0.001, 1000); err != nil {
		return o, err
	}
	if o.reference != 0 && o.bits == 0 {
		return fail("reference", "give bits too: volts per count are reference / 2^bits")
	}
	if o.signed, err = a.Flag("signed", false); err != nil {
		return o, err
	}
	if o.signed && o.bits == 0 {
		return fail("signed", "give bits too: a signed converter counts from −2^(bits−1)")
	}
	if a.Options.Has("names") {
		o.names = strings.Split(a.Text("names", ""), ",")
		for i, n := range o.names {
			n = strings.TrimSpace(n)
			if err := acquire.CheckText("names", n); err != nil {
				return fail("names", err.Error())
			}
			if name, _, _ := given(n); name == "" || len(name) > maxNameBytes || len(n) > 3*maxNameBytes || n != printable([]byte(n), 3*maxNameBytes) {
				return fail("names", "give names of 1 to 32 bytes separated by commas")
			}
			o.names[i] = n
		}
		if len(o.names) > maxColumns {
			return fail("names", fmt.Sprintf("give at most %d", maxColumns))
		}
	}
	if a.Options.Has("kind") {
		o.kinds = strings.Split(a.Text("kind", ""), ",")
		for _, k := range o.kinds {
			switch k {
			case acquire.KindPulse, acquire.KindECG, acquire.KindOther:
			default:
				return fail("kind", "give pulse, ecg or other")
			}
		}
	}
	return o, nil
}

func (o options) decoder() decoder {
	if o.frames {
		return NewFrameDecoder()
	}
	return NewLineDecoder(o.names)
}

// what names what is looked for, for messages.
func (o options) what() string {
	if o.frames {
		return "frame"
	}
	return "line"
}

// source is an open port.
type source struct {
	// Immutable after open.
	info  acquire.Info
	opts  options
	tried bool // the baud rate was found by trying
	pump  *pump

	// Owned by Read.
	decoder  decoder
	rest     []byte // of the piece under way
	restAt   time.Time
	lastRead time.Time
	failed   error
	taken    bool
	judged   time.Time // when it was last looked at whether lines are readable
	good     int64     // lines read until then
	garbled  int64     // and unreadable ones
	noted    int64     // unreadable lines whose excerpt is published
	low      int32
	high     int32

	mu     sync.Mutex // guards what follows
	health acquire.Health
	hints  []string
	advice string // on lines left out
	heard  time.Time
	closed bool
}

func open(ctx context.Context, a acquire.Address, dial dialer) (acquire.Source, error) {
	return openOn(ctx, a, machine{dial: dial})
}

func openOn(ctx context.Context, a acquire.Address, m machine) (acquire.Source, error) {
	o, err := parseOptions(a)
	if err != nil {
		return nil, err
	}
	if err := o.find(m); err != nil {
		return nil, err
	}
	s, err := openAt(ctx, a, o, m.dial)
	var garbled *garbledError
	if o.baud == 0 || !errors.As(err, &garbled) {
		return s, err
	}
	o.baud = 0 // reflashed, perhaps
	if again, e := openAt(ctx, a, o, m.dial); e == nil || ctx.Err() != nil {
		return again, e
	}
	return nil, err
}

// openAt opens the port at the baud rate of the options, or finds one.
func openAt(ctx context.Context, a acquire.Address, o options, dial dialer) (acquire.Source, error) {
	s := &source{opts: o, low: math.MaxInt32, high: math.MinInt32}
	baud := o.baud
	if baud == 0 {
		s.tried = true
		var err error
		if baud, err = findBaud(ctx, o, dial, commonBauds); err != nil {
			return nil, err
		}
	}
	l, err := dial(o.port, baud)
	if err != nil {
		return nil, openError(o.port, err)
	}
	return s.start(ctx, a, l, baud)
}

// garbledError is a port on which bytes come of which none makes sense.
type garbledError struct{ text string }

func (e *garbledError) Error() string { return e.text }

// start learns the format from an open link and describes it. It closes the link when
// it fails.
func (s *source) start(ctx context.Context, a acquire.Address, l link, baud int) (acquire.Source, error) {
	s.pump = startPumpFor(l, s.opts.wire.patient)
	format, err := s.learn(ctx, baud)
	if err != nil {
		s.pump.close()
		return nil, err
	}
	if err := s.describe(a, baud, format); err != nil {
		s.pump.close()
		return nil, err
	}
	s.publish()
	return s, nil
}

// learn listens until the format is settled.
func (s *source) learn(ctx context.Context, baud int) (Format, error) {
	s.decoder = s.opts.decoder()
	var frames *FrameDecoder
	if s.opts.either {
		frames = NewFrameDecoder()
	}
	began := time.Now()
	var firstByte, firstRow time.Time
	var bytesSeen int
	for {
		piece, at, err := s.pump.next(ctx, 20*time.Millisecond)
		if rows, _ := s.decoder.Rows(); s.opts.wire.ends && errors.Is(err, io.EOF) {
			if rows == 0 {
				return Format{}, fmt.Errorf("%s: it ended before a line of numbers came%s", s.opts.wire.who, seenText(bytesSeen, s.newestLine()))
			}
			return s.settle()
		}
		if err != nil {
			return Format{}, s.gone(err)
		}
		now := time.Now()
		if len(piece) > 0 {
			if firstByte.IsZero() {
				firstByte = at
				if at.Sub(began) > quietStart {
					s.decoder.StartOfLine()
				}
			}
			bytesSeen += len(piece)
			if frames != nil && sendsFrames(frames, piece) {
				s.decoder, s.opts.frames, frames = frames, true, nil
			} else if _, err := s.decoder.Feed(piece); err != nil {
				return Format{}, fmt.Errorf("%s: %w", s.opts.wire.who, err)
			}
			s.restAt = at
		}
		if firstByte.IsZero() {
			if now.Sub(began) > openSilence {
				return Format{}, fmt.Errorf("%s: silent for %g s%s; %s", s.opts.wire.who, openSilence.Seconds(), s.opts.wire.at(baud), s.opts.wire.silent)
			}
			continue
		}
		rows, readable := s.decoder.Rows()
		if rows > 0 && firstRow.IsZero() {
			firstRow = now
		}
		if rows == 0 || readable < openReadable {
			if now.Sub(firstByte) > openPatience {
				return Format{}, s.unreadable(baud, bytesSeen)
			}
			continue
		}
		heard := now.Sub(firstRow)
		if f, ok := s.decoder.(*FrameDecoder); ok {
			if heard < openListening/5 || !f.described() && heard < infoPatience {
				continue
			}
		} else if !(rows >= openRows && heard >= openListening || rows >= openManyRows || rows >= 3 && heard >= 2*time.Second || heard >= openPatience) {
			continue
		}
		if d, ok := s.decoder.(*LineDecoder); ok {
			d.Lasted(heard.Seconds())
		}
		return s.settle()
	}
}

// sendsFrames has a decoder see a piece and tells whether frames come: their checksum makes
// it sure.
func sendsFrames(d *FrameDecoder, piece []byte) bool {
	if _, err := d.Feed(piece); err != nil {
		return false
	}
	frames, readable := d.Rows()
	return frames >= 3 && readable > 0.5
}

func (s *source) settle() (Format, error) {
	format, err := s.decoder.Settle()
	if err != nil {
		return Format{}, fmt.Errorf("%s: %w", s.opts.wire.who, err)
	}
	return format, nil
}

// seenText says in brackets how much came and shows a line of it.
func seenText(bytes int, line string) string {
	text := fmt.Sprintf(" (%d bytes came", bytes)
	if line != "" {
		text += fmt.Sprintf(", such as %q", line)
	}
	return text + ")"
}

// unreadable says why nothing could be read, and what to do about it.
func (s *source) unreadable(baud, bytesSeen int) error {
	line := s.newestLine()
	remedy := s.opts.wire.same + "does it end each line of numbers with a newline?"
	if s.opts.frames {
		remedy = s.opts.wire.same + "does it send frames as FRAMES.md says?"
	} else if d, ok := s.decoder.(*LineDecoder); ok && line == "" && advice(printable(d.partial, 40)) != "" {
		remedy = fmt.Sprintf("%q came without an end of line: end each line of numbers with a newline", printable(d.partial, 40))
	} else if a := advice(line); a != "" {
		remedy = a
	}
	text := fmt.Sprintf("%s: no readable %s in %g s%s%s; %s",
		s.opts.wire.who, s.opts.what(), openPatience.Seconds(), s.opts.wire.at(baud), seenText(bytesSeen, line), remedy)
	if d, ok := s.decoder.(*LineDecoder); s.opts.wire.baud && !(ok && d.legible()) {
		return &garbledError{text}
	}
	return errors.New(text)
}

// newestLine is the newest line that was not read as samples, made printable, or "".
func (s *source) newestLine() string {
	if t := s.decoder.Take().Text; len(t) > 0 {
		return printable([]byte(t[min(len(t), maxTexts)-1]), 40) // after these stands how many more there were
	}
	h := s.counted()
	return printable(h.excerpt[:h.excerptLen], 40)
}

func (s *source) counted() *stats {
	switch d := s.decoder.(type) {
	case *LineDecoder:
		return &d.stats
	case *FrameDecoder:
		return &d.stats
	}
	panic("serialport: unknown decoder")
}

// describe fills in Info from the format and the options.
func (s *source) describe(a acquire.Address, baud int, f Format) error {
	o := s.opts
	address := acquire.Address{Scheme: a.Scheme, Path: a.Path, Options: url.Values{}}
	for k, v := range a.Options {
		address.Options[k] = v
	}
	name := o.port
	if baud != 0 {
		address.Options.Set("baud", strconv.Itoa(baud))
		name = fmt.Sprintf("%s, %d baud", o.port, baud)
	}
	if o.usb != "" {
		address.Options.Set("usb", o.usb)
	}
	s.info = acquire.Info{Address: address.String(), Device: o.usb, Name: name,
		ClaimedRateHz: f.ClaimedRateHz, Channels: f.Channels, Columns: f.Columns}
	s.health.LostUnknown = !f.BoardClock && !f.Counter
	if o.frames && o.either {
		address.Options.Set("format", "frames")
		s.info.Address = address.String()
	}
	if o.rateHz != 0 {
		s.info.ClaimedRateHz = o.rateHz
	}
	if len(o.kinds) > 1 && len(o.kinds) != len(f.Channels) {
		return &acquire.AddressError{Address: a.String(), Part: fmt.Sprintf("option kind=%s", a.Text("kind", "")),
			Rule: fmt.Sprintf("give one for all or one for each of the %d channels", len(f.Channels))}
	}
	if o.frames && o.names != nil && len(o.names) != len(f.Channels) {
		return &acquire.AddressError{Address: a.String(), Part: fmt.Sprintf("option names=%s", a.Text("names", "")),
			Rule: fmt.Sprintf("give one for each of the %d channels", len(f.Channels))}
	}
	for i := range s.info.Channels {
		c := &s.info.Channels[i]
		if o.frames && o.names != nil {
			c.Label = o.names[i]
		}
		switch len(o.kinds) {
		case 0:
		case 1:
			c.Kind = o.kinds[0]
		default:
			c.Kind = o.kinds[i]
		}
		if o.bits == 0 || c.Unit != "" || c.MaxCount != c.MinCount {
			continue
		}
		o.converter(c)
	}
	return nil
}

// converter gives a channel the range and scale of the converter that was told.
func (o options) converter(c *acquire.Channel) {
	p := powersOfTen[c.Digits]
	full, low := int64(1)<<o.bits, int64(0)
	if o.signed {
		full /= 2
		low = -full * p
	}
	if top := (full - 1) * p; top <= math.MaxInt32 && low > math.MinInt32 { // the lowest of all is MissingCount
		c.MinCount, c.MaxCount = int32(low), int32(top)
	}
	if o.reference != 0 {
		c.Unit = "V"
		c.VoltsPerCount = o.reference / (float64(full) * float64(p))
	}
}

// Describe implements acquire.Source.
func (s *source) Describe() acquire.Info {
	info := s.info
	info.Channels = append([]acquire.Channel(nil), info.Channels...)
	info.Columns = append([]acquire.Column(nil), info.Columns...)
	return info
}

// Read implements acquire.Source. While samples flow it returns what arrived, at
// most every 3 ms.
func (s *source) Read(ctx context.Context) (acquire.Block, error) {
	if s.failed != nil {
		return acquire.Block{}, s.failed
	}
	if s.taken {
		s.decoder.Rewind()
		s.taken = false
	}
	if err := ctx.Err(); err != nil {
		return acquire.Block{}, err
	}
	quiet := time.Now().Add(readSilence)
	due := s.lastRead.Add(readCoalesce)
	arrived := s.restAt
	for {
		// Parse what is here. A sample that must begin a block ends this one.
		split := false
		for {
			before := s.decoder.Waiting()
			n, err := s.decoder.Feed(s.rest)
			if s.decoder.Waiting() > before {
				arrived = s.restAt
			}
			held := n < len(s.rest) || s.holds()
			s.rest = s.rest[n:]
			if err != nil {
				if s.decoder.Waiting() > 0 { // deliver what came before it first
					s.failed = fmt.Errorf("%s: %w", s.opts.wire.who, err)
					return s.deliver(arrived), nil
				}
				return acquire.Block{}, s.fail(fmt.Errorf("%s: %w", s.opts.wire.who, err))
			}
			if held || s.decoder.Waiting() >= maxBlock {
				split = true
				break
			}
			piece, at, err := s.pump.next(ctx, 0)
			if err != nil {
				if s.decoder.Waiting() > 0 && !errors.Is(err, context.Canceled) && !errors.Is(err, context.DeadlineExceeded) {
					s.failed = s.gone(err)
					return s.deliver(arrived), nil
				}
				return acquire.Block{}, s.end(err)
			}
			if len(piece) == 0 {
				break
			}
			s.rest, s.restAt = piece, at
		}
		now := time.Now()
		wait := quiet.Sub(now)
		if s.decoder.Waiting() > 0 {
			wait = due.Sub(now)
		}
		if split || wait <= 0 {
			return s.deliver(arrived), nil
		}
		piece, at, err := s.pump.next(ctx, wait)
		if err != nil {
			if s.decoder.Waiting() > 0 {
				if ctx.Err() == nil {
					s.failed = s.gone(err)
				}
				return s.deliver(arrived), nil
			}
			return acquire.Block{}, s.end(err)
		}
		if len(piece) > 0 {
			s.rest, s.restAt = piece, at
		}
	}
}

// holds reports whether the decoder keeps a sample back for the next block.
func (s *source) holds() bool {
	switch d := s.decoder.(type) {
	case *LineDecoder:
		return d.held
	case *FrameDecoder:
		return d.held
	}
	return false
}

func (s *source) deliver(arrived time.Time) acquire.Block {
	if d, ok := s.decoder.(*LineDecoder); ok && d.Waiting() == 0 {
		d.quiet()
	}
	b := s.decoder.Take()
	s.taken = true
	s.lastRead = time.Now()
	s.judge()
	if b.Len() == 0 {
		b.Counts, b.BoardSeconds = nil, nil
	} else {
		b.Arrived = arrived
	}
	if !s.opts.frames && s.opts.bits == 0 {
		for i, c := range b.Counts {
			if s.info.Channels[i].Scaled() || s.info.Channels[i].Digits != 0 {
				continue
			}
			for _, n := range c {
				if n != acquire.MissingCount {
					s.low, s.high = min(s.low, n), max(s.high, n)
				}
			}
		}
	}
	s.publish()
	return b
}

// judge gives the port up when hardly a line was readable lately.
func (s *source) judge() {
	if s.lastRead.Sub(s.judged) < garbledPatience || !s.opts.wire.baud {
		return
	}
	c := s.counted()
	good, bad := c.read-s.good, c.unreadable-s.garbled
	if !s.judged.IsZero() && s.failed == nil && bad >= garbledLines && bad > garbledTimes*good {
		s.failed = fmt.Errorf("%s: hardly a line was readable for %g s: %w; its baud rate is looked for again", s.opts.wire.who, garbledPatience.Seconds(), acquire.ErrChanged)
	}
	s.judged, s.good, s.garbled = s.lastRead, c.read, c.unreadable
}

// end turns an error of the pump into Read's.
func (s *source) end(err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err // reading may go on
	}
	return s.fail(s.gone(err))
}

func (s *source) fail(err error) error {
	s.failed = err
	s.publish()
	return err
}

// gone words the error of a port that cannot be read any more.
func (s *source) gone(err error) error {
	switch {
	case errors.Is(err, context.Canceled), errors.Is(err, context.DeadlineExceeded):
		return err
	case errors.Is(err, errClosed):
		return fmt.Errorf("%s: read after close: %w", s.opts.wire.who, os.ErrClosed)
	case errors.Is(err, io.EOF) && s.opts.wire.ends:
		return io.EOF
	case errors.Is(err, errBacklog):
		return fmt.Errorf("%s: %w", s.opts.wire.who, err)
	}
	return fmt.Errorf("%s: %w (%v); %s", s.opts.wire.who, acquire.ErrUnplugged, err, s.opts.wire.again)
}

// whatNumbers tells what numbers without a unit look like, or "".
func (s *source) whatNumbers() string {
	if s.opts.bits == 0 {
		for _, c := range s.info.Channels {
			if c.Digits > 0 && !c.Scaled() {
				return "the numbers have decimals, so they are no counts of a converter; if they are volts, say V as the unit under “Columns of this board”"
			}
		}
	}
	switch {
	case s.high <= s.low || s.low < 0:
	case s.high <= 1023 && s.high > 255:
		return "counts stay in 0…1023: probably a 10-bit converter"
	case s.high <= 4095 && s.high > 1023:
		return "counts stay in 0…4095: probably a 12-bit converter"
	}
	return ""
}

// publish makes the counts visible to Health.
func (s *source) publish() {
	c := s.counted()
	hints := s.decoder.hints()
	if h := s.whatNumbers(); h != "" {
		hints = append(hints, h)
	}
	if s.opts.bits != 0 && len(s.info.Channels) > 0 {
		hints = append(hints, fmt.Sprintf("%d bits, as set", s.opts.bits))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.health.Lines, s.health.Unreadable, s.health.OutOfOrder, s.health.LostSamples = c.read, c.unreadable, c.outOfOrder, c.lostTotal
	if c.unreadable != s.noted {
		s.noted = c.unreadable
		s.health.LastUnreadable = c.lastUnreadable()
		s.advice = ""
		if a := advice(s.health.LastUnreadable); c.unreadable >= 20 && c.unreadable > c.read/20 && a != "" && !s.opts.frames {
			s.advice = fmt.Sprintf("lines such as %q are left out: %s", printable(c.excerpt[:c.excerptLen], 40), a)
		}
	}
	if s.advice != "" {
		hints = append(hints, s.advice)
	}
	s.hints = hints
	s.heard = s.restAt
}

// Health implements acquire.HealthReporter.
func (s *source) Health() acquire.Health {
	s.mu.Lock()
	defer s.mu.Unlock()
	h := s.health
	_, baud, _ := strings.Cut(s.info.Name, ", ")
	var parts []string
	if baud != "" {
		parts = append(parts, baud)
	}
	if s.tried {
		parts[0] += ", found by trying"
	}
	if quiet := time.Since(s.heard); !s.heard.IsZero() && quiet >= 3*time.Second {
		parts = append(parts, fmt.Sprintf("silent for %d s", int(quiet.Seconds())))
	}
	h.Detail = strings.Join(append(parts, s.hints...), "; ")
	return h
}

// Close implements acquire.Source.
func (s *source) Close() error {
	s.mu.Lock()
	closed := s.closed
	s.closed = true
	s.mu.Unlock()
	if closed {
		return nil
	}
	return s.pump.close()
}

// findBaud opens the port and listens at each of the baud rates for the most
// readable lines. It waits for the first byte once.
func findBaud(ctx context.Context, o options, dial dialer, bauds []int) (int, error) {
	l, err := dial(o.port, bauds[0])
	if err != nil {
		return 0, openError(o.port, err)
	}
	p := startPump(l)
	defer p.close()
	s := &source{opts: o, pump: p}
	began := time.Now()
	var piece []byte
	for len(piece) == 0 {
		if piece, _, err = p.next(ctx, 20*time.Millisecond); err != nil {
			return 0, s.gone(err)
		}
		if len(piece) == 0 && time.Since(began) > openSilence {
			return 0, fmt.Errorf("serialport: %s: silent for %g s; is the board running its program, and are its ground and transmit wires connected?",
				o.port, openSilence.Seconds())
		}
	}
	best, bestScore, heardBytes, text := 0, 0.0, 0, ""
	for i, baud := range bauds {
		if i > 0 {
			if err := l.SetBaud(baud); err != nil {
				continue // not every port can do every rate
			}
			if err := p.drop(ctx, 20*time.Millisecond); err != nil {
				return 0, s.gone(err)
			}
			piece = nil
		}
		h, err := s.hear(ctx, piece)
		if err != nil {
			return 0, s.gone(err)
		}
		heardBytes += h.bytes
		d := h.decoder
		rows, readable := d.Rows()
		if h.frames || readable > 0.95 && (rows >= 5 || rows >= 2 && h.bytes < slowBytes) {
			return baud, nil
		}
		s.decoder = d
		if line := s.newestLine(); text == "" && !o.frames && advice(line) != "" {
			text = fmt.Sprintf("at %d baud it prints %q: %s", baud, line, advice(line))
		}
		if rows >= 2 {
			if score := readable * math.Min(1, float64(rows)/5); score > bestScore {
				best, bestScore = baud, score
			}
		}
	}
	if bestScore < 0.5 && text != "" {
		return 0, fmt.Errorf("serialport: %s: no readable line at any of %d common baud rates (%d bytes came); %s", o.port, len(bauds), heardBytes, text)
	}
	if bestScore < 0.5 {
		return 0, fmt.Errorf("serialport: %s: no readable %s at any of %d common baud rates (%d bytes came); set baud to what the board's program says, and end each line of numbers with a newline",
			o.port, o.what(), len(bauds), heardBytes)
	}
	return best, nil
}

// hearing is what came at one baud rate.
type hearing struct {
	decoder decoder
	frames  bool // surely frames
	bytes   int
}

// hear listens at a baud rate, piece first: for tryListening, or where hardly a byte comes
// until two lines came, or garble, for slowListening at most.
func (s *source) hear(ctx context.Context, piece []byte) (h hearing, err error) {
	h.decoder = s.opts.decoder()
	frames := NewFrameDecoder()
	for began := time.Now(); ; {
		h.bytes += len(piece)
		if h.frames = s.opts.either && sendsFrames(frames, piece); h.frames {
			return h, nil
		}
		if _, err := h.decoder.Feed(piece); err != nil {
			return h, nil
		}
		passed := time.Since(began)
		rows, _ := h.decoder.Rows()
		garbled := false
		if d, ok := h.decoder.(*LineDecoder); ok {
			garbled = d.learner.badBytes > 0
		}
		if passed >= slowListening || passed >= tryListening && (h.bytes >= slowBytes || rows >= 2 || garbled) {
			return h, nil
		}
		if piece, _, err = s.pump.next(ctx, 20*time.Millisecond); err != nil {
			return h, err
		}
	}
}

// openError words why a port cannot be opened.
func openError(name string, err error) error {
	var pe *serial.PortError
	switch {
	case errors.Is(err, os.ErrNotExist) || errors.As(err, &pe) && pe.Code() == serial.PortNotFound:
		return fmt.Errorf("serialport: %s: no such port: %w; plug the board in, or choose another port", name, acquire.ErrUnplugged)
	case errors.Is(err, os.ErrPermission) || errors.As(err, &pe) && pe.Code() == serial.PermissionDenied:
		return fmt.Errorf("serialport: %s: permission denied: %w; on Linux add yourself to the group of the port (often dialout) and log in again", name, err)
	case errors.As(err, &pe) && pe.Code() == serial.PortBusy:
		return fmt.Errorf("serialport: %s: in use by another program: %w; close it there", name, err)
	case errors.As(err, &pe) && (pe.Code() == serial.InvalidSerialPort):
		return fmt.Errorf("serialport: %s: not a serial port: %w; choose one from the list of inputs", name, err)
	case errors.As(err, &pe) && pe.Code() == serial.InvalidSpeed:
		return fmt.Errorf("serialport: %s: this port cannot do the baud rate: %w; choose another", name, err)
	}
	// A device that vanishes while it is opened fails in many ways (EIO, ENXIO, ENODEV).
	if _, e := os.Stat(name); strings.HasPrefix(name, "/") && errors.Is(e, os.ErrNotExist) {
		return fmt.Errorf("serialport: %s: %w (%v); plug the board in", name, acquire.ErrUnplugged, err)
	}
	return fmt.Errorf("serialport: %s: cannot open: %w", name, err)
}
