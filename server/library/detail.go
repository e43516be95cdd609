package library

import (
	"cmp"
	"slices"
	"strings"

	"pulsewright/acquire/recording"
	"pulsewright/dsp/board"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
)

// pathNote begins the annotation of a path changed while recording, in recordings made
// before there were those of [channel.Event].
const pathNote = "path settings "

// Note is an annotation for a person.
type Note struct {
	recording.Annotation
	Board bool `json:"board"` // a line the board said
	Added bool `json:"added"` // made afterwards
}

// ChannelDetail is what a channel is, as it holds at the recording's end.
type ChannelDetail struct {
	channel.Resolved
	// Unit of the values: "V", another, or "counts". NumbersUnit is what was said of the
	// source's own numbers.
	Unit        string `json:"unit"`
	NumbersUnit string `json:"numbersUnit"`
	// StepVolts is one count, LowVolts and HighVolts are the converter's ends in the unit;
	// 0 when unknown.
	StepVolts float64 `json:"stepVolts"`
	LowVolts  float64 `json:"lowVolts"`
	HighVolts float64 `json:"highVolts"`
	// Board is what was drawn of the board before the converter (dsp/board/FORMAT.md);
	// null when nothing was.
	Board *board.Board `json:"board"`
}

// Detail is what is known of a recording.
type Detail struct {
	Entry
	Samples        int64           `json:"samples"`
	Format         string          `json:"format"`
	ChannelDetails []ChannelDetail `json:"channelDetails"`
	Notes          []Note          `json:"notes"`
	Gaps           []recording.Gap `json:"gaps"`
	// Annotated is how many beats somebody annotated in it.
	Annotated int `json:"annotated"`
	// Edits are the beats edited by hand, by channel counted from 0.
	Edits   analysis.Edits `json:"edits"`
	Remarks []string       `json:"remarks"`
}

// Detail tells what is known of a recording; quick at once, without what its annotations
// tell: the whole file has to be read for those.
func (rs *Reviews) Detail(id string, quick bool) (Detail, error) {
	entry, err := rs.store.get(id, quick)
	if err != nil {
		return Detail{}, err
	}
	out := Detail{Entry: entry, ChannelDetails: []ChannelDetail{}, Notes: []Note{}, Gaps: []recording.Gap{}, Edits: analysis.Edits{}, Remarks: []string{}}
	if entry.Problem == "" {
		review, err := rs.get(id)
		if err != nil {
			return out, err
		}
		if !quick {
			list, gaps, err := review.annotations()
			if err != nil {
				return out, err
			}
			beats, _, rest := recording.TakeMarked(list, review.info.ClaimedRateHz)
			out.Annotated = len(beats)
			out.Notes = append(out.Notes, notesOf(rest, len(review.info.Channels))...)
			out.Gaps = append(out.Gaps, gaps...)
			if out.Edits, err = review.edits(); err != nil {
				return out, err
			}
		}
		review.describe(&out)
	}
	if !quick {
		for _, a := range rs.store.Marks(id) {
			if entry.RateHz > 0 {
				a.OnsetSeconds = float64(a.Sample) / entry.RateHz
			}
			out.Notes = append(out.Notes, Note{Annotation: a, Added: true})
		}
		slices.SortStableFunc(out.Notes, func(a, b Note) int { return cmp.Compare(a.Sample, b.Sample) })
	}
	return out, nil
}

// notesOf picks the annotations that are for a person; settings, which are for programs, are
// told in words.
func notesOf(list []recording.Annotation, channels int) (notes []Note) {
	for _, a := range list {
		if v, ok := channel.ParseEvent(a.Text, channels); ok && v.Settings != nil {
			a.Text = "settings of " + v.Settings.Label + " changed"
			notes = append(notes, Note{Annotation: a})
		} else if recording.IsNote(a.Text) {
			if strings.HasPrefix(a.Text, pathNote) {
				a.Text = "signal path changed"
			}
			notes = append(notes, Note{Annotation: a, Board: strings.HasPrefix(a.Text, "board: ")})
		}
	}
	return notes
}

// describe fills in what a file tells, and what is known of its channels.
func (r *review) describe(out *Detail) {
	r.mu.Lock()
	defer r.mu.Unlock()
	out.Samples, out.Format = r.file.Len(), r.file.Format()
	for c, resolved := range r.rec.Channels {
		l := r.linear(c)
		low, high := resolved.Ends(r.info.Channels[c])
		out.ChannelDetails = append(out.ChannelDetails, ChannelDetail{Resolved: resolved, Unit: l.Unit, NumbersUnit: resolved.Settings.Unit, StepVolts: l.Step(), LowVolts: low, HighVolts: high, Board: resolved.Board})
	}
	out.Remarks = append(out.Remarks, r.file.Remarks()...)
	if r.rec.Known() { // else the file is read through for it
		out.Remarks = append(out.Remarks, r.rec.Rescaled(0, r.file.Len())...)
	}
}
