package command

import (
	"cmp"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"os"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/firmware"
	"pulsewright/dsp/signalpath"
	"pulsewright/server"
	"pulsewright/server/channel"
	"pulsewright/server/plain"
)

// firmwareOf prints a path as C.
func firmwareOf(_ context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("firmware", "[RECORDING]", "Prints a signal path as C for the board's own processor: the path a recording was made with,\nor without a recording the usual path for the kind. The C uses whole numbers only.", stderr)
	kind := f.String("kind", "", "`pulse or ecg`: the usual path of that kind instead of the recorded one")
	number := f.Int("channel", 1, "`number` of the channel, from 1")
	path := f.String("path", "", "`FILE` with path settings as JSON (PathSettings in the API), used instead")
	rate := f.Float64("rate", 0, "sample rate in `Hz` (default: the recording's, else 250)")
	bits := f.Int("bits", 0, "`width` of the converter (default: the recording's, else 10)")
	signed := f.Bool("signed", false, "counts go below 0, too (default: the recording's)")
	invert := f.Bool("invert", false, "turn the signal upside down first, for a board that inverts")
	form := f.String("form", string(firmware.Exact), "`exact or small`: 30-bit coefficients and 64-bit sums, or 14 and 32 bits for small processors")
	whole := f.String("whole", "", "`ino, avr or c`: a whole program around the path, with a beat finder, rate, light and printed lines:\nino for boards with setup and loop, avr for an ATmega328P alone, c with four functions of yours")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() > 1 {
		return fmt.Errorf("%w: name one recording at most", errMisused)
	}
	if *kind != "" && *kind != "pulse" && *kind != "ecg" {
		return fmt.Errorf("%w: -kind %q: choose pulse or ecg", errMisused, *kind)
	}
	config := firmware.Config{RateHz: *rate, Bits: *bits, Signed: *signed, Invert: *invert, Form: firmware.Form(*form)}
	var settings *signalpath.Settings
	if f.NArg() == 1 {
		described, known, rateHz, err := recordedPath(f.Arg(0), *number)
		if err != nil {
			return err
		}
		width, below := server.ConverterBits(described, known.Scale)
		config.RateHz, config.Bits = cmp.Or(config.RateHz, rateHz), cmp.Or(config.Bits, width)
		told := false
		f.Visit(func(f *flag.Flag) { told = told || f.Name == "signed" })
		if !told {
			config.Signed = below
		}
		if *kind == "" && *path == "" {
			settings, *kind = &known.Path, known.Kind
		}
	}
	config.RateHz, config.Bits = cmp.Or(config.RateHz, 250), cmp.Or(config.Bits, 10)
	if *path != "" {
		var err error
		if settings, err = readPath(*path); err != nil {
			return err
		}
	}
	if settings == nil {
		if *kind != "ecg" {
			*kind = "pulse"
		}
		s := signalpath.Preset(*kind, config.RateHz)
		settings = &s
	}
	sections, applied, err := channel.Sections(*settings, config.RateHz)
	if err != nil {
		return err
	}
	about := server.AboutPath(applied, config.RateHz)
	var code, costs string
	if *whole != "" {
		var board *firmware.Board
		if board, err = firmware.NewBoard(sections, firmware.Kind(*kind), config); err == nil {
			code, err = board.Program(firmware.Target(*whole), about)
			costs = boardCosts(board)
		}
	} else {
		var fixed *firmware.Filter
		if fixed, err = firmware.New(sections, config); err == nil {
			code, costs = fixed.C(about), pathCosts(fixed, len(sections))
		}
	}
	if err == nil {
		_, err = io.WriteString(stdout, code)
	}
	if err == nil {
		_, err = fmt.Fprintln(stderr, costs)
	}
	return err
}

// readPath reads path settings from a file.
func readPath(name string) (*signalpath.Settings, error) {
	text, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	settings := &signalpath.Settings{}
	if err := json.Unmarshal(text, settings); err != nil {
		return nil, fmt.Errorf("%s: not path settings: %s; see PathSettings in the API", name, plain.JSON(err))
	}
	return settings, nil
}

func pathCosts(f *firmware.Filter, sections int) string {
	return fmt.Sprintf("%d sections; %s; about %d cycles a sample on an 8-bit AVR, %d bytes of RAM, %d of program memory", sections, roundingOf(f), f.Cycles(), f.StateBytes(), f.ConstantBytes())
}

func roundingOf(f *firmware.Filter) string {
	hz, db := f.Error()
	return fmt.Sprintf("rounding moves gain and phase by %.2g dB at most, at %.2g Hz, and an output by %.2g counts at most besides (%.2g %% of a beat as high as a tenth of the converter's range)", db, hz, f.Noise(), 100*f.NoiseOfBeat())
}

func boardCosts(b *firmware.Board) string {
	cost := b.Cost()
	return fmt.Sprintf("%s; on an ATmega328P at 16 MHz: about %.0f %% of the processor, %d of 32768 bytes of program memory, %d of 2048 bytes of RAM; a beat is reported about %.1f s after it came",
		roundingOf(b.Path()), 100*float64(cost.Cycles)*b.RateHz()/16e6, cost.FlashBytes, cost.RAMBytes, b.LatencySeconds())
}

// recordedPath reads channel number, from 1, of a recording: as the source describes it
// and what is known of it.
func recordedPath(name string, number int) (c acquire.Channel, known channel.Settings, rateHz float64, err error) {
	rec, n, err := openAny(name, number, "", recording.OpenOptions{})
	if err != nil {
		return c, known, 0, err
	}
	defer rec.File.Close()
	return rec.Info.Channels[n], rec.Channels[n].Settings, rec.Info.ClaimedRateHz, nil
}
