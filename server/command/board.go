package command

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"strings"

	parts "pulsewright/dsp/board"
)

// boardExample is how an example's name begins in place of a file's.
const boardExample = "example:"

// mostBoardBytes is more than a board's file may have, so that a longer one is told.
const mostBoardBytes = 1 << 20

func boardOf(_ context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("board", "FILE", "Computes a board from its parts: FILE is a *.board.json (dsp/board/FORMAT.md), or example:NAME, where NAME is\n"+
		strings.Join(parts.ExampleNames(), ", ")+". Prints freq_hz,gain_db,phase_deg and, after #, the figures.", stderr)
	netlist := f.Bool("netlist", false, "print a SPICE deck instead: input vin, output out, for ngspice -b")
	values := f.Bool("values", false, "print the list of parts instead, with tolerances and cautions")
	asJSON := f.Bool("json", false, "print the board's own file instead")
	low := f.Float64("low", 0.05, "lowest frequency in `Hz`")
	high := f.Float64("high", 5000, "highest frequency in `Hz`")
	points := f.Int("points", 20, "`number` of frequencies in a decade")
	tolerance := f.Float64("tolerance", 0, "tolerance in `percent` for all parts, instead of the tolerance of each part")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() != 1 {
		return fmt.Errorf("%w: name one board, as in: pulsewright board example:lamp_clip_a", errMisused)
	}
	if !(*low >= 0.001 && *low < *high && *high <= 1e6) || *points < 1 || *points > 200 {
		return fmt.Errorf("%w: -low %g -high %g -points %d: frequencies lie from 0.001 Hz to 1 MHz, low below high, 1 to 200 in a decade", errMisused, *low, *high, *points)
	}
	if !(*tolerance >= 0 && *tolerance <= 50) {
		return fmt.Errorf("%w: -tolerance %g: give percent from 0 to 50, as 5", errMisused, *tolerance)
	}
	b, err := readBoard(f.Arg(0))
	if err != nil {
		return err
	}
	w := bufio.NewWriter(stdout)
	switch {
	case *netlist:
		fmt.Fprint(w, b.Netlist(parts.NetlistOptions{LowHz: *low, HighHz: *high, PerDecade: *points}))
	case *values:
		printParts(w, b)
	case *asJSON:
		err = printBoard(w, b)
	default:
		err = printBoardFigures(w, b, parts.Grid(*low, *high, *points), *tolerance/100)
	}
	if err != nil {
		return err
	}
	return w.Flush()
}

// readBoard reads a board's file, or an example.
func readBoard(name string) (*parts.Board, error) {
	if example, ok := strings.CutPrefix(name, boardExample); ok {
		return parts.Example(example)
	}
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	text, err := io.ReadAll(io.LimitReader(file, mostBoardBytes))
	if err != nil {
		return nil, err
	}
	b, err := parts.Parse(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	return b, nil
}
