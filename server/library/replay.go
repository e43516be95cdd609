package library

import (
	"cmp"
	"path/filepath"
	"slices"

	"pulsewright/acquire"
	"pulsewright/acquire/playback"
	"pulsewright/acquire/recording"
	"pulsewright/server/library/files"
)

// replayed is a recording with the notes made afterwards among its own.
type replayed struct {
	*recording.File
	marks []acquire.Note // by sample
}

// ForReplay is the open recording at a path as it is replayed: with the notes made afterwards among its own.
func ForReplay(file *recording.File, path string) playback.Recording {
	r := &replayed{File: file}
	for _, m := range files.NewMap[[]recording.Annotation](filepath.Dir(path), marksName).All()[filepath.Base(path)] {
		r.marks = append(r.marks, acquire.Note{Sample: m.Sample, Text: m.Text})
	}
	return r
}

// NotesBetween implements playback.Noter.
func (r *replayed) NotesBetween(from, to int64) []acquire.Note {
	notes := r.File.NotesBetween(from, to)
	for _, m := range r.marks {
		if m.Sample >= from && m.Sample < to {
			notes = append(notes, m)
		}
	}
	slices.SortStableFunc(notes, func(a, b acquire.Note) int { return cmp.Compare(a.Sample, b.Sample) })
	return notes
}
