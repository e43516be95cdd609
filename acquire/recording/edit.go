package recording

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Edit is a beat edited by hand, its places counted in samples: At is where it stands now, nil
// when it was removed, Was where it had been found, nil when it was added.
type Edit struct {
	At  *int64 `json:"at,omitempty"`
	Was *int64 `json:"was,omitempty"`
}

// Place is where it stands or, removed, stood.
func (e Edit) Place() int64 {
	if e.At != nil {
		return *e.At
	}
	return *e.Was
}

// Equal reports whether two edits are the same.
func (e Edit) Equal(o Edit) bool { return same(e.At, o.At) && same(e.Was, o.Was) }

func same(a, b *int64) bool { return (a == nil) == (b == nil) && (a == nil || *a == *b) }

// SortEdits brings edits into the order of their places.
func SortEdits(list []Edit) {
	slices.SortStableFunc(list, func(a, b Edit) int { return cmp.Compare(a.Place(), b.Place()) })
}

// Texts of edits as annotations; FORMAT.md lists them.
const (
	textHand    = "hand beat @"
	textRemoved = "hand none @"
	textMoved   = " moved "
)

// EditAnnotation is an edit of a channel, counted from 0, as an annotation.
func EditAnnotation(e Edit, channel int) Annotation {
	a := Annotation{Sample: e.Place()}
	switch {
	case e.At == nil:
		a.Text = textRemoved + strconv.Itoa(channel+1)
	case e.Was == nil:
		a.Text = textHand + strconv.Itoa(channel+1)
	default:
		a.Text = fmt.Sprintf("%s%d%s%+d", textHand, channel+1, textMoved, *e.At-*e.Was)
	}
	return a
}

// ParseEdit reads an EditAnnotation.
func ParseEdit(a Annotation) (e Edit, channel int, ok bool) {
	at := a.Sample
	if rest, gone := strings.CutPrefix(a.Text, textRemoved); gone {
		channel, err := strconv.Atoi(rest)
		return Edit{Was: &at}, channel - 1, err == nil && channel > 0
	}
	rest, ok := strings.CutPrefix(a.Text, textHand)
	if !ok {
		return e, 0, false
	}
	number, by, moved := strings.Cut(rest, textMoved)
	channel, err := strconv.Atoi(number)
	if err != nil || channel < 1 {
		return e, 0, false
	}
	e.At = &at
	if moved {
		step, err := strconv.ParseInt(by, 10, 32)
		if err != nil || at-step < 0 {
			return e, 0, false
		}
		was := at - step
		e.Was = &was
	}
	return e, channel - 1, true
}
