// Package command is the program's command line: it wires the parts together
// for each subcommand. Results go to standard output, messages to standard
// error; the exit status is 0 for done, 1 for failed, 2 for misused.
package command

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"strings"

	"pulsewright/acquire"
	"pulsewright/acquire/bytestream"
	"pulsewright/acquire/playback"
	"pulsewright/acquire/recording"
	"pulsewright/acquire/serialport"
	"pulsewright/acquire/simulate"
	"pulsewright/acquire/soundcard"
	"pulsewright/server/library"
	"pulsewright/server/sound"
)

// Version is set by the linker for a release.
var Version = "dev"

// errMisused marks an error in how the program was called: exit 2.
var errMisused = errors.New("misused")

type command struct {
	name, what string
	run        func(ctx context.Context, args []string, stdout, stderr io.Writer) error
}

func commands() []command {
	return []command{
		{"serve", "show a signal live on a page in the browser (the default)", serve},
		{"stream", "print a live signal, its beats and its rate for other programs", streamLive},
		{"inputs", "list serial ports, audio inputs and demos", inputs},
		{"check", "judge a board by a recording: swing, clipping, hum, noise, settling", check},
		{"beats", "find the beats in a recording and print them as CSV", beats},
		{"rate", "print the rate that the page would have shown, second by second, as CSV", rate},
		{"intervals", "print the intervals between beats, or their measures, as CSV", intervals},
		{"filter", "write a recording as it is after its signal path", filterFile},
		{"score", "compare beats with a reference, by the rules of EC57", scoreBeats},
		{"convert", "turn a recording into another format", convert},
		{"firmware", "print a signal path as C for the board's own processor", firmwareOf},
		{"board", "compute a board from its parts: response, noise, range, SPICE netlist", boardOf},
	}
}

// Run runs the subcommand that args name, serve when they name none, and returns the
// exit status: 0 done, 1 failed, 2 misused.
func Run(ctx context.Context, args []string, stdout, stderr io.Writer) int {
	name := "serve"
	if len(args) > 0 && (args[0] == "-h" || args[0] == "-help" || args[0] == "--help") {
		usage(stdout)
		return 0
	}
	if len(args) > 0 && args[0] != "" && args[0][0] != '-' && !isRecording(args[0]) {
		name, args = args[0], args[1:]
	}
	for _, c := range commands() {
		if c.name != name {
			continue
		}
		err := c.run(ctx, args, stdout, stderr)
		switch {
		case err == nil, errors.Is(err, flag.ErrHelp):
			return 0
		case errors.Is(err, errMisused):
			fmt.Fprintln(stderr, "pulsewright "+name+":", err)
			return 2
		default:
			fmt.Fprintln(stderr, "pulsewright "+name+":", err)
			return 1
		}
	}
	if name == "help" {
		usage(stdout)
		return 0
	}
	fmt.Fprintf(stderr, "pulsewright: no command and no recording %q; pulsewright -h lists the commands\n", name)
	return 2
}

// isRecording tells a file to be served from a command's name.
func isRecording(argument string) bool {
	for _, c := range commands() {
		if c.name == argument {
			return false
		}
	}
	info, err := os.Stat(argument)
	return err == nil && info.Mode().IsRegular()
}

func usage(w io.Writer) {
	fmt.Fprintln(w, "usage: pulsewright [command] [flags] [arguments]")
	fmt.Fprintln(w, "       pulsewright [flags] [RECORDING …]")
	fmt.Fprintln(w)
	for _, c := range commands() {
		fmt.Fprintf(w, "  %-9s %s\n", c.name, c.what)
	}
	fmt.Fprintln(w)
	fmt.Fprintln(w, "pulsewright COMMAND -h explains a command. Sources are named by address:")
	fmt.Fprintln(w, "  demo:finger   demo:chest   serial:/dev/ttyACM0?baud=115200   file:walk.edf?speed=10")
	fmt.Fprintln(w, "  tcp:192.168.1.7:3333   tcp-listen:3333   udp:3333   fifo:/tmp/board   - (standard input)")
	fmt.Fprintln(w)
	fmt.Fprintln(w, "A learning aid, not a medical device: do not use it to diagnose, treat or raise alarms.")
}

// flags makes a flag set that reports errors through errMisused.
func flags(name, arguments, what string, stderr io.Writer) *flag.FlagSet {
	f := flag.NewFlagSet(name, flag.ContinueOnError)
	f.SetOutput(stderr)
	f.Usage = func() {
		fmt.Fprintf(f.Output(), "usage: %s\n\n%s\n\n", strings.TrimSpace("pulsewright "+name+" [flags] "+arguments), what)
		f.PrintDefaults()
	}
	return f
}

// parse parses args; a request for help goes to stdout. A flag after the arguments
// is an error, since it would pass for one of them.
func parse(f *flag.FlagSet, args []string, stdout io.Writer) error {
	for _, a := range args {
		if a == "-h" || a == "-help" || a == "--help" {
			f.SetOutput(stdout)
			f.Usage()
			return flag.ErrHelp
		}
	}
	if err := f.Parse(args); err != nil {
		return fmt.Errorf("%w: %w", errMisused, err)
	}
	for _, a := range f.Args() {
		name, _, _ := strings.Cut(strings.TrimLeft(a, "-"), "=")
		if strings.HasPrefix(a, "-") && f.Lookup(name) != nil {
			return fmt.Errorf("%w: %s stands after %s: give flags first", errMisused, a, f.Arg(0))
		}
	}
	return nil
}

// openers opens every kind of source; pages is nil where no page can send sound.
// ports likewise for serial ports.
func openers(pages *soundcard.Browser, ports *bytestream.Pages, stdin io.Reader) acquire.Openers {
	return acquire.Openers{
		"demo":       simulate.Open,
		"serial":     openSerial(ports),
		"tcp":        bytestream.OpenTCP,
		"tcp-listen": bytestream.OpenTCPListen,
		"udp":        bytestream.OpenUDP,
		"fifo":       bytestream.OpenFIFO,
		"stdin":      bytestream.NewInput(stdin).Open,
		"sound":      openSound(pages),
		"file":       openFile,
	}
}

// openSerial opens a serial port of this computer, or a page's.
func openSerial(ports *bytestream.Pages) acquire.Opener {
	return func(ctx context.Context, a acquire.Address) (acquire.Source, error) {
		if _, ok := bytestream.SplitPage(a.Path); ok && ports != nil {
			return ports.Open(ctx, a)
		}
		return serialport.Open(ctx, a)
	}
}

// openSound opens a sound input of this computer, or a page's, decimated to about
// 1 kHz unless the address says keep=full.
func openSound(pages *soundcard.Browser) acquire.Opener {
	return func(ctx context.Context, a acquire.Address) (acquire.Source, error) {
		open := soundcard.Open
		if _, ok := soundcard.SplitBrowser(a.Path); ok && pages != nil {
			open = pages.Open
		}
		source, err := open(ctx, a)
		if err != nil {
			return nil, err
		}
		slow, err := sound.New(source, a.Text("keep", "slow") == "full")
		if err != nil {
			source.Close()
			return nil, err
		}
		return slow, nil
	}
}

// openFile opens a recording as a live source.
func openFile(_ context.Context, a acquire.Address) (acquire.Source, error) {
	config, err := playback.ConfigFromAddress(a)
	if err != nil {
		return nil, err
	}
	file, err := library.Open(a.Path, recording.OpenOptions{RateHz: config.RateHz})
	if err != nil {
		return nil, err
	}
	return playback.New(library.ForReplay(file, a.Path), config)
}
