package variability

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"pulsewright/acquire/acquiretest"
	"pulsewright/dsp/beat"
	"pulsewright/dsp/quantile"
)

const mitHz = 360

// annotated reads the beats of a MIT annotation file; normal are those that come
// from the record's own pacemaker on the usual way: N, L, R, e, j and paced ones.
func annotated(t *testing.T, file string) (samples []int64, normal []bool) {
	t.Helper()
	b, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var at int64
	for i := 0; i+1 < len(b); i += 2 {
		w := binary.LittleEndian.Uint16(b[i:])
		code, step := w>>10, int64(w&1023)
		switch code {
		case 0:
			return samples, normal
		case 59:
			at += int64(int32(binary.LittleEndian.Uint16(b[i+2:]))<<16 | int32(binary.LittleEndian.Uint16(b[i+4:])))
			i += 4
		case 60, 61, 62:
		case 63:
			i += int(step+1) / 2 * 2
		default:
			at += step
			if code >= 1 && code <= 13 || code == 25 || code == 30 || code == 34 || code == 35 || code == 38 || code == 41 {
				samples = append(samples, at)
				normal = append(normal, slices.Contains([]uint16{1, 2, 3, 11, 12, 34, 38}, code))
			}
		}
	}
	return samples, normal
}

// TestEctopicOfMITBIH: intervals marked by their lengths alone, against the
// cardiologists' marks of the MIT-BIH Arrhythmia Database 1.0.0 (Moody & Mark 2001,
// doi:10.13026/C2F305). An interval is truly normal between two normal beats. Record
// 203 and 219 have atrial fibrillation, where all intervals are odd and no beat is.
func TestEctopicOfMITBIH(t *testing.T) {
	folder := acquiretest.OpenData(t)
	files, _ := filepath.Glob(filepath.Join(folder, "mitdb", "*.atr"))
	if len(files) < 16 {
		t.Fatalf("%d records of mitdb, want 16", len(files))
	}
	var table strings.Builder
	fmt.Fprintln(&table, "record  ectopic marked  normal left out  RMSSD ms: all  true  marked")
	found, ectopic, lost, normals := 0, 0, 0, 0
	var wrong []float64 // RMSSD in ms, marked against true
	for _, file := range files {
		name := strings.TrimSuffix(filepath.Base(file), ".atr")
		samples, normal := annotated(t, file)
		var all []Interval
		for i := 1; i < len(samples); i++ {
			all = append(all, Interval{Seconds: float64(samples[i]-samples[i-1]) / mitHz, Quality: 1})
		}
		truth, plain := slices.Clone(all), slices.Clone(all)
		Classify(all)
		e, eFound, n, nLost := 0, 0, 0, 0
		for i := range all {
			plain[i].Mark, truth[i].Mark = Normal, Ectopic
			if normal[i] && normal[i+1] {
				truth[i].Mark = Normal
				n++
				if all[i].Mark != Normal {
					nLost++
				}
			} else {
				e++
				if all[i].Mark != Normal {
					eFound++
				}
			}
		}
		rmssd := func(l []Interval) float64 {
			var s sums
			for _, iv := range l {
				s.add(iv)
			}
			return 1000 * math.Sqrt(s.square/float64(s.pairs))
		}
		// With more than a fifth left out the measures are not stated.
		stated := !math.IsNaN(Of(beat.ECG, all, 0).Value("rmssd"))
		verdict := "not stated"
		if stated {
			verdict = "stated"
			found, ectopic, lost, normals = found+eFound, ectopic+e, lost+nLost, normals+n
			wrong = append(wrong, math.Abs(rmssd(all)-rmssd(truth)))
		}
		fmt.Fprintf(&table, "%s  %5.1f %% of %4d  %5.2f %% of %4d  %6.1f %6.1f %6.1f  %s\n", name, share(eFound, e), e, share(nLost, n), n, rmssd(plain), rmssd(truth), rmssd(all), verdict)
	}
	slices.Sort(wrong)
	fmt.Fprintf(&table, "stated: %.1f %% of %d ectopic intervals marked, %.2f %% of %d normal ones left out, RMSSD off by %.1f ms in the middle", share(found, ectopic), ectopic, share(lost, normals), normals, quantile.Of(wrong, 0.5))
	t.Log("\n" + table.String())
	if len(wrong) < 10 || share(found, ectopic) < 55 || share(lost, normals) > 1 || quantile.Of(wrong, 0.5) > 4 {
		t.Error("want ten records stated, 55 % of the ectopic intervals marked at least, 1 % of the normal ones left out at most, RMSSD off by 4 ms at most")
	}
}
