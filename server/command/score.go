package command

import (
	"bufio"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"text/tabwriter"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat/score"
)

func scoreBeats(_ context.Context, args []string, stdout, stderr io.Writer) error {
	f := flags("score", "REFERENCE DETECTED [REFERENCE DETECTED …]", "Compares detected beats with a reference, by the rules of ANSI/AAMI EC57: a detected beat is right when it lies within 150 ms of\na reference beat; each reference beat is used once.\n"+
		"REFERENCE is a MIT annotation file (.atr and the like) or a CSV list with a column sample; DETECTED is what pulsewright beats printed, or a MIT annotation file.", stderr)
	rate := f.Float64("rate", 0, "sample rate of the recordings in `Hz` (required)")
	learning := f.Float64("learning", 0, "leave out this many `seconds` at the start; EC57 uses 300")
	window := f.Float64("window", 0.150, "most `seconds` between the two beats of a pair")
	align := f.Bool("align", false, "first subtract each record's median delay, as needed for pulse peaks against R peaks")
	if err := parse(f, args, stdout); err != nil {
		return err
	}
	if f.NArg() == 0 || f.NArg()%2 != 0 {
		return fmt.Errorf("%w: name pairs of a reference and a list of detections", errMisused)
	}
	if !(*rate > 0) || math.IsInf(*rate, 1) {
		return fmt.Errorf("%w: -rate %g: give the sample rate in Hz, above 0", errMisused, *rate)
	}
	if !(*learning >= 0) || !(*window > 0) {
		return fmt.Errorf("%w: -learning %g -window %g: give seconds; -learning must be 0 or more, -window above 0", errMisused, *learning, *window)
	}
	config := score.Config{RateHz: *rate, WindowSeconds: *window, LearningSeconds: *learning}
	var total score.Total
	t := tabwriter.NewWriter(stdout, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "record\tbeats\tTP\tFN\tFP\tSe %\t+P %\tF1 %\tRMS ms\t")
	row := func(name string, r score.Result) {
		fmt.Fprintf(t, "%s\t%d\t%d\t%d\t%d\t%.2f\t%.2f\t%.2f\t%.1f\t\n", name, r.Beats(), r.TP, r.FN, r.FP, 100*r.Se(), 100*r.PPV(), 100*r.F1(), 1000*r.RMS())
	}
	for i := 0; i < f.NArg(); i += 2 {
		reference, err := readReference(f.Arg(i))
		if err != nil {
			return err
		}
		detected, err := readReference(f.Arg(i + 1))
		if err != nil {
			return err
		}
		if *align {
			delay := score.Delay(reference, detected.Samples, int64(*rate))
			for k := range detected.Samples {
				detected.Samples[k] -= delay
			}
		}
		result, err := score.Match(reference, detected.Samples, config)
		if err != nil {
			return err
		}
		total.Add(result)
		name := filepath.Base(f.Arg(i))
		row(strings.TrimSuffix(name, filepath.Ext(name)), result)
	}
	if f.NArg() > 2 {
		row("gross", total.Gross)
		fmt.Fprintf(t, "average\t\t\t\t\t%.2f\t%.2f\t\t\t\n", 100*total.AverageSe(), 100*total.AveragePPV())
	}
	return t.Flush()
}

// readReference reads a list of beats: CSV with a column sample (and, where there
// is a column both that is 0, an uncertain beat), else a MIT annotation file.
func readReference(name string) (score.Reference, error) {
	file, err := os.Open(name)
	if err != nil {
		return score.Reference{}, err
	}
	defer file.Close()
	if strings.EqualFold(filepath.Ext(name), ".csv") {
		r, err := readBeatList(bufio.NewReader(file))
		if err != nil {
			return r, fmt.Errorf("%s: %w", name, err)
		}
		return r, nil
	}
	marks, err := recording.ReadMITAnnotations(bufio.NewReader(file))
	if err != nil {
		return score.Reference{}, fmt.Errorf("%s: %w; a list of beats is a MIT annotation file or ends in .csv", name, err)
	}
	list := make([]score.Annotation, len(marks))
	for i, m := range marks {
		list[i] = score.Annotation{Sample: m.Sample, Code: m.Code}
	}
	return score.FromAnnotations(list), nil
}

func readBeatList(r io.Reader) (score.Reference, error) {
	var out score.Reference
	c := csv.NewReader(r)
	c.Comment, c.FieldsPerRecord, c.TrimLeadingSpace = '#', -1, true
	head, err := c.Read()
	if err != nil {
		return out, errors.New("no header: a list of beats begins with the names of its columns, one of them sample")
	}
	at, both := -1, -1
	for i, name := range head {
		switch strings.TrimSpace(name) {
		case "sample", "peak": // a truth of testdata has the peak
			at = i
		case "both":
			both = i
		}
	}
	if at < 0 {
		return out, fmt.Errorf("columns %s: one must be named sample", strings.Join(head, ", "))
	}
	for {
		row, err := c.Read()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		line, _ := c.FieldPos(0)
		if at >= len(row) {
			return out, fmt.Errorf("line %d: no column sample", line)
		}
		sample, err := strconv.ParseInt(strings.TrimSpace(row[at]), 10, 64)
		if err != nil {
			return out, fmt.Errorf("line %d: sample %q is not a whole number", line, row[at])
		}
		if sample < 0 {
			return out, fmt.Errorf("line %d: sample %d: samples are counted from the first, 0 or more", line, sample)
		}
		if both >= 0 && both < len(row) && strings.TrimSpace(row[both]) == "0" {
			out.Uncertain = append(out.Uncertain, sample)
		} else {
			out.Samples = append(out.Samples, sample)
		}
	}
}
