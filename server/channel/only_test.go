package channel_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestNobodyElseMakesOne: a path, a monitor or a meter is made here alone, so that there is
// one rule for holes, one for the kind, one for the scale.
func TestNobodyElseMakesOne(t *testing.T) {
	read := 0
	err := filepath.WalkDir("..", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || strings.HasPrefix(path, filepath.Join("..", "channel")) {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		read++
		for _, made := range []string{"signalpath.New(", "beat.NewMonitor(", "beat.NewPulse(", "beat.NewECG", "meter.New(", "filter.NewDecimator("} {
			if strings.Contains(string(text), made) && !strings.Contains(path, "sound") { // sound is brought down before it is a channel
				t.Errorf("%s makes one itself: %s…); use channel.Engine", path, made)
			}
		}
		return nil
	})
	if err != nil || read < 20 {
		t.Errorf("%d files read, %v", read, err)
	}
}
