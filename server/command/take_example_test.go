package command

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/recording"
)

// TestExampleShell: what the shell's example takes out is what the commands print.
func TestExampleShell(t *testing.T) {
	for _, tool := range []string{"sh", "curl"} {
		if _, err := exec.LookPath(tool); err != nil {
			acquiretest.Missing(t, tool)
		}
	}
	w := wire(t)
	// A name with what an address has to escape.
	in, folder := filepath.Join(t.TempDir(), "lamp clip 1+1 & #2.edf"), t.TempDir()
	data, err := os.ReadFile(filepath.Join(testdata, "lamp_clip_a.edf"))
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(in, data, 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.Command("sh", filepath.Join("..", "examples", "take.sh"), w.here.URL, in, folder).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, out)
	}
	_, beats, _ := call("beats", in)
	_, intervals, _ := call("intervals", in)
	_, measures, _ := call("intervals", "-measures", in)
	for name, want := range map[string]string{"beats": beats, "intervals": intervals, "measures": measures} {
		if got := readText(t, filepath.Join(folder, name+".csv")); got != want {
			t.Errorf("%s: %.200q, want %.200q", name, got, want)
		}
	}
	if rows := table(t, readText(t, filepath.Join(folder, "figures.csv"))); len(rows) < 10 {
		t.Errorf("%d figures", len(rows))
	}
	f, err := recording.Open(filepath.Join(folder, "filtered.edf"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	if f.Len() != 5000 {
		t.Errorf("filtered: %d samples, want 5000", f.Len())
	}
}
