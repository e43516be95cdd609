package recording

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// noteCodes are what some of the codes say that mark no beat, by the table of annot(5) of PhysioNet's WFDB
// Applications Guide; beatTypes are those that do.
var noteCodes = map[int]string{14: "signal quality changes", 16: "artefact", 18: "ST change", 19: "T wave change", 22: "note", 23: "measurement", 28: "rhythm", 32: textFlutterBegins, 33: textFlutterEnds, 37: "not conducted P wave"}

// besideATR are the endings of the files that hold a record's annotated beats, the first there is counts:
// those of a reference, then those of other annotators.
var besideATR = []string{".atr", ".ecg", ".qrs"}

// IsAnnotations reports whether a name is that of an annotation file.
func IsAnnotations(name string) bool {
	return slices.Contains(besideATR, strings.ToLower(filepath.Ext(name)))
}

// mostATR bounds an annotation file that is read: a day of beats has about 300 kB.
const mostATR = 64 << 20

// beside reads the annotations that lie beside a header, frames of so many samples. A file that is damaged gives what
// is whole of it.
func (f *File) beside(path string, perFrame int64) []Annotation {
	path = strings.TrimSuffix(path, ".gz")
	if len(path) < len(".hea") {
		return nil
	}
	file, err := openFirst(path[:len(path)-len(".hea")], besideATR)
	if err != nil {
		f.remark("the annotations beside it were not read: %v", err)
	}
	if file == nil {
		return nil
	}
	defer file.Close()
	list, err := readAnnotated(file, perFrame, f.info.ClaimedRateHz)
	if err != nil {
		f.remark("of the annotations beside it %d were read: %v", len(list), err)
	}
	return list
}

// Annotate adds the annotations of a file of its own, such as a record's .atr, counted in the recording's samples, and returns
// how many beats they mark. With an error nothing is added.
func (f *File) Annotate(data []byte) (beats int, err error) {
	list, err := readAnnotated(bytes.NewReader(data), 1, f.info.ClaimedRateHz)
	if err != nil {
		return 0, err
	}
	marked, _, _ := TakeMarked(list, f.info.ClaimedRateHz)
	for _, a := range list {
		if a.Sample < 0 || a.Sample > f.length {
			return 0, fmt.Errorf("an annotation stands at sample %d, and the recording has samples 0 to %d: they belong to another recording", a.Sample, f.length-1)
		}
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	before := f.scan
	if before == nil {
		had := f.annotations
		before = func() []Annotation { return had }
	}
	f.scan, f.notes = func() []Annotation { return append(before(), list...) }, nil
	return len(marked), nil
}

// readAnnotated reads an annotation file, beats as AnnotatedText, what else there is in words. With an error it gives what is
// whole of it.
func readAnnotated(r io.Reader, perFrame int64, rateHz float64) ([]Annotation, error) {
	marks, err := ReadMITAnnotations(r)
	var list []Annotation
	for _, m := range marks {
		a := Annotation{Sample: m.Sample * perFrame}
		kind, beat := beatTypes[m.Code]
		switch {
		case beat:
			a.Text = AnnotatedText(kind)
		case noteCodes[m.Code] != "":
			a.Text = noteCodes[m.Code]
		default:
			a.Text = fmt.Sprintf("annotation of code %d", m.Code)
		}
		if text := strings.TrimPrefix(m.Text, "("); text != "" && !beat {
			a.Text += ": " + text
		}
		a.OnsetSeconds = float64(a.Sample) / rateHz
		list = append(list, a)
	}
	return list, err
}

// openFirst opens the first file that there is of a name with one of the endings; nil for none.
func openFirst(name string, endings []string) (*os.File, error) {
	for _, ending := range endings {
		if info, err := os.Stat(name + ending); err == nil && info.Size() <= mostATR {
			return os.Open(name + ending)
		}
	}
	return nil, nil
}
