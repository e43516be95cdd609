package library

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/recording"
	"pulsewright/dsp/beat"
	"pulsewright/server/analysis"
	"pulsewright/server/channel"
	"pulsewright/server/library/files"
)

const (
	// editsName is the file of the beats edited by hand, by recording.
	editsName = ".edits.json"
	mostEdits = 100_000
	// sureSeconds after a place all beats at it are told.
	sureSeconds = 10
)

// EditsOf are the beats edited by hand of the recording at a path: what is kept beside it, else what
// the file carries, whose annotations are read for it.
func EditsOf(path string, annotations func() []recording.Annotation) analysis.Edits {
	if kept, ok := files.NewMap[analysis.Edits](filepath.Dir(path), editsName).All()[filepath.Base(path)]; ok {
		return kept
	}
	carried := analysis.Edits{}
	for _, a := range annotations() {
		if e, n, ok := recording.ParseEdit(a); ok {
			carried[n] = append(carried[n], e)
		}
	}
	return carried
}

// EditChange takes edits of a channel away and puts others in their place, all of it or, with an
// error, nothing.
type EditChange struct {
	Channel int              `json:"channel"` // counted from 0
	Take    []recording.Edit `json:"take"`
	Put     []recording.Edit `json:"put"`
}

// ErrEdited says that beats were edited elsewhere meanwhile.
var ErrEdited = errors.New("the beats were edited elsewhere meanwhile: open the recording anew")

// Edit keeps what somebody edits of a recording's beats beside it; the file itself stays as it was
// recorded. It returns all edits.
func (s *Store) Edit(ctx context.Context, id string, change EditChange) (analysis.Edits, error) {
	s.moving.RLock()
	defer s.moving.RUnlock()
	path, err := s.Path(id)
	if err != nil {
		return nil, err
	}
	file, err := s.open(path)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	info := file.Describe()
	if change.Channel < 0 || change.Channel >= len(info.Channels) {
		return nil, &AskError{fmt.Sprintf("channel=%d: the recording has %d, counted from 0", change.Channel, len(info.Channels)), true}
	}
	if err := checkFound(ctx, file, path, change); err != nil {
		return nil, err
	}
	var edits analysis.Edits
	err = s.edits.Change(func(all map[string]analysis.Edits) error {
		if edits = all[id]; edits == nil {
			edits = EditsOf(path, file.Annotations)
		}
		list := slices.Clone(edits[change.Channel])
		for _, t := range change.Take {
			i := slices.IndexFunc(list, t.Equal)
			if i < 0 {
				return ErrEdited
			}
			list = slices.Delete(list, i, i+1)
		}
		list = append(list, change.Put...)
		if len(list) > mostEdits {
			return &AskError{text: fmt.Sprintf("%d beats edited in one channel: %d at most", len(list), mostEdits)}
		}
		if err := analysis.CheckEdits(list, file.Len(), info.ClaimedRateHz); err != nil {
			return &AskError{text: err.Error()}
		}
		recording.SortEdits(list)
		edits[change.Channel], all[id] = list, edits
		return nil
	})
	return edits, err
}

