//go:build !windows

package command

import (
	"context"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"pulsewright/acquire/acquiretest"
)

// TestExampleClients: the two small programs that use the program's interface do what they say.
func TestExampleClients(t *testing.T) {
	t.Parallel()
	for _, tool := range []string{"python3", "curl"} {
		if _, err := exec.LookPath(tool); err != nil {
			acquiretest.Missing(t, tool)
		}
	}
	address := program(t, "demo:finger?speed=20")
	s := openStream(t, address)
	s.until("a reading", 30*time.Second, func() bool { r := s.last["reading"]; return r != nil && r["state"] == "reading" })
	ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second)
	defer cancel()
	out, err := exec.CommandContext(ctx, "python3", filepath.Join("..", "examples", "watch_rate.py"), address, "2").CombinedOutput()
	if lines := strings.Split(strings.TrimSpace(string(out)), "\n"); err != nil || len(lines) != 2 || !regexp.MustCompile(`^\d+ bpm, quality [01]\.\d\d$|^no rate: .+$`).MatchString(lines[1]) {
		t.Errorf("watch_rate.py: %q, %v", out, err)
	}
	file := filepath.Join(t.TempDir(), "out.csv")
	out, err = exec.CommandContext(ctx, "sh", filepath.Join("..", "examples", "save_last_minute.sh"), "lamp clip", file, address).CombinedOutput()
	text, readErr := os.ReadFile(file)
	if err != nil || readErr != nil || !strings.Contains(string(text), "time_s,pulse [V]") || strings.Count(string(text), "\n") < 1000 || !strings.Contains(string(out), "lamp clip") {
		t.Errorf("save_last_minute.sh: %q, %v, %v; %d bytes", out, err, readErr, len(text))
	}
}
