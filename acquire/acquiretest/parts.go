package acquiretest

import (
	"os"
	"path/filepath"
	"testing"
)

// Missing says that a part is not on this machine: a skip that names it, or with
// CI=true a failure, since there every part must be.
func Missing(t testing.TB, part string) {
	t.Helper()
	if os.Getenv("CI") == "true" {
		t.Fatalf("missing here, and CI must have it: %s", part)
	}
	t.Skipf("SKIP: %s is not on this machine", part)
}

// OpenData is the folder of open recordings: where PULSEWRIGHT_DATA says, else
// ../shared/data from the project's root. Missing is called when it is not there.
func OpenData(t testing.TB) string {
	t.Helper()
	folder, ok := FindOpenData()
	if !ok {
		Missing(t, "the folder of open recordings (../shared/data, or where PULSEWRIGHT_DATA says)")
	}
	return folder
}

// FindOpenData is OpenData for a test that can do without; the caller's package
// lies two folders below the project's root.
func FindOpenData() (folder string, ok bool) {
	folder = os.Getenv("PULSEWRIGHT_DATA")
	if folder == "" {
		folder = filepath.Join("..", "..", "..", "shared", "data")
	}
	_, err := os.Stat(filepath.Join(folder, "mitdb"))
	return folder, err == nil
}
