package remembered

import (
	"regexp"
	"slices"
	"strings"

	"pulsewright/acquire"
	"pulsewright/server/channel"
)

// kept is what was said of a channel. Its label is the one by which the source called it.
type kept struct {
	channel.Said
	Place *place `json:"place,omitempty"` // nil in files written before there was one
}

// place is where a channel stands in a board's line, and what the names of its address said of it.
type place struct {
	Column  int    `json:"column"`
	Columns int    `json:"columns"`
	Named   bool   `json:"named,omitempty"`
	Kind    string `json:"kind,omitempty"`
	Unit    string `json:"unit,omitempty"` // the board's where names said none
	// KindFrom is who told the channel's kind.
	KindFrom channel.Place `json:"kindFrom,omitempty"`
}

// placeOf is where channel n of a source stands now.
func placeOf(source acquire.Info, n int) place {
	at := place{Column: n, Columns: len(source.Channels)}
	if len(source.Columns) > 0 {
		at.Columns = len(source.Columns)
		for i, signals := 0, 0; i < at.Columns; i++ {
			if source.Columns[i].Use != acquire.UseSignal {
				continue
			}
			if signals == n {
				at.Column, at.Unit = i, source.Columns[i].Unit
				break
			}
			signals++
		}
	}
	a, err := acquire.ParseAddress(source.Address)
	if err != nil || a.Text("names", "") == "" {
		return at
	}
	at.Named = true
	if names := strings.Split(a.Text("names", ""), ","); at.Column < len(names) {
		_, at.Kind = acquire.TakeKind(names[at.Column])
	}
	return at
}

// unnamed is what a board's column without a name is called.
var unnamed = regexp.MustCompile(`^ch[0-9]+$`)

// find finds what was kept of the channel label at a place, -1 for nothing: by its place in a line of as
// many columns where a name of now or then is the user's or is none, else by the name that the
// board itself gives.
func find(list []kept, label string, at place) int {
	i := slices.IndexFunc(list, func(k kept) bool {
		return k.Label != nil && k.Place != nil && k.Place.Column == at.Column && k.Place.Columns == at.Columns &&
			(*k.Label == label || at.Named || k.Place.Named || unnamed.MatchString(label) || unnamed.MatchString(*k.Label))
	})
	if i < 0 {
		i = slices.IndexFunc(list, func(k kept) bool { return k.Label != nil && *k.Label == label })
	}
	return i
}

// now is what still holds of a channel that the source describes as c: a kind or a unit that the
// names say anew comes before what was said earlier.
func (k kept) now(c acquire.Channel, at place) channel.Said {
	said := k.Said
	said.Label = nil // it is only how the channel was found
	if k.Place == nil || said.Kind == nil {
		return said
	}
	anew := at.Kind != "" && at.Kind != k.Place.Kind
	if from := k.Place.KindFrom; anew || from == channel.PlaceUsual || from == channel.PlaceSource && c.Kind != "" {
		if c.Kind != "" && c.Kind != *said.Kind {
			said.Path = nil // made for another kind
		}
		said.Kind = nil
	}
	if at.Named && at.Unit != "" && at.Unit != k.Place.Unit && said.Scale != nil {
		scale := *said.Scale
		scale.Source, said.Scale = channel.ScaleBoard, &scale
	}
	return said
}

// leftOut are those kept before whose columns the user leaves out now.
func leftOut(before, now []kept) []kept {
	return slices.DeleteFunc(slices.Clone(before), func(k kept) bool {
		return len(now) == 0 || k.Place == nil || k.Place.Columns != now[0].Place.Columns ||
			slices.ContainsFunc(now, func(n kept) bool { return n.Place.Column == k.Place.Column })
	})
}
