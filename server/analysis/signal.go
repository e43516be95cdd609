package analysis

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/server/channel"
)

// Signal is a stretch of channels of a recording as it leaves a point of the engine.
type Signal struct {
	Rec      *channel.Recording
	Channels []int
	// Point is one of package channel's.
	Point    int
	From, To int64 // samples of the recording
	// Whole has the engines begin at the recording's start: the values are then those that
	// were live, bit for bit, but for the scale, which is that of the end.
	Whole bool
	// Progress, unless nil, is told now and then which share of the work is done.
	Progress func(share float64)
}

// ParsePoint reads the name of a point.
func ParsePoint(name string) (int, error) {
	if n := slices.Index(channel.PointNames[:], name); n >= 0 {
		return n, nil
	}
	return 0, fmt.Errorf("point %q: choose %s", name, strings.Join(channel.PointNames[:], ", "))
}

// Rescaled is [channel.Recording.Rescaled] of what is written.
func (s Signal) Rescaled() []string { return s.Rec.Rescaled(s.From, s.To, s.Channels...) }

// RateHz is that of the values.
func (s Signal) RateHz() float64 { return s.Rec.PointHz() }

// first and end are the points of the stretch: first, and one past the last.
func (s Signal) bounds() (first, end int64) {
	ratio := int64(s.Rec.Start.Ratio)
	return (s.From + ratio - 1) / ratio, (min(s.To, s.Rec.File.Len()) + ratio - 1) / ratio
}

// Each hands on the values, [channel][point], NaN where there is none; at is the first one's
// place in the stretch. values is valid during the call.
func (s Signal) Each(ctx context.Context, take func(at int64, values [][]float64) error) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	parts := channel.Path
	if s.Point == channel.PointBeats {
		parts |= channel.Beats
	}
	first, end := s.bounds()
	rows := make([][]float64, len(s.Channels))
	next := first
	err := s.Rec.Run(ctx, channel.Run{Channels: s.Channels, Parts: parts, From: s.From, To: s.To, Whole: s.Whole, Progress: s.Progress,
		Ends: func(from int64) int64 { return from + recording.BlockSamples },
		Take: func(k int, e *channel.Engine, out *channel.Output, _ int64) {
			s.Rec.AsAtEnd(s.Channels[k], e, out)
			values := out.Series[s.Point]
			from := min(max(first-out.First, 0), int64(len(values)))
			to := min(max(end-out.First, from), int64(len(values)))
			rows[k] = append(rows[k][:0], values[from:to]...)
			if k < len(rows)-1 || from == to || ctx.Err() != nil {
				return
			}
			for at := out.First + from; next < at; next++ { // points that an engine gave none of
				if err := take(next-first, nothing(len(rows))); err != nil {
					stop(err)
					return
				}
			}
			if err := take(next-first, rows); err != nil {
				stop(err)
				return
			}
			next += to - from
		}})
	if cause := context.Cause(ctx); cause != nil {
		return cause
	}
	return err
}

func nothing(channels int) [][]float64 {
	rows := make([][]float64, channels)
	for i := range rows {
		rows[i] = []float64{math.NaN()}
	}
	return rows
}

// WriteCSV writes time from the stretch's start and the values, each with the digits that tell it
// from every other number; a moment without any value has no row.
func (s Signal) WriteCSV(ctx context.Context, w io.Writer) error {
	out := bufio.NewWriterSize(w, 1<<16)
	fmt.Fprint(out, "# Learning aid, not a medical device.\r\n")
	if s.Rec.Info.Invented {
		fmt.Fprintf(out, "# %s: nobody measured these numbers.\r\n", acquire.InventedTag)
	}
	for _, text := range s.Rescaled() {
		fmt.Fprintf(out, "# %s\r\n", text)
	}
	carried, err := json.Marshal(s.Rec.CarriedPoint(s.Channels, s.Point))
	if err != nil {
		return err
	}
	fmt.Fprintf(out, "# rate %s Hz\r\n%stime_s", strconv.FormatFloat(s.RateHz(), 'g', -1, 64), recording.CarriedComment(carried))
	for _, c := range s.described(nil) {
		fmt.Fprintf(out, `,"%s"`, strings.ReplaceAll(recording.ColumnName(c.Label, c.Unit), `"`, `""`))
	}
	out.WriteString("\r\n")
	decimals := max(6, int(math.Ceil(math.Log10(s.RateHz())))+3)
	var row []byte
	err = s.Each(ctx, func(at int64, values [][]float64) error {
		for i := range values[0] {
			row = strconv.AppendFloat(row[:0], float64(at+int64(i))/s.RateHz(), 'f', decimals, 64)
			any := false
			for _, v := range values {
				if row = append(row, ','); !math.IsNaN(v[i]) {
					any = true
					row = strconv.AppendFloat(row, v[i], 'g', -1, 64)
				}
			}
			if !any {
				continue
			}
			if _, err := out.Write(append(row, "\r\n"...)); err != nil {
				return err
			}
		}
		return nil
	})
	return errors.Join(err, out.Flush())
}

