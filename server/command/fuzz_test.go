package command

import (
	"bytes"
	"testing"
)

// FuzzBeatList: a list of beats is read whole or refused with a sentence.
func FuzzBeatList(f *testing.F) {
	for _, s := range []string{"sample,time_s,kind\n1,0.004,ecg\n2,0.008,ecg\n", "sample,both\n5,1\n7,0\n", "# note\nsample\n-3\n", "sample\nx\n", "a,b\n1,2\n", "sample\n\"1\n", ""} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		list, err := readBeatList(bytes.NewReader(b))
		if err != nil && err.Error() == "" {
			t.Fatal("an empty error")
		}
		if n := len(list.Samples) + len(list.Uncertain); err == nil && n > bytes.Count(b, []byte("\n"))+bytes.Count(b, []byte("\r"))+1 {
			t.Fatalf("%d beats in %q", n, b)
		}
	})
}
