package command

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"syscall"
	"time"

	"pulsewright/acquire"
	"pulsewright/server/channel"
	"pulsewright/server/hub"
	"pulsewright/server/library/remembered"
	"pulsewright/server/session"
)

// streamFrames is how many frames may wait to be printed: more than a minute of a
// board's. A source that gives its samples faster than its clock is made to wait.
const streamFrames = 4096

type streamFlags struct {
	source, data, kind string
	json, beats        bool
	points             []int
	seconds            float64
	stdin              io.Reader
	warn               io.Writer // before somebody is wired
}

const streamHelp = `Prints a live signal to standard output, for other programs, until the source ends, the
reader closes the pipe, or Ctrl-C.

-csv (the default) prints a table: sample,time_s and a column for each channel and point.
With -beats it prints a row for each beat instead: sample,time_s,channel,kind,amplitude,quality,state,rate_bpm.
-json prints an object on each line, with its "type": source, samples, beat, reading, gap,
text. With -beats it leaves out the samples.

At the end it says on standard error how many lines were unreadable or came out of order, and
how many samples were lost.`

// streamLive prints what the page would show.
func streamLive(ctx context.Context, args []string, stdout, stderr io.Writer) error {
	o := streamFlags{stdin: os.Stdin, warn: stderr}
	f := flags("stream", "", streamHelp, stderr)
	f.StringVar(&o.source, "source", "demo:finger", "`address` of the source; - is standard input")
	f.StringVar(&o.data, "data", "", "`folder` whose remembered settings (columns, names, kinds, volts, polarity, path) are used (default: the system's place for a program's data)")
	f.StringVar(&o.kind, "kind", "", "`ecg, pulse or other`: what the channels carry (default: as remembered, or as the source says)")
	f.BoolVar(&o.json, "json", false, "print JSON, an object a line")
	table := f.Bool("csv", false, "print CSV (the default)")
	f.BoolVar(&o.beats, "beats", false, "print beats, with -json also the rate, and no samples")
	points := f.String("points", "scale,smooth", "`points` of the path to print: scale, drift, hum, smooth, beats")
	f.Float64Var(&o.seconds, "seconds", 0, "end after so many `seconds` of signal; 0 means no end")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() > 0 {
		return fmt.Errorf("%w: stream takes no argument, got %q; name the source with -source", errMisused, f.Arg(0))
	}
	if o.json && *table {
		return fmt.Errorf("%w: -json and -csv: choose one", errMisused)
	}
	var ok bool
	if o.points, ok = channel.PointsOf(*points); !ok {
		return fmt.Errorf("%w: -points %s: name each once, of %s", errMisused, *points, strings.Join(channel.PointNames[:], ", "))
	}
	switch o.kind {
	case "", acquire.KindECG, acquire.KindPulse, acquire.KindOther:
	default:
		return fmt.Errorf("%w: -kind %q: choose ecg, pulse or other", errMisused, o.kind)
	}
	if !(o.seconds >= 0) {
		return fmt.Errorf("%w: -seconds %g: give 0 or more", errMisused, o.seconds)
	}
	return streamTo(ctx, o, stdout, slog.New(slog.NewTextHandler(stderr, &slog.HandlerOptions{Level: slog.LevelWarn})))
}

// streamTo runs a session of its own and prints what its page would get.
func streamTo(ctx context.Context, o streamFlags, stdout io.Writer, log *slog.Logger) error {
	// A closed pipe is an error of the write then, and no signal that ends the program.
	defer ignoreClosedPipe()()
	folder, err := dataFolder(o.data)
	if err != nil {
		return err
	}
	settings := remembered.NewSettings(folder, log)
	defer settings.Close()
	pages := hub.New(streamFrames)
	open := rememberColumns(openers(nil, nil, o.stdin), folder, log)
	stdin := open["stdin"]
	open["stdin"] = func(ctx context.Context, a acquire.Address) (acquire.Source, error) {
		source, err := stdin(ctx, a)
		if err != nil || !source.Describe().ExactClock {
			return source, err
		}
		return waitingSource{source, pages}, nil
	}
	live := session.New(session.Config{Openers: warned(open, o.warn), Hub: pages, Log: log, Version: Version, Remember: settings, Kind: o.kind})
	page := live.Watch()
	ctx, stop := context.WithCancel(ctx)
	var wg sync.WaitGroup
	defer wg.Wait()
	defer stop()
	wg.Go(func() {
		if err := live.Run(ctx); err != nil {
			log.Error("session", "err", err)
		}
	})
	failed := make(chan error, 1)
	var opened atomic.Bool
	reading, giveUp := context.WithCancel(ctx)
	defer giveUp()
	wg.Go(func() {
		if err := openFirst(ctx, live, o.source, log); err != nil {
			failed <- err
			giveUp()
		}
		opened.Store(true)
	})
	p := &printer{streamFlags: o, out: bufio.NewWriterSize(stdout, 1<<16), opened: &opened}
	err = p.print(reading, page)
	if text := linkLosses(live.State().Health); text != "" {
		fmt.Fprintln(o.warn, text)
	}
	select {
	case err := <-failed:
		return err
	default:
	}
	if errors.Is(err, syscall.EPIPE) || errors.Is(err, io.ErrClosedPipe) || errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// linkLosses says what of the source's lines did not become samples, or "".
func linkLosses(h acquire.Health) string {
	var parts []string
	add := func(n int64, text string) {
		if n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", n, text))
		}
	}
	add(h.Unreadable, "unreadable lines, left out")
	add(h.OutOfOrder, "lines out of order (their time or counter is earlier than in the line before), left out: print each sample in the order in which it was taken")
	add(h.LostSamples, "samples lost, as the board's counter or checksums tell")
	if len(parts) == 0 {
		return ""
	}
	if h.LostUnknown {
		parts = append(parts, "samples lost by the board: unknown, since it sends no time and no counter")
	}
	return "lost on the link: " + strings.Join(parts, "; ")
}

