package simulate

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"pulsewright/acquire"
)

// options are those Open knows, those of the fields among them.
func (c *Config) options() []string {
	known := []string{"seed", "speed", "bits", "bpm", "off", "invert", "harmonics", "pulse", "ecg", "transit"}
	list := c.fields()
	for i := range c.Channels {
		list = append(list, c.Channels[i].fields()...)
	}
	for _, f := range list {
		if f.option != "" && !slices.Contains(known, f.option) {
			known = append(known, f.option)
		}
	}
	slices.Sort(known)
	return known
}

// Open opens demo:finger, demo:chest or demo:both. It implements acquire.Opener.
//
// Options, with the field of Config or Channel they set: rate (RateHz), seed,
// speed (times real time), bpm (BPM, then Rates as in 80,30:120,60:80), variation, breath
// (BreathsPerMinute), pulse and ecg (SignalVolts), transit, invert, off (Off, as in
// 20:30,50:55), swing (BreathVolts), depth (BreathDepth), drift, motion
// (MotionPerMinute), movement (MotionVolts), mains, wander, hum, harmonics (as in
// 0.03,0.2), flicker, trimmer, noise, gain, offset, low and high (the rails), midrail, bits,
// reference. An option of a channel sets all channels. Errors are
// *acquire.AddressError, or New's.
func Open(ctx context.Context, a acquire.Address) (acquire.Source, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	c, speed, err := FromAddress(a)
	if err != nil {
		return nil, err
	}
	return NewSource(c, acquire.Info{Address: a.String(), Name: name(a)}, speed)
}

func name(a acquire.Address) string {
	for _, d := range Demos() {
		if p, err := acquire.ParseAddress(d.Address); err == nil && p.String() == a.String() {
			return d.Name
		}
	}
	return "Invented " + a.Path
}

// FromAddress reads an address as Open does, without opening it.
func FromAddress(a acquire.Address) (c Config, speed float64, err error) {
	switch a.Path {
	case "finger":
		c = Finger()
	case "chest":
		c = Chest()
	case "both":
		c = Both()
	default:
		return c, 0, &acquire.AddressError{Address: a.String(), Part: fmt.Sprintf("demo %q", a.Path), Rule: "known here are finger, chest, both"}
	}
	if err := a.Only(c.options()...); err != nil {
		return c, 0, err
	}
	if speed, err = a.Number("speed", 1, 0.01, 100); err != nil {
		return c, 0, err
	}
	if err := c.numbers(a); err != nil {
		return c, 0, err
	}
	if err := c.lists(a); err != nil {
		return c, 0, err
	}
	return c, speed, c.check()
}

// numbers takes the options that are one number, or a yes or no.
func (c *Config) numbers(a acquire.Address) (err error) {
	seed, bits := float64(c.Seed), float64(c.Bits)
	list := append(c.fields(), field{option: "seed", x: &seed, high: 1 << 53}, field{option: "bits", x: &bits, low: 6, high: 24})
	for i := range c.Channels {
		ch := &c.Channels[i]
		list = append(list, ch.fields()...)
		if ch.Invert, err = a.Flag("invert", ch.Invert); err != nil {
			return err
		}
	}
	for _, f := range list {
		if f.option == "" {
			continue
		}
		if *f.x, err = a.Number(f.option, *f.x, f.low, f.high); err != nil {
			return err
		}
	}
	if seed != math.Trunc(seed) || bits != math.Trunc(bits) {
		return &acquire.AddressError{Address: a.String(), Part: "option seed or bits", Rule: "give a whole number"}
	}
	c.Seed, c.Bits = uint64(seed), int(bits)
	return nil
}

// lists takes the options that are several numbers.
func (c *Config) lists(a acquire.Address) (err error) {
	bad := func(option, rule string) error {
		return &acquire.AddressError{Address: a.String(), Part: "option " + option + "=" + a.Options.Get(option), Rule: rule}
	}
	if a.Options.Has("bpm") {
		const rule = "give a rate per minute, then steps of seconds:rate, as in 80,30:120,60:80"
		for i, item := range strings.Split(a.Options.Get("bpm"), ",") {
			if i == 0 {
				if c.BPM, err = parse(item); err != nil {
					return bad("bpm", rule)
				}
				continue
			}
			at, bpm, err := pair(item)
			if err != nil {
				return bad("bpm", rule)
			}
			c.Rates = append(c.Rates, RateStep{at, bpm})
		}
	}
	if a.Options.Has("off") {
		for item := range strings.SplitSeq(a.Options.Get("off"), ",") {
			from, to, err := pair(item)
			if err != nil {
				return bad("off", "give stretches from:to in seconds, as in 20:30,50:55")
			}
			c.Off = append(c.Off, Stretch{from, to})
		}
	}
	if a.Options.Has("harmonics") {
		c.Harmonics = nil
		if text := a.Options.Get("harmonics"); text != "" {
			for item := range strings.SplitSeq(text, ",") {
				h, err := parse(item)
				if err != nil {
					return bad("harmonics", "give shares of the fundamental for the 2nd, 3rd … harmonic, as in 0.03,0.2")
				}
				c.Harmonics = append(c.Harmonics, h)
			}
		}
	}
	return nil
}

func parse(s string) (float64, error) {
	x, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
		err = strconv.ErrRange
	}
	return x, err
}

func pair(s string) (x, y float64, err error) {
	left, right, ok := strings.Cut(s, ":")
	if !ok {
		return 0, 0, strconv.ErrSyntax
	}
	if x, err = parse(left); err == nil {
		y, err = parse(right)
	}
	return x, y, err
}

// Demo is an address worth offering.
type Demo struct {
	Address string `json:"address"`
	Name    string `json:"name"`
	What    string `json:"what"` // one sentence
}

// Demos lists the demos to offer: the boards of an invented evening class.
func Demos() []Demo {
	return []Demo{
		{"demo:finger", "Invented lamp clip", "A finger sensor with a fair pulse, some hum and now and then a movement."},
		{"demo:chest", "Invented chest leads", "A chest-lead amplifier with clear R peaks and a little hum."},
		{"demo:both", "Invented chest leads and lamp clip", "One heart on two boards: each pulse begins about a fifth of a second after its R peak and is highest later."},
		{"demo:finger?hum=0.5&trimmer=0", "Invented bench 2: trimmer wide open", "The pulse is there, but hum from the house wiring covers it."},
		{"demo:finger?gain=2.6", "Invented bench 3: too much gain", "The amplifier runs into its upper rail and the pulse has flat tops."},
		{"demo:finger?hum=0.02&pulse=0.05", "Invented bench 4: cold finger", "A pulse of a few converter steps, with little hum."},
		{"demo:finger?motion=10&movement=1.2", "Invented bench 5: restless hand", "Movements cover the pulse several times a minute."},
		{"demo:finger?off=20:30,50:55", "Invented bench 6: finger taken off", "The clip is empty from 20 to 30 and from 50 to 55 seconds."},
		{"demo:finger?flicker=0.3&rate=100&wander=0.05", "Invented bench 7: lamp overhead", "Light flickers at 100 Hz, and sampling at 100 Hz turns that into a slow drift."},
		{"demo:finger?bpm=70,30:110,60:70", "Invented stairs", "The heart goes from 70 to 110 beats per minute and back, half a minute each."},
		{"demo:chest?hum=0.4&noise=0.03&trimmer=0", "Invented bench 8: loose leads", "Dry electrodes bring in more hum than heart."},
		{"demo:both?bits=12&rate=1000", "Invented bench 9: the fast board", "Both signals at 12 bits and 1000 samples a second."},
	}
}
