// Package channel says what a channel is, once, for the live view and for everything
// that is computed from a recording.
//
// [Settings] are what is known of a channel and what was said of it: name, kind, unit,
// how counts become volts, signal path, board. They come from three places, field by
// field: what the user said, what a recording carries, what the source describes;
// [Resolve] puts them together and tells where each came from.
//
// Values are in volts at the board unless the unit says otherwise. Everything here may
// be used from any goroutine, as long as one value is not changed by two at once.
package channel

import (
	"errors"
	"fmt"
	"reflect"
	"slices"
	"strings"

	"pulsewright/acquire"
	"pulsewright/dsp/board"
	"pulsewright/dsp/filter"
	"pulsewright/dsp/signalpath"
)

// Settings are all that is known of a channel.
type Settings struct {
	// Label is its name, never empty.
	Label string `json:"label"`
	// Kind is what it is taken for: pulse, ecg or other.
	Kind string `json:"kind"`
	// Unit is what the source's own numbers are in, where Scale.Source is "board" and the
	// source does not tell volts: "V", "mV" and "µV" become volts, another ("mmHg")
	// stays; "" is what the source says.
	Unit string `json:"unit,omitempty"`
	// Scale is how counts become volts.
	Scale Scale `json:"scale"`
	// Path is the signal path in software.
	Path signalpath.Settings `json:"path"`
	// Board is what lies before the converter, nil when nobody drew it. Its span is what
	// the meters judge by where no rails were told.
	Board *board.Board `json:"board,omitempty"`
}

// Kinds a channel may be taken for.
var kinds = []string{acquire.KindPulse, acquire.KindECG, acquire.KindOther}

// CheckKind tells what is wrong with a kind.
func CheckKind(kind string) error {
	if !slices.Contains(kinds, kind) {
		return fmt.Errorf("kind %q: choose %s", kind, strings.Join(kinds, ", "))
	}
	return nil
}

// Longest texts, in bytes.
const (
	mostLabel = 80
	mostUnit  = 16
)

// checkText tells what is wrong with a name or a unit.
func checkText(what, text string, most int) error {
	switch {
	case len(text) > most:
		return fmt.Errorf("%s of %d bytes: at most %d", what, len(text), most)
	case text != strings.TrimSpace(text):
		return fmt.Errorf("%s %q: leave out the spaces around it", what, text)
	}
	return acquire.CheckText(what, text)
}

// Said is what somebody, or a recording, tells of a channel; what is nil is not told.
type Said struct {
	Label *string              `json:"label,omitempty"`
	Kind  *string              `json:"kind,omitempty"`
	Unit  *string              `json:"unit,omitempty"`
	Scale *Scale               `json:"scale,omitempty"`
	Path  *signalpath.Settings `json:"path,omitempty"`
	Board *board.Board         `json:"board,omitempty"`
}

// All says every field of settings.
func (s Settings) All() Said {
	return Said{Label: &s.Label, Kind: &s.Kind, Unit: &s.Unit, Scale: &s.Scale, Path: &s.Path, Board: s.Board}
}

// Check tells all that is wrong with what is said. Whether a path suits the rate is
// told by [Settings.CheckAt].
func (s Said) Check() error {
	var list []error
	if s.Label != nil {
		if *s.Label == "" {
			list = append(list, errors.New("name: it is empty; give one"))
		}
		list = append(list, checkText("name", *s.Label, mostLabel))
	}
	if s.Kind != nil {
		list = append(list, CheckKind(*s.Kind))
	}
	if s.Unit != nil {
		list = append(list, checkText("unit", *s.Unit, mostUnit))
	}
	if s.Scale != nil {
		list = append(list, s.Scale.Check())
	}
	if s.Board != nil {
		list = append(list, s.Board.Check())
	}
	return errors.Join(list...)
}

// Over is what s tells and, where it tells nothing, what under tells.
func (s Said) Over(under Said) Said {
	if s.Label == nil {
		s.Label = under.Label
	}
	if s.Kind == nil {
		s.Kind = under.Kind
	}
	if s.Unit == nil {
		s.Unit = under.Unit
	}
	if s.Scale == nil {
		s.Scale = under.Scale
	}
	if s.Path == nil {
		s.Path = under.Path
	}
	if s.Board == nil {
		s.Board = under.Board
	}
	return s
}

// Change is s after somebody told more: what more tells replaces it, and a kind that
// changes takes with it the path that was made for the other.
func (s Said) Change(more Said) Said {
	if more.Kind != nil && more.Path == nil && (s.Kind == nil || *s.Kind != *more.Kind) {
		s.Path = nil
	}
	return more.Over(s)
}

// Since is what of the settings differs from those before.
func (s Settings) Since(before Settings) (said Said) {
	now := s.All()
	if s.Kind != before.Kind {
		said.Kind = now.Kind
	}
	if s.Unit != before.Unit {
		said.Unit = now.Unit
	}
	if !reflect.DeepEqual(s.Scale, before.Scale) {
		said.Scale = now.Scale
	}
	if s.Path != before.Path {
		said.Path = now.Path
	}
	if s.Board != before.Board {
		said.Board = now.Board
	}
	return said
}

// Empty reports whether nothing is told.
func (s Said) Empty() bool {
	return s.Label == nil && s.Kind == nil && s.Unit == nil && s.Scale == nil && s.Path == nil && s.Board == nil
}

// CheckAt tells whether the settings suit a rate of points in Hz: 25 to 192000, with
// every corner below half of it.
func (s Settings) CheckAt(rateHz float64) error {
	if err := s.All().Check(); err != nil {
		return err
	}
	if slow(rateHz) { // only the trace is shown
		return nil
	}
	if _, err := s.Scale.uncouple(rateHz); err != nil {
		return err
	}
	return CheckPath(s.Path, rateHz)
}

// CheckPath tells whether a path is possible at a rate of points.
func CheckPath(s signalpath.Settings, rateHz float64) error {
	_, err := signalpath.New(s, rateHz)
	return err
}

// Sections are those of a path at a rate, and its settings as applied, with the mains
// frequency that the notches are made for.
func Sections(s signalpath.Settings, rateHz float64) (filter.Sections, signalpath.Settings, error) {
	p, err := signalpath.New(s, rateHz)
	if err != nil {
		return nil, s, err
	}
	sections, err := p.Sections()
	applied := p.Settings()
	applied.Hum.FreqHz = p.HumHz()
	return sections, applied, err
}