// described are the channels as the values are; scales are those of counts, nil for none. Where the converter ends is
// known of the values at the scale alone.
func (s Signal) described(scales []count) []acquire.Channel {
	var list []acquire.Channel
	for k, n := range s.Channels {
		c := s.Rec.Channels[n]
		d := acquire.Channel{Label: c.Label, Kind: c.Kind, Unit: c.Linear(s.Rec.Info.Channels[n]).Unit}
		if d.Unit == channel.Counts {
			d.Unit = ""
		}
		if scales != nil {
			d.VoltsPerCount, d.OffsetVolts = scales[k].step, scales[k].offset
			low, high := c.Ends(s.Rec.Info.Channels[n])
			low, high = math.Round((low-d.OffsetVolts)/d.VoltsPerCount), math.Round((high-d.OffsetVolts)/d.VoltsPerCount)
			if s.Point == channel.PointScale && c.Scale.CouplingHz == 0 && low < high && -low < math.MaxInt32 && high < math.MaxInt32 {
				d.MinCount, d.MaxCount = int32(low), int32(high)
			}
		}
		list = append(list, d)
	}
	return list
}

// count is how values become whole numbers, −most to most.
type count struct {
	step, offset float64
	most         int32
}

// scales chooses a sixteenth of the converter's step where most counts do for the values, else
// what just does.
func (s Signal) scales(ctx context.Context, most int32) ([]count, error) {
	list := make([]count, len(s.Channels))
	low, high := make([]float64, len(list)), make([]float64, len(list))
	for k := range list {
		low[k], high[k] = math.Inf(1), math.Inf(-1)
	}
	s.Progress = nil
	err := s.Each(ctx, func(_ int64, values [][]float64) error {
		for k, row := range values {
			for _, v := range row {
				if !math.IsNaN(v) {
					low[k], high[k] = min(low[k], v), max(high[k], v)
				}
			}
		}
		return nil
	})
	for k, n := range s.Channels {
		c := count{most: most, step: math.Abs(s.Rec.Channels[n].Linear(s.Rec.Info.Channels[n]).Factor) / 16}
		if low[k] <= high[k] {
			c.offset = (low[k] + high[k]) / 2
			c.step = max(c.step, (high[k]-low[k])/2/float64(most))
		}
		list[k] = c
	}
	return list, err
}

// WriteEDF writes a new EDF+ (.edf) or BDF+ (.bdf) file. Its values are rounded to a sixteenth of
// the converter's step or, where they reach too far for that, to what 16 or 24 bits allow: steps tells.
func (s Signal) WriteEDF(ctx context.Context, path string) (steps []float64, err error) {
	most := int32(1<<15 - 8)
	if strings.EqualFold(filepath.Ext(path), ".bdf") {
		most = 1<<23 - 8
	}
	scales, err := s.scales(ctx, most)
	if err != nil {
		return nil, err
	}
	for _, c := range scales {
		steps = append(steps, c.step)
	}
	info := acquire.Info{Name: s.Rec.Info.Name, ClaimedRateHz: s.RateHz(), Channels: s.described(scales), Invented: s.Rec.Info.Invented}
	h := recording.Header{Info: info, Started: s.Rec.Info.Started, NoSync: true, Settings: s.Rec.CarriedPoint(s.Channels, s.Point), Fit: slices.Clone(info.Channels)}
	for k := range h.Fit {
		h.Fit[k].MinCount, h.Fit[k].MaxCount = -most, most
	}
	if !h.Started.IsZero() {
		h.Started = h.Started.Add(time.Duration(float64(s.From) / s.Rec.Info.ClaimedRateHz * 1e9))
	}
	w, err := recording.Create(path, h)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err = errors.Join(err, w.Close()); err != nil {
			os.Remove(path)
		}
	}()
	counts := make([][]int32, len(scales))
	return steps, s.Each(ctx, func(at int64, values [][]float64) error {
		for k, row := range values {
			counts[k] = counts[k][:0]
			for _, v := range row {
				n := acquire.MissingCount
				if !math.IsNaN(v) {
					n = int32(math.Round((v - scales[k].offset) / scales[k].step))
				}
				counts[k] = append(counts[k], n)
			}
		}
		return w.Write(counts, at)
	})
}

// WriteWAV writes whole numbers of 24 bits at most, as WriteEDF rounds them, by way of a file in a
// folder for what passes.
func (s Signal) WriteWAV(ctx context.Context, w io.Writer) (steps []float64, err error) {
	folder, err := os.MkdirTemp("", "pulsewright-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	path := filepath.Join(folder, "signal.bdf")
	if steps, err = s.WriteEDF(ctx, path); err != nil {
		return nil, err
	}
	f, err := recording.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return steps, recording.ExportWAV(w, f, recording.ExportOptions{Context: ctx})
}

// WriteFile writes a new file of the format that its name ends in: .csv, .edf, .bdf or .wav. steps
// is nil of a CSV file, which holds every digit.
func (s Signal) WriteFile(ctx context.Context, path string) (steps []float64, err error) {
	ext := strings.ToLower(filepath.Ext(path))
	switch ext {
	case ".edf", ".bdf":
		return s.WriteEDF(ctx, path)
	case ".csv", ".wav":
	default:
		return nil, fmt.Errorf("%s: name the result .csv, .edf, .bdf or .wav", path)
	}
	w, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, os.ErrExist) {
		return nil, fmt.Errorf("%s: it is there already; choose another name, nothing is overwritten", path)
	}
	if err != nil {
		return nil, err
	}
	if ext == ".csv" {
		err = s.WriteCSV(ctx, w)
	} else {
		steps, err = s.WriteWAV(ctx, w)
	}
	if err = errors.Join(err, w.Close()); err != nil {
		os.Remove(path)
	}
	return steps, err
}
