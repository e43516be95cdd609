//go:build linux || darwin

package serialport

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
	"pulsewright/acquire/clock"
)

// adcCount is the converter's result for so many millivolts at a 5 V reference:
// ADC = Vin · 1024 / Vref, ATmega328P data sheet, "ADC conversion result". The
// simulator scales by 1023 instead, so -1 is returned where they differ.
func adcCount(millivolts int) int {
	if n := millivolts * 1024 / 5000; n == millivolts*1023/5000 {
		return n
	}
	return -1
}

// testWave gives two columns of millivolts with their counts; in the first no
// count comes twice, so that it tells the line.
func testWave(t *testing.T) (text string, counts [2][]int32) {
	t.Helper()
	byCount := map[int]int{}
	for mv := range 5000 {
		if n := adcCount(mv); n >= 0 {
			byCount[n] = mv
		}
	}
	var b strings.Builder
	for i := range 401 {
		want := [2]int{50 + i*7%401, 600 - i} // 7 and 401 are coprime
		for c, n := range want {
			mv, ok := byCount[n]
			if !ok {
				t.Fatalf("no millivolts for count %d", n)
			}
			fmt.Fprintf(&b, "%d ", mv)
			counts[c] = append(counts[c], int32(n))
		}
		b.WriteByte('\n')
	}
	return b.String(), counts
}

// buildBoard builds the firmware and the simulator's host.
func buildBoard(t *testing.T) string {
	t.Helper()
	missing := ""
	for _, tool := range []string{"make", "avr-gcc", "avr-g++", "cc"} {
		if _, err := exec.LookPath(tool); err != nil {
			missing = tool
		}
	}
	if _, err := os.Stat("/usr/include/simavr/sim_avr.h"); err != nil {
		missing = "libsimavr-dev"
	}
	if _, err := os.Stat("/usr/include/libelf.h"); err != nil {
		missing = "libelf-dev"
	}
	if missing != "" {
		acquiretest.Missing(t, missing+" (install make gcc gcc-avr avr-libc libsimavr-dev libelf-dev)")
	}
	out := t.TempDir()
	if b, err := exec.Command("make", "-C", "board", "OUT="+out, "host").CombinedOutput(); err != nil {
		t.Fatalf("make: %v\n%s", err, b)
	}
	return out
}

// simulation is a firmware running in the simulator.
type simulation struct {
	port string
	mu   sync.Mutex
	last string // figures
}

