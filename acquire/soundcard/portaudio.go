//go:build portaudio

package soundcard

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"

	"github.com/gordonklaus/portaudio"

	"pulsewright/acquire"
)

// library counts the users of PortAudio: its list of devices is made at
// Initialize, so that it is refreshed only while nobody uses it.
var library struct {
	sync.Mutex
	users int
}

func enter() error {
	library.Lock()
	defer library.Unlock()
	if library.users == 0 {
		if err := quietly(portaudio.Initialize); err != nil {
			return fmt.Errorf("soundcard: PortAudio does not start: %w; is a sound system running?", err)
		}
	}
	library.users++
	return nil
}

func leave() error {
	library.Lock()
	defer library.Unlock()
	library.users--
	if library.users > 0 {
		return nil
	}
	return portaudio.Terminate()
}

// Devices lists the audio inputs. A device plugged in while one is open is seen
// when that one is closed.
func Devices() ([]Device, error) {
	if err := enter(); err != nil {
		return nil, err
	}
	defer leave()
	found, err := inputs()
	if err != nil {
		return nil, err
	}
	chosen, _ := portaudio.DefaultInputDevice() // an error means there is none
	var list []Device
	for _, d := range found {
		list = append(list, Device{Name: d.Name, System: d.HostApi.Name, Channels: d.MaxInputChannels, RateHz: d.DefaultSampleRate, Default: d == chosen})
	}
	return list, nil
}

func inputs() ([]*portaudio.DeviceInfo, error) {
	all, err := portaudio.Devices()
	if err != nil {
		return nil, fmt.Errorf("soundcard: listing audio inputs: %w", err)
	}
	var list []*portaudio.DeviceInfo
	for _, d := range all {
		if d.MaxInputChannels > 0 {
			list = append(list, d)
		}
	}
	return list, nil
}

// pick finds the device that a name stands for.
func pick(name string) (*portaudio.DeviceInfo, error) {
	list, err := inputs()
	if err != nil {
		return nil, err
	}
	if len(list) == 0 {
		return nil, fmt.Errorf("soundcard: this computer has no audio input: %w; plug one in", acquire.ErrUnplugged)
	}
	if name == "default" {
		d, err := portaudio.DefaultInputDevice()
		if err != nil {
			return nil, fmt.Errorf("soundcard: no default audio input (%v): %w; name one of %s", err, acquire.ErrUnplugged, names(list))
		}
		return d, nil
	}
	var match []*portaudio.DeviceInfo
	for _, d := range list {
		if d.Name == name {
			return d, nil
		}
		if strings.Contains(strings.ToLower(d.Name), strings.ToLower(name)) {
			match = append(match, d)
		}
	}
	switch len(match) {
	case 1:
		return match[0], nil
	case 0:
		return nil, fmt.Errorf("soundcard: no audio input %q: %w; there are %s", name, acquire.ErrUnplugged, names(list))
	}
	return nil, fmt.Errorf("soundcard: %q fits %s: give the whole name", name, names(match))
}

func names(list []*portaudio.DeviceInfo) string {
	var quoted []string
	for _, d := range list {
		quoted = append(quoted, fmt.Sprintf("%q", d.Name))
	}
	return strings.Join(quoted, ", ")
}

// Open opens an audio input; the address is described in the package comment.
// Errors wrap acquire.ErrUnplugged where the device is missing.
func Open(_ context.Context, a acquire.Address) (acquire.Source, error) {
	c, err := parse(a)
	if err != nil {
		return nil, err
	}
	if err := enter(); err != nil {
		return nil, err
	}
	d, name, err := open(c)
	if err != nil {
		_ = leave()
		return nil, err
	}
	return newSource(c, name, d), nil
}

// card is an open stream with the buffer PortAudio fills.
type card struct {
	stream  *portaudio.Stream
	samples []int32
	narrow  []int16 // 16 bits: what is filled instead
	shift   int
}

func open(c config) (*card, string, error) {
	info, err := pick(c.device)
	if err != nil {
		return nil, "", err
	}
	if info.MaxInputChannels < c.width() {
		return nil, "", fmt.Errorf("soundcard: %s has %d input channel, side=%s needs %d: choose side=left", info.Name, info.MaxInputChannels, c.side, c.width())
	}
	p := portaudio.LowLatencyParameters(info, nil)
	p.Input.Channels = c.width()
	p.SampleRate = c.rateHz
	p.FramesPerBuffer = c.blockFrame
	d := &card{}
	var buffer any
	if c.bits == 16 {
		d.narrow = make([]int16, c.width()*c.blockFrame)
		buffer = d.narrow
	} else {
		d.samples, d.shift = make([]int32, c.width()*c.blockFrame), 8
		buffer = d.samples
	}
	err = quietly(func() (err error) {
		if d.stream, err = portaudio.OpenStream(p, buffer); err != nil {
			return err
		}
		if err = d.stream.Start(); err != nil {
			_ = d.stream.Close()
		}
		return err
	})
	if err != nil {
		return nil, "", fmt.Errorf("soundcard: %s at %g Hz with %d channels: %w; try another rate, such as rate=%g", info.Name, c.rateHz, c.width(), err, info.DefaultSampleRate)
	}
	return d, info.Name, nil
}

func (d *card) read(dst []int32) error {
	err := d.stream.Read()
	if err != nil && !errors.Is(err, portaudio.InputOverflowed) {
		return err
	}
	if d.narrow != nil {
		for i, v := range d.narrow {
			dst[i] = int32(v)
		}
	} else {
		for i, v := range d.samples {
			dst[i] = v >> d.shift
		}
	}
	if err != nil {
		return errOverflow
	}
	return nil
}

func (d *card) close() error {
	err := d.stream.Abort()
	return errors.Join(err, d.stream.Close(), leave())
}