// waitingSource waits while much is still to be printed.
type waitingSource struct {
	acquire.Source
	pages *hub.Hub
}

// Read implements acquire.Source.
func (s waitingSource) Read(ctx context.Context) (acquire.Block, error) {
	if s.pages.Waiting() > streamFrames/2 {
		return acquire.Block{}, waitABit(ctx, 10*time.Millisecond)
	}
	return s.Source.Read(ctx)
}

// Health implements acquire.HealthReporter.
func (s waitingSource) Health() acquire.Health { return s.Source.(acquire.HealthReporter).Health() }

// printer prints a page's messages.
type printer struct {
	streamFlags
	out    *bufio.Writer
	opened *atomic.Bool // a failure before may be mended by trying again

	state    session.State
	begun    bool
	epoch    uint32 // of the header printed last
	columns  string // its columns
	readings []session.ChannelReading
	time     timeline
	line     []byte
}

// timeline gives each sample its time. The rate may become better known on the way;
// the time goes on from where it is.
type timeline struct {
	first   int64 // a sample,
	seconds float64
	rateHz  float64
}

// at is a sample's time in seconds.
func (t *timeline) at(sample int64) float64 {
	if t.rateHz == 0 {
		return 0
	}
	return t.seconds + float64(sample-t.first)/t.rateHz
}

// move goes on at a sample with a rate.
func (t *timeline) move(sample int64, rateHz float64) {
	if rateHz == t.rateHz {
		return
	}
	t.seconds, t.first, t.rateHz = t.at(sample), sample, rateHz
}

// errDone ends printing.
var errDone = errors.New("all is printed")

// print prints until the source ends or the output is closed.
func (p *printer) print(ctx context.Context, page *hub.Client) error {
	for {
		m, dropped, err := page.Next(ctx)
		if err != nil {
			_ = p.out.Flush() // whole lines
			return err
		}
		if dropped > 0 {
			return fmt.Errorf("the reader of this output is too slow: %d pieces of the signal are lost; print fewer points, or only -beats", dropped)
		}
		if m.Kind == hub.Frame {
			err = p.frame(m.Data)
		} else {
			err = p.message(m.Data)
		}
		if err == nil {
			err = p.out.Flush()
		}
		if errors.Is(err, errDone) {
			return p.out.Flush()
		}
		if err != nil {
			return err
		}
	}
}

// message takes one of the stream's JSON messages.
func (p *printer) message(data []byte) error {
	var kind struct {
		Type string `json:"type"`
	}
	if err := json.Unmarshal(data, &kind); err != nil {
		return err
	}
	switch kind.Type {
	case "state":
		var s session.State
		if err := json.Unmarshal(data, &s); err != nil {
			return err
		}
		return p.takeState(s)
	case "beats":
		var b session.ChannelBeats
		if err := json.Unmarshal(data, &b); err != nil {
			return err
		}
		return p.beatLines(b)
	case "reading":
		var r session.ChannelReading
		if err := json.Unmarshal(data, &r); err != nil {
			return err
		}
		return p.readingLine(r)
	case "gap":
		var g session.Gap
		if err := json.Unmarshal(data, &g); err != nil {
			return err
		}
		return p.object(gapLine{"gap", g.Index, p.time.at(g.Index), g.Samples, g.Reason})
	case "text":
		var t struct {
			Index int64    `json:"index"`
			Lines []string `json:"lines"`
		}
		if err := json.Unmarshal(data, &t); err != nil {
			return err
		}
		return p.object(textLine{"text", t.Index, t.Lines})
	}
	return nil
}

// takeState begins an epoch, and knows the end.
func (p *printer) takeState(s session.State) error {
	p.state = s
	switch s.Status {
	case session.StatusEnded:
		if !p.begun {
			return errors.New("the source ended before its channels and its sample rate were known, so nothing is printed: it was shorter than a second or two, or no numbers were in it; the address can tell the rate, as in -?rate=250&exact=1")
		}
		return errDone
	case session.StatusFailed:
		if p.begun || p.opened.Load() {
			return errors.New(s.StatusText)
		}
	case session.StatusRunning:
		if p.begun && p.epoch == s.Epoch || len(s.Channels) == 0 {
			return nil
		}
		return p.header(s)
	}
	return nil
}