func simulate(t *testing.T, dir, firmware, wave string) *simulation {
	t.Helper()
	file := filepath.Join(t.TempDir(), "wave.txt")
	if err := os.WriteFile(file, []byte(wave), 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(filepath.Join(dir, "simhost"), filepath.Join(dir, firmware+".elf"), file)
	cmd.Stderr = os.Stderr
	pipe, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := &simulation{}
	in := bufio.NewScanner(pipe)
	done := make(chan struct{})
	t.Cleanup(func() {
		cmd.Process.Kill()
		<-done
		cmd.Wait()
	})
	if !in.Scan() {
		close(done)
		t.Fatal("the simulator printed no port")
	}
	s.port = in.Text()
	go func() {
		defer close(done)
		for in.Scan() {
			s.mu.Lock()
			s.last = in.Text()
			s.mu.Unlock()
		}
	}()
	return s
}

// figures waits for the simulator's newest figures.
func (s *simulation) figures(t *testing.T) (samples int64, rateHz, cycles float64) {
	t.Helper()
	for range 500 {
		s.mu.Lock()
		last := s.last
		s.mu.Unlock()
		var total int64
		if n, _ := fmt.Sscanf(last, "cycles %d samples %d rate %f awake %f", &total, &samples, &rateHz, &cycles); n == 4 {
			return
		}
		time.Sleep(10 * time.Millisecond)
	}
	t.Fatal("the simulator printed no figures")
	return
}

// Real firmware in a simulated ATmega328P, read through a pseudo-terminal.
func TestFirmware(t *testing.T) {
	t.Parallel()
	dir := buildBoard(t)
	wave, counts := testWave(t)
	for _, test := range []struct {
		firmware, options string
		rateHz            float64
		channels          []acquire.Channel
		boardClock        bool
		samples           int
	}{
		{"lines", "?baud=115200&bits=10&reference=5", 250, []acquire.Channel{
			{Label: "pulse", Kind: "pulse", Unit: "V", VoltsPerCount: 0.0048828125, MaxCount: 1023}}, true, 600},
		{"lamp_clip", "?baud=115200&bits=10&reference=5", 250, []acquire.Channel{
			{Label: "pulse", Kind: "pulse", Unit: "V", VoltsPerCount: 0.0048828125, MaxCount: 1023}}, true, 500},
		{"any_board", "?baud=115200&bits=10&reference=5", 250, []acquire.Channel{
			{Label: "pulse", Kind: "pulse", Unit: "V", VoltsPerCount: 0.0048828125, MaxCount: 1023}}, false, 500},
		{"frames", "?baud=115200&format=frames", 1000, []acquire.Channel{
			{Label: "pulse", Kind: "pulse", Unit: "V", VoltsPerCount: 0.0048828125, MaxCount: 1023},
			{Label: "chest", Kind: "ecg", Unit: "V", VoltsPerCount: 0.0048828125, MaxCount: 1023}}, false, 2400},
	} {
		t.Run(test.firmware, func(t *testing.T) {
			t.Parallel()
			sim := simulate(t, dir, test.firmware, wave)
			src, err := acquire.Openers{"serial": Open}.Open(deadline(t), "serial:"+sim.port+test.options)
			if err != nil {
				t.Fatal(err)
			}
			defer src.Close()
			s := acquiretest.Check(t, src)
			info := s.Describe()
			if info.ClaimedRateHz != test.rateHz {
				t.Errorf("claims %g Hz, want %g", info.ClaimedRateHz, test.rateHz)
			}
			if len(info.Channels) != len(test.channels) {
				t.Fatalf("channels %+v", info.Channels)
			}
			for i, c := range info.Channels {
				if c != test.channels[i] {
					t.Errorf("channel %+v\nwant    %+v", c, test.channels[i])
				}
			}
			estimator := clock.New(info.ClaimedRateHz)
			line, read := -1, 0
			var boardFirst, boardLast float64
			for read < test.samples {
				b, err := s.Read(deadline(t))
				if err != nil {
					t.Fatal(err)
				}
				if b.Len() == 0 {
					continue
				}
				if b.Lost != 0 {
					t.Fatalf("%d lost before %d", b.Lost, b.First)
				}
				estimator.Observe(b.First+int64(b.Len()), b.Arrived)
				for i := range b.Len() {
					if line < 0 {
						for k, n := range counts[0] {
							if n == b.Counts[0][i] {
								line = k
							}
						}
						if line < 0 {
							t.Fatalf("first count %d is not in the wave", b.Counts[0][i])
						}
					}
					for c := range b.Counts {
						if b.Counts[c][i] != counts[c][line] {
							t.Fatalf("sample %d channel %d is %d, want %d", b.First+int64(i), c, b.Counts[c][i], counts[c][line])
						}
					}
					line = (line + 1) % len(counts[0])
				}
				if test.boardClock {
					if read == 0 {
						boardFirst = b.BoardSeconds[0]
					}
					boardLast = b.BoardSeconds[b.Len()-1]
				}
				read += b.Len()
			}
			samples, rateHz, cycles := sim.figures(t)
			// One sample's start may wait for an instruction or another interrupt: 100 cycles.
			// The loop of any_board polls instead, between printing: 500.
			slack := 100.0
			if test.firmware == "any_board" {
				slack = 500
			}
			if limit := test.rateHz * slack / 16e6; rateHz < test.rateHz-limit || rateHz > test.rateHz+limit {
				t.Errorf("%g Hz over %d samples by the simulated clock, want %g", rateHz, samples, test.rateHz)
			}
			if test.boardClock {
				if got := float64(read-1) / (boardLast - boardFirst); got < 249.999 || got > 250.001 {
					t.Errorf("%g Hz by the board's clock", got)
				}
			}
			h := src.(acquire.HealthReporter).Health()
			if h.Unreadable != 0 || h.LostSamples != 0 {
				t.Errorf("health %+v", h)
			}
			e := estimator.Estimate()
			t.Logf("%s: %.4f Hz by the simulated clock, %.3f ± %.3f Hz by arrival; %.0f cycles awake per sample of %.0f (%s)",
				test.firmware, rateHz, e.MeasuredHz, e.UncertaintyHz, cycles, 16e6/test.rateHz, h.Detail)
		})
	}
}
