package firmware

import (
	"fmt"
	"math"

	"pulsewright/dsp/filter"
)

// Target is where a whole program runs.
type Target string

const (
	AVR   Target = "avr" // ATmega328P, avr-gcc and avr-libc alone
	Ino   Target = "ino" // any board with setup, loop and analogRead
	Plain Target = "c"   // any processor: four functions are the board's
)

// Board is the whole program in whole numbers: path, beat finder, rate and line, the same
// as its C, bit for bit. Not safe for concurrent use.
type Board struct {
	path   *Filter
	finder *Finder
	cfg    Config
	kind   Kind
	last   int32
	lit    int
	us     uint32
	rest   uint32
}

// Result is what the board makes of a sample.
type Result struct {
	TimeUS   uint32
	Raw      int32
	Filtered int32 // counts times 2^Fraction
	BeatMS   int   // how long ago a beat was that has just been found; 0 none
	Ago      int   // the same in samples
	Rate16   int   // 1/16 beats a minute; 0: no reading
	Light    bool
}

// NewBoard takes the path's sections, designed for cfg.RateHz, which may be a measured one:
// the board's own is the next whole one. See New and NewFinder for what is refused.
func NewBoard(sections filter.Sections, kind Kind, cfg Config) (*Board, error) {
	if whole := math.Round(cfg.RateHz); math.Abs(cfg.RateHz/whole-1) < 0.01 {
		cfg.RateHz = whole
	}
	path, err := New(sections, cfg)
	if err != nil {
		return nil, err
	}
	finder, err := NewFinder(kind, cfg)
	if err != nil {
		return nil, err
	}
	return &Board{path: path, finder: finder, cfg: path.cfg, kind: kind}, nil
}

// RateHz is the board's sample rate.
func (b *Board) RateHz() float64 { return b.cfg.RateHz }

// Path is the path in whole numbers.
func (b *Board) Path() *Filter { return b.path }

// LatencySeconds is about how long after a beat it is found.
func (b *Board) LatencySeconds() float64 { return b.finder.LatencySeconds() }

func (b *Board) bridge() int { return int(b.cfg.RateHz) / 20 }

func (b *Board) light() int { return int(b.cfg.RateHz) * 6 / 100 }

// Take takes a count.
func (b *Board) Take(count int32) Result {
	out := [1]int32{count}
	b.path.Process(out[:], out[:])
	found := b.finder.Push(count)
	r := Result{TimeUS: b.us, Raw: count, Filtered: out[0], Ago: found.Ago, BeatMS: int(uint16(uint32(uint16(found.Ago)) * 1000 / uint32(b.cfg.RateHz))), Rate16: found.Rate16}
	switch {
	case found.Ago > 0:
		b.lit = b.light()
	case b.lit > 0:
		b.lit--
	}
	r.Light = b.lit > 0
	b.last = count
	b.tick()
	return r
}

// Lost says that samples were lost: up to 50 ms are taken as the last one, more begin
// everything anew.
func (b *Board) Lost(samples int) {
	for range samples {
		if samples <= b.bridge() {
			one := [1]int32{b.last}
			b.path.Process(one[:], one[:])
			b.finder.Push(b.last)
		}
		b.tick()
	}
	if samples > b.bridge() {
		b.path.Reset()
		b.finder.Reset()
	}
}

func (b *Board) tick() {
	rate := uint32(b.cfg.RateHz)
	b.us += 1_000_000 / rate
	if b.rest += 1_000_000 % rate; b.rest >= rate {
		b.rest -= rate
		b.us++
	}
}

// Header is what the board prints first.
func (b *Board) Header() string {
	return fmt.Sprintf("# rate %d Hz\n# kind %s\nt_us,raw,filtered,beat [ms],bpm\n", int(b.cfg.RateHz), b.kind)
}

// Line is the line that the board prints of a result, with its end.
func (b *Board) Line(r Result) string {
	tenths := (int64(r.Filtered)*10 + b.halfOne()) >> b.path.fraction
	sign := ""
	if tenths < 0 {
		sign, tenths = "-", -tenths
	}
	bpm := "nan"
	if r.Rate16 > 0 {
		bpm = fmt.Sprint((r.Rate16 + 8) / 16)
	}
	return fmt.Sprintf("%d,%d,%s%d.%d,%d,%s\n", r.TimeUS, r.Raw, sign, tenths/10, tenths%10, r.BeatMS, bpm)
}

func (b *Board) halfOne() int64 { return 1 << b.path.fraction / 2 }

// baud is one that carries the lines, 30 bytes each.
func (b *Board) baud() int {
	if b.cfg.RateHz > 250 {
		return 250000
	}
	return 115200
}

// Program is the whole program as one file for a target. Lines of about tell a reader
// what it is; they become comments.
func (b *Board) Program(target Target, about []string) (string, error) {
	name := map[Target]string{AVR: "avr.c.tmpl", Ino: "ino.tmpl", Plain: "plain.c.tmpl"}[target]
	if name == "" {
		return "", fmt.Errorf("firmware: target %q: choose %s, %s or %s", target, Ino, AVR, Plain)
	}
	if target == AVR && (b.cfg.Bits != 10 || b.cfg.Signed) {
		return "", fmt.Errorf("firmware: a converter of %d bits: the ATmega328P's has 10, from 0; choose -bits 10, or the target %s or %s", b.cfg.Bits, Ino, Plain)
	}
	rateHz := int(b.cfg.RateHz)
	return render(name, struct {
		About        []string
		Rate         string
		Kind         Kind
		RateHz, Bits int
		LatencyMs    int
		Path, Band   cascade
		Finder       finderC
		PeriodUs     int
		PeriodRest   int
		LightSamples int
		Bridge, Baud int
		HalfOne      int64
		Resolution   bool
	}{comment(about), rate(b.cfg.RateHz), b.kind, rateHz, b.cfg.Bits, int(math.Round(100*b.LatencySeconds())) * 10,
		b.path.cascade("path", "pulsewright_state"), b.finder.band.cascade("band", "pulsewright_band_state"), b.finder.finderC(),
		1_000_000 / rateHz, 1_000_000 % rateHz, b.light(), b.bridge(), b.baud(), b.halfOne(), b.cfg.Bits != 10}), nil
}
