package recording

import (
	"fmt"
	"os"
	"slices"
	"strings"

	"pulsewright/acquire"
)

// beatCodes are the annotation codes of beats, by the table of annot(5) of PhysioNet's WFDB
// Applications Guide; noteCodes are what some of the others say.
var (
	beatCodes = map[int]bool{1: true, 2: true, 3: true, 4: true, 5: true, 6: true, 7: true, 8: true, 9: true, 10: true, 11: true, 12: true, 13: true, 25: true, 30: true, 34: true, 35: true, 38: true, 41: true}
	noteCodes = map[int]string{14: "signal quality changes", 16: "artefact", 18: "ST change", 19: "T wave change", 22: "note", 23: "measurement", 28: "rhythm", 32: "flutter begins", 33: "flutter ends", 37: "not conducted P wave"}
)

// mostATR bounds an annotation file that is read: a day of beats has about 300 kB.
const mostATR = 64 << 20

// beside reads the reference annotations (.atr) that lie beside a header, frames of so many samples:
// beats as BeatText of the first ECG, what else there is in words. A file that is damaged gives what is whole of it.
func (f *File) beside(path string, perFrame int64) []Annotation {
	path = strings.TrimSuffix(path, ".gz")
	if len(path) < len(".hea") {
		return nil
	}
	path = path[:len(path)-len(".hea")] + ".atr"
	if info, err := os.Stat(path); err != nil || info.Size() > mostATR {
		return nil
	}
	file, err := os.Open(path)
	if err != nil {
		f.remark("the annotations beside it were not read: %v", err)
		return nil
	}
	defer file.Close()
	marks, err := ReadMITAnnotations(file)
	if err != nil {
		f.remark("of the annotations beside it %d were read: %v", len(marks), err)
	}
	var list []Annotation
	typed, channel := 0, -1
	if len(f.info.Channels) > 1 {
		channel = slices.IndexFunc(f.info.Channels, func(c acquire.Channel) bool { return acquire.KindOfLabel(c.Label) == acquire.KindECG })
	}
	for _, m := range marks {
		a := Annotation{Sample: m.Sample * perFrame}
		if beatCodes[m.Code] {
			a.Text = BeatText(acquire.KindECG, 1, channel)
			if m.Code != 1 {
				typed++
			}
		} else if a.Text = noteCodes[m.Code]; a.Text == "" {
			a.Text = fmt.Sprintf("annotation of code %d", m.Code)
		}
		if text := strings.TrimPrefix(m.Text, "("); text != "" && !beatCodes[m.Code] {
			a.Text += ": " + text
		}
		a.OnsetSeconds = float64(a.Sample) / f.info.ClaimedRateHz
		list = append(list, a)
	}
	if typed > 0 {
		f.remark("annotated beats of another type than normal: %d; all are shown alike", typed)
	}
	return list
}