// checkFound refuses to move or remove a beat that neither is stored in the recording nor is found in it.
func checkFound(ctx context.Context, file *recording.File, path string, change EditChange) error {
	var was []int64 // rising
	known := EditsOf(path, file.Annotations)[change.Channel]
	for _, e := range change.Put {
		if e.Was == nil || *e.Was < 0 || *e.Was >= file.Len() || slices.ContainsFunc(known, func(k recording.Edit) bool { return k.Was != nil && *k.Was == *e.Was }) {
			continue // none, told elsewhere, or found before
		}
		was = append(was, *e.Was)
	}
	if len(was) == 0 {
		return nil
	}
	slices.Sort(was)
	rec := channel.Open(file, Said(path))
	hz := rec.Info.ClaimedRateHz
	reach := int64(analysis.EditReachSeconds*hz) + int64(rec.Start.Ratio)
	strike := func(at int64) {
		i, _ := slices.BinarySearch(was, at-reach)
		if i < len(was) && was[i] <= at+reach {
			was = slices.Delete(was, i, i+1)
		}
	}
	for _, a := range file.Annotations() {
		if _, _, c, ok := recording.ParseBeat(a.Text); ok && max(c, 0) == change.Channel {
			strike(a.Sample)
		}
	}
	// Near the place first, which is quick; the finder may find more when it began at the recording's start.
	for _, whole := range []bool{false, true} {
		if len(was) == 0 {
			return nil
		}
		part := analysis.All(rec, change.Channel)
		if part.To = min(part.To, was[len(was)-1]+int64(sureSeconds*hz)); !whole {
			part.Whole, part.From = false, max(0, was[0]-reach)
		}
		if err := analysis.Beats(ctx, part, func(b beat.Beat) { strike(b.Sample) }); err != nil {
			return err
		}
	}
	if len(was) == 0 {
		return nil
	}
	return &AskError{text: fmt.Sprintf("was=%d: no beat was found within %g s of this sample (%.2f s) in channel %d, and only a found beat can be moved or removed; to add a beat give at alone, to take an added one away take its edit", was[0], analysis.EditReachSeconds, float64(was[0])/hz, change.Channel)}
}

// edits are the beats edited by hand.
func (r *review) edits() (analysis.Edits, error) {
	var err error
	edits := EditsOf(r.path, func() (list []recording.Annotation) {
		list, _, err = r.annotations()
		return list
	})
	return edits, err
}

// Beside is what is kept beside the recording at a path and goes into a copy as annotations: the notes made
// afterwards and the beats edited by hand; keep tells which of the recording's own go along, nil all.
func Beside(ctx context.Context, rec *channel.Recording, path string) (notes []recording.Annotation, keep func(recording.Annotation) bool, err error) {
	folder, id := filepath.Split(path)
	if edits := files.NewMap[analysis.Edits](folder, editsName).All()[id]; len(edits) > 0 {
		if notes, keep, err = handNotes(ctx, rec, edits); err != nil {
			return nil, nil, err
		}
	}
	return append(notes, files.NewMap[[]recording.Annotation](folder, marksName).All()[id]...), keep, nil
}

// handNotes puts edits of a recording's beats into the annotations of a copy: each edit, in a channel without
// stored beats those found too, and of the recording's own those that keep keeps. A found beat
// that was moved or removed has no annotation there.
func handNotes(ctx context.Context, rec *channel.Recording, edits analysis.Edits) (notes []recording.Annotation, keep func(recording.Annotation) bool, err error) {
	list, channels := rec.File.Annotations(), len(rec.Channels)
	type mark struct {
		channel int
		sample  int64
	}
	gone := map[mark]bool{}
	for n, edited := range edits {
		if n >= channels || len(edited) == 0 {
			continue
		}
		for _, e := range edited {
			notes = append(notes, recording.EditAnnotation(e, n))
		}
		stored := false
		hand := analysis.NewHand(edited, beat.Kind(rec.Channels[n].Kind), rec.Info.ClaimedRateHz, 1)
		for _, a := range list {
			if _, _, c, ok := recording.ParseBeat(a.Text); ok && max(c, 0) == n {
				stored, gone[mark{n, a.Sample}] = true, true
				hand.Beat(beat.Beat{Sample: a.Sample}, func(b beat.Beat) { delete(gone, mark{n, b.Sample}) })
			}
		}
		if stored || rec.Channels[n].Kind == acquire.KindOther {
			continue
		}
		part, by := analysis.All(rec, n), byHand(edited, rec.Start.Ratio)
		part.Edits = edits
		if err := analysis.Beats(ctx, part, func(b beat.Beat) {
			if !by[b.Sample] {
				notes = append(notes, recording.Annotation{Sample: b.Sample, Text: recording.BeatText(string(b.Kind), b.Quality, n)})
			}
		}); err != nil {
			return nil, nil, err
		}
	}
	return notes, func(a recording.Annotation) bool {
		if _, _, c, ok := recording.ParseBeat(a.Text); ok {
			return !gone[mark{max(c, 0), a.Sample}]
		}
		_, _, edit := recording.ParseEdit(a)
		return !edit
	}, nil
}
