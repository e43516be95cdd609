package serialport

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets more tests run at once than there are cores: most of them wait for a board.
func TestMain(m *testing.M) {
	flag.Parse()
	if f := flag.Lookup("test.parallel"); f.Value.String() == f.DefValue {
		_ = flag.Set("test.parallel", "16")
	}
	os.Exit(m.Run())
}
