//go:build portaudio

package soundcard

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/gordonklaus/portaudio"

	"pulsewright/acquire"
	"pulsewright/acquire/guard"
)

// benchFrames is the length of the blocks that are played and recorded together.
const benchFrames = 512

// benchLatency makes the buffers long: nothing must be lost for half a minute, and
// what is recorded after the sweep is longer than both.
const benchLatency = 500 * time.Millisecond

// Bench is an output and an input of one sound card that run together, so that
// what is played can be recorded in step. It stays open between runs: the time from
// output to input is then the same for each. Safe for concurrent use.
type Bench struct {
	name   string
	stream *portaudio.Stream
	in     []float32
	out    []float32
	stop   chan struct{}
	ended  chan struct{}
	once   sync.Once

	// Guarded by mu.
	mu  sync.Mutex
	job *benchJob
	err error
}

type benchJob struct {
	play     []float64
	recorded []float64
	total    int
	done     chan error // capacity 1
}

// OpenBench opens the input and the output that names stand for ("default", or a
// name or part of one that no other has) at a rate of 8000 to 192000 Hz.
func OpenBench(input, output string, rateHz float64) (*Bench, error) {
	if !(rateHz >= 8000 && rateHz <= 192000) {
		return nil, fmt.Errorf("soundcard: rate %g Hz; must be 8000 to 192000 Hz", rateHz)
	}
	if err := enter(); err != nil {
		return nil, err
	}
	b, err := openBench(input, output, rateHz)
	if err != nil {
		_ = leave()
		return nil, err
	}
	go func() {
		if err := guard.Call("playing and recording", func() error { b.run(); return nil }); err != nil {
			b.mu.Lock()
			b.err = err
			b.mu.Unlock()
		}
	}()
	return b, nil
}

func openBench(input, output string, rateHz float64) (*Bench, error) {
	in, err := pick(input)
	if err != nil {
		return nil, err
	}
	out, err := pickOutput(output)
	if err != nil {
		return nil, err
	}
	p := portaudio.HighLatencyParameters(in, out)
	p.Input.Latency, p.Output.Latency = benchLatency, benchLatency
	p.Input.Channels, p.Output.Channels = 1, 1
	p.SampleRate, p.FramesPerBuffer = rateHz, benchFrames
	b := &Bench{name: in.Name, in: make([]float32, benchFrames), out: make([]float32, benchFrames), stop: make(chan struct{}), ended: make(chan struct{})}
	err = quietly(func() (err error) {
		if b.stream, err = portaudio.OpenStream(p, b.in, b.out); err != nil {
			return err
		}
		if err = b.stream.Start(); err != nil {
			_ = b.stream.Close()
		}
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("soundcard: output %s and input %s together at %g Hz: %w; try another rate, such as %g Hz", out.Name, in.Name, rateHz, err, in.DefaultSampleRate)
	}
	return b, nil
}

// pickOutput finds the output that a name stands for.
func pickOutput(name string) (*portaudio.DeviceInfo, error) {
	all, err := portaudio.Devices()
	if err != nil {
		return nil, fmt.Errorf("soundcard: listing audio outputs: %w", err)
	}
	if name == "default" {
		d, err := portaudio.DefaultOutputDevice()
		if err != nil {
			return nil, fmt.Errorf("soundcard: no default audio output (%v): %w; plug one in", err, acquire.ErrUnplugged)
		}
		return d, nil
	}
	for _, d := range all {
		if d.MaxOutputChannels > 0 && d.Name == name {
			return d, nil
		}
	}
	return nil, fmt.Errorf("soundcard: no audio output %q: %w; give its whole name, or default", name, acquire.ErrUnplugged)
}

// Name is the input's.
func (b *Bench) Name() string { return b.name }

// ErrLost says that the computer was too busy: something of a run is missing.
var ErrLost = errors.New("soundcard: sound was lost because this computer was too busy: close what else is, then measure again")

// Run plays samples (−1 to 1) and records total samples from the first one on.
// One run at a time.
func (b *Bench) Run(ctx context.Context, samples []float64, total int) ([]float64, error) {
	j := &benchJob{play: samples, total: total, recorded: make([]float64, 0, total+benchFrames), done: make(chan error, 1)}
	b.mu.Lock()
	if b.err != nil || b.job != nil {
		err := b.err
		b.mu.Unlock()
		if err == nil {
			err = errors.New("soundcard: a run is under way: wait for its end")
		}
		return nil, err
	}
	b.job = j
	b.mu.Unlock()
	defer func() {
		b.mu.Lock()
		defer b.mu.Unlock()
		if b.job == j {
			b.job = nil
		}
	}()
	select {
	case err := <-j.done:
		if err != nil {
			return nil, err
		}
		return j.recorded[:total], nil
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-b.ended:
		return nil, errors.New("soundcard: the sound card was closed during the run: open it again")
	}
}

// run plays and records, silence between jobs.
func (b *Bench) run() {
	defer close(b.ended)
	b.fill()
	at := 0
	var now *benchJob
	for {
		select {
		case <-b.stop:
			return
		default:
		}
		b.mu.Lock()
		if b.job != now {
			now, at = b.job, 0
		}
		b.mu.Unlock()
		for i := range b.out {
			b.out[i] = 0
			if now != nil && at+i < len(now.play) {
				b.out[i] = float32(now.play[at+i])
			}
		}
		at += len(b.out)
		wrote := b.stream.Write()
		read := b.stream.Read()
		lost := errors.Is(wrote, portaudio.OutputUnderflowed) || errors.Is(read, portaudio.InputOverflowed)
		if err := errors.Join(wrote, read); err != nil && !lost {
			b.finish(now, fmt.Errorf("soundcard: %s: %v: %w; open it again", b.name, err, acquire.ErrUnplugged))
			return
		}
		if now == nil {
			if lost {
				b.fill()
			}
			continue
		}
		if lost {
			b.finish(now, ErrLost)
			now = nil
			b.fill()
			continue
		}
		for _, v := range b.in {
			now.recorded = append(now.recorded, float64(v))
		}
		if len(now.recorded) >= now.total {
			b.finish(now, nil)
			now = nil
		}
	}
}

// fill fills the output's buffer with silence, so that a late block leaves no hole.
func (b *Bench) fill() {
	clear(b.out)
	for range 1000 {
		if n, err := b.stream.AvailableToWrite(); err != nil || n < benchFrames || b.stream.Write() != nil {
			return
		}
	}
}

func (b *Bench) finish(j *benchJob, err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if errors.Is(err, acquire.ErrUnplugged) {
		b.err = err
	}
	if b.job == j {
		b.job = nil
	}
	if j != nil {
		select {
		case j.done <- err:
		default:
		}
	}
}

// Close ends a run under way and closes the sound card; may be called twice.
func (b *Bench) Close() error {
	var err error
	b.once.Do(func() {
		close(b.stop)
		<-b.ended
		err = errors.Join(b.stream.Abort(), b.stream.Close(), leave())
	})
	return err
}
