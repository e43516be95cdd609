// Package soundcard reads the computer's audio input.
//
// The sound card is reached through PortAudio, which needs a C library, so it
// stands behind the build tag portaudio; without it Open and Devices say how to
// get it. Samples stay the converter's counts, 16 or 24 bits; what a count is in
// volts is not known until somebody calibrates the input (option fullscale).
// Sound inputs are coupled by a capacitor: slow parts of a pulse are bent or lost.
//
// Addresses: sound:default, or sound: and the device's name or a part of it that
// no other has. Options: rate (8000 to 192000 Hz, default 48000), bits (16 or
// 24), side (left, right or both; default left), fullscale (volts at the highest
// count), kind (pulse, ecg or other), keep (slow or full: whether what is above
// this package decimates to about 1 kHz; default slow). sound:browser and
// sound:browser/NAME take what a page's audio input sends, see Browser.
package soundcard

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
)

// ErrNotBuilt says that the program was built without the sound card.
var ErrNotBuilt = errors.New("this build has no sound card input: install the package portaudio19-dev (Debian), portaudio (Homebrew) or " +
	"mingw-w64-portaudio (MSYS2), and build with the tag portaudio")

// Device is an audio input.
type Device struct {
	// Name opens it as sound:Name.
	Name string `json:"name"`
	// System is the audio system that offers it.
	System   string  `json:"system"`
	Channels int     `json:"channels"`
	RateHz   float64 `json:"rateHz"` // its default rate
	Default  bool    `json:"default"`
}

// config is an address taken apart.
type config struct {
	device     string
	rateHz     float64
	bits       int
	side       string
	fullscale  float64 // volts; 0 unknown
	kind       string
	address    string
	blockFrame int
}

func parse(a acquire.Address) (config, error) {
	c := config{device: a.Path, address: a.String()}
	if err := a.Only("rate", "bits", "side", "fullscale", "kind", "keep"); err != nil {
		return c, err
	}
	var err error
	if c.rateHz, err = a.Number("rate", 48000, 8000, 192000); err != nil {
		return c, err
	}
	bits, err := a.Number("bits", 16, 16, 24)
	if err != nil {
		return c, err
	}
	if bits != 16 && bits != 24 {
		return c, &acquire.AddressError{Address: c.address, Part: fmt.Sprintf("option bits=%g", bits), Rule: "give 16 or 24"}
	}
	c.bits = int(bits)
	if c.fullscale, err = a.Number("fullscale", 0, 0, 1000); err != nil {
		return c, err
	}
	c.side = a.Text("side", "left")
	if c.side != "left" && c.side != "right" && c.side != "both" {
		return c, &acquire.AddressError{Address: c.address, Part: "option side=" + c.side, Rule: "give left, right or both"}
	}
	if keep := a.Text("keep", "slow"); keep != "slow" && keep != "full" {
		return c, &acquire.AddressError{Address: c.address, Part: "option keep=" + keep, Rule: "give slow (about 1 kHz) or full (the input's own rate)"}
	}
	c.kind = a.Text("kind", acquire.KindUnknown)
	switch c.kind {
	case acquire.KindUnknown, acquire.KindPulse, acquire.KindECG, acquire.KindOther:
	default:
		return c, &acquire.AddressError{Address: c.address, Part: "option kind=" + c.kind, Rule: "give pulse, ecg or other"}
	}
	c.blockFrame = int(c.rateHz / 100)
	return c, nil
}

// width is how many channels must be opened.
func (c config) width() int {
	if c.side == "left" {
		return 1
	}
	return 2
}

// info describes the source.
func (c config) info(deviceName string) acquire.Info {
	labels := map[string][]string{"left": {"left"}, "right": {"right"}, "both": {"left", "right"}}[c.side]
	info := acquire.Info{Address: c.address, Device: deviceName, ClaimedRateHz: c.rateHz,
		Name: fmt.Sprintf("%s, %s, %g Hz, %d bits", deviceName, c.side, c.rateHz, c.bits)}
	top := int32(1)<<(c.bits-1) - 1
	for _, l := range labels {
		channel := acquire.Channel{Label: l, Kind: c.kind, MinCount: -top - 1, MaxCount: top}
		if c.fullscale > 0 {
			channel.Unit, channel.VoltsPerCount = "V", c.fullscale/float64(top+1)
		}
		info.Channels = append(info.Channels, channel)
	}
	return info
}

// errOverflow marks samples that were lost before they could be read.
var errOverflow = errors.New("input overflow")

// device is an open audio input; read blocks until dst, interleaved frames of
// the opened width, is full. It may return errOverflow with dst filled.
type device interface {
	read(dst []int32) error
	close() error
}

