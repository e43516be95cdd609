package recording

import (
	"slices"
	"strings"
)

// textAnnotated begins the annotation of a beat that somebody marked: "annotated V".
const textAnnotated = "annotated "

// Marked is a beat that somebody annotated.
type Marked struct {
	Sample int64 `json:"sample"`
	// Type by the letters of annot(5) in PhysioNet's WFDB Applications Guide: N a normal beat, V
	// a ventricular one …; ? where it is not told.
	Type string `json:"type"`
}

// Stretch is a run of samples, First and Last included.
type Stretch struct{ First, Last int64 }

// beatTypes are the letters of beats by their codes in that guide.
var beatTypes = map[int]string{1: "N", 2: "L", 3: "R", 4: "a", 5: "V", 6: "F", 7: "J", 8: "A", 9: "S", 10: "E", 11: "j", 12: "/", 13: "Q", 25: "B", 30: "?", 34: "e", 35: "n", 38: "f", 41: "r"}

// beatWords are texts by which other programs' files mark a beat without its type.
var beatWords = []string{"beat", "heartbeat", "heart beat", "qrs", "r-wave", "r wave", "r-peak", "r peak", "rpeak"}

const (
	textFlutterBegins = "flutter begins"
	textFlutterEnds   = "flutter ends"

	leastMarked = 3
	// Marks further apart in the middle than a heart ever beats are none of beats: one letter may
	// mean anything in a file of others.
	mostMarkedSeconds = 3
)

// AnnotatedText is the annotation of a beat of a type.
func AnnotatedText(kind string) string { return textAnnotated + kind }

func parseAnnotated(text string) (kind string, ok bool) {
	kind, ok = strings.CutPrefix(text, textAnnotated)
	return kind, ok && isBeatType(kind)
}

func isBeatType(text string) bool {
	for _, t := range beatTypes {
		if t == text {
			return true
		}
	}
	return false
}

// markOf tells the type of the beat that an annotation of a file of others marks.
func markOf(text string) (kind string, ok bool) {
	if isBeatType(text) {
		return text, true
	}
	return "?", slices.Contains(beatWords, strings.ToLower(text))
}

// TakeMarked parts the annotations of a recording, in order, into beats that somebody annotated, the
// stretches of flutter in which none are, and the rest. The beats of a file of others are
// told by their texts: a letter of annot(5) or a word, as many and as near as a heart's.
func TakeMarked(list []Annotation, rateHz float64) (beats []Marked, flutter []Stretch, rest []Annotation) {
	of, ours := parseAnnotated, true
	if !slices.ContainsFunc(list, func(a Annotation) bool { _, ok := of(a.Text); return ok }) {
		of, ours = markOf, false
	}
	open := int64(-1)
	for _, a := range list {
		switch kind, ok := of(a.Text); {
		case ok:
			beats = append(beats, Marked{a.Sample, kind})
		case (a.Text == textFlutterBegins || a.Text == "[") && open < 0:
			open = a.Sample
		case (a.Text == textFlutterEnds || a.Text == "]") && open >= 0:
			flutter, open = append(flutter, Stretch{open, a.Sample}), -1
		}
		if _, ok := of(a.Text); !ok {
			rest = append(rest, a)
		}
	}
	if open >= 0 {
		flutter = append(flutter, Stretch{open, maxLen})
	}
	if !ours && !likeBeats(beats, rateHz) {
		return nil, nil, list
	}
	return beats, flutter, rest
}

// likeBeats tells that marks come as often as beats do.
func likeBeats(beats []Marked, rateHz float64) bool {
	if len(beats) < leastMarked {
		return false
	}
	apart := make([]int64, len(beats)-1)
	for i := range apart {
		apart[i] = beats[i+1].Sample - beats[i].Sample
	}
	slices.Sort(apart)
	return float64(apart[len(apart)/2]) <= mostMarkedSeconds*rateHz
}
