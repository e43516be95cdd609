package recording

import (
	"slices"
	"testing"
)

// TestTakeMarked: annotated beats are told apart from beats found and from notes, those of files of others by
// their texts, and a letter that means something else there is left alone.
func TestTakeMarked(t *testing.T) {
	at := func(step int64, texts ...string) (list []Annotation) {
		for i, text := range texts {
			list = append(list, Annotation{Sample: int64(i) * step, Text: text})
		}
		return list
	}
	for name, c := range map[string]struct {
		list    []Annotation
		beats   []Marked
		flutter []Stretch
		rest    int
	}{
		"ours":               {at(200, "beat ecg 0.97", AnnotatedText("N"), "N", "a note", AnnotatedText("V")), []Marked{{200, "N"}, {800, "V"}}, nil, 3},
		"one of ours":        {at(200, AnnotatedText("N")), []Marked{{0, "N"}}, nil, 0},
		"letters":            {at(200, "N", "V", "[", "]", "N", "lights off"), []Marked{{0, "N"}, {200, "V"}, {800, "N"}}, []Stretch{{400, 600}}, 3},
		"flutter to the end": {at(200, "N", "V", "N", "flutter begins"), []Marked{{0, "N"}, {200, "V"}, {400, "N"}}, []Stretch{{600, maxLen}}, 1},
		"words":              {at(200, "QRS", "R peak", "Heart beat"), []Marked{{0, "?"}, {200, "?"}, {400, "?"}}, nil, 0},
		"stages of 30 s":     {at(7500, "N", "R", "N", "R"), nil, nil, 4},
		"two":                {at(200, "N", "N"), nil, nil, 2},
		"found":              {at(200, "beat ecg 0.97", "beat ecg 0.97", "beat ecg 0.97"), nil, nil, 3},
	} {
		beats, flutter, rest := TakeMarked(c.list, 250)
		if !slices.Equal(beats, c.beats) || !slices.Equal(flutter, c.flutter) || len(rest) != c.rest {
			t.Errorf("%s: beats %v, flutter %v, %d others; want %v, %v, %d", name, beats, flutter, len(rest), c.beats, c.flutter, c.rest)
		}
	}
	if IsNote(AnnotatedText("N")) || !IsNote("annotated by hand") {
		t.Error("an annotated beat is no note, a note that begins alike is one")
	}
}