// stall is how long nothing may come from a device that is there.
const stall = 2 * time.Second

// queueBlocks is 2 s of blocks of 10 ms.
const queueBlocks = 200

type packet struct {
	counts  [][]int32
	arrived time.Time
	broken  bool // samples were lost just before, nobody knows how many
	err     error
}

// source reads a device on a goroutine of its own, so that a device that never
// answers cannot hold up Read or Close.
type source struct {
	config config
	info   acquire.Info
	device device
	queue  chan packet
	stop   chan struct{}
	ended  chan struct{}
	once   sync.Once

	// Owned by Read's goroutine.
	next int64
	last time.Time
	err  error

	// Guarded by mu.
	mu     sync.Mutex
	health acquire.Health
}

func newSource(c config, deviceName string, d device) *source {
	s := &source{config: c, info: c.info(deviceName), device: d, queue: make(chan packet, queueBlocks),
		stop: make(chan struct{}), ended: make(chan struct{}), last: time.Now()}
	go s.pump()
	return s
}

// pump moves blocks from the device to the queue.
func (s *source) pump() {
	defer close(s.ended)
	width := s.config.width()
	raw := make([]int32, width*s.config.blockFrame)
	broken := false
	for {
		err := guard.Call("reading the sound input", func() error { return s.device.read(raw) })
		arrived := time.Now()
		select {
		case <-s.stop:
			return
		default:
		}
		if err != nil && !errors.Is(err, errOverflow) {
			select {
			case s.queue <- packet{err: err}:
			case <-s.stop:
			}
			return
		}
		broken = broken || err != nil
		p := packet{counts: split(raw, width, s.config.side), arrived: arrived, broken: broken}
		select {
		case s.queue <- p:
			broken = false
		case <-s.stop:
			return
		default:
			broken = true // nobody reads: the newest block is given up and said to be
		}
	}
}

// split takes the wanted channels out of interleaved frames.
func split(raw []int32, width int, side string) [][]int32 {
	n := len(raw) / width
	take := func(at int) []int32 {
		out := make([]int32, n)
		for i := range out {
			out[i] = raw[i*width+at]
		}
		return out
	}
	switch side {
	case "right":
		return [][]int32{take(1)}
	case "both":
		return [][]int32{take(0), take(1)}
	}
	return [][]int32{take(0)}
}

// Describe implements acquire.Source.
func (s *source) Describe() acquire.Info { return s.info }

// Health implements acquire.HealthReporter.
func (s *source) Health() acquire.Health {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.health
}

// Read implements acquire.Source.
func (s *source) Read(ctx context.Context) (acquire.Block, error) {
	if s.err != nil {
		return acquire.Block{}, s.err
	}
	timer := time.NewTimer(100 * time.Millisecond)
	defer timer.Stop()
	select {
	case p := <-s.queue:
		return s.take(p)
	case <-timer.C:
		if time.Since(s.last) > stall {
			s.err = fmt.Errorf("soundcard: %s: no sample for %v: %w; is it still plugged in?", s.info.Name, stall, acquire.ErrUnplugged)
			return acquire.Block{}, s.err
		}
		return acquire.Block{}, nil
	case <-s.stop:
		s.err = fmt.Errorf("soundcard: %s: closed", s.info.Name)
		return acquire.Block{}, s.err
	case <-ctx.Done():
		return acquire.Block{}, ctx.Err()
	}
}

func (s *source) take(p packet) (acquire.Block, error) {
	if p.err != nil {
		text := strings.TrimSpace(p.err.Error())
		if text == "" {
			text = "the device stopped without saying why"
		}
		s.err = fmt.Errorf("soundcard: %s: %s: %w; plug it in again", s.info.Name, text, acquire.ErrUnplugged)
		return acquire.Block{}, s.err
	}
	b := acquire.Block{First: s.next, Arrived: p.arrived, Counts: p.counts, Jump: p.broken}
	s.next += int64(b.Len())
	s.last = p.arrived
	s.mu.Lock()
	s.health.Lines++
	if p.broken {
		s.health.Unreadable++
		s.health.Detail = "some sound was lost because this computer was too busy"
	}
	s.mu.Unlock()
	return b, nil
}

// Close implements acquire.Source. A device that does not answer is left to its
// goroutine after a second.
func (s *source) Close() error {
	var err error
	s.once.Do(func() {
		close(s.stop)
		select {
		case <-s.ended:
			err = s.device.close()
		case <-time.After(time.Second):
			go func() { <-s.ended; _ = s.device.close() }()
		}
	})
	return err
}
