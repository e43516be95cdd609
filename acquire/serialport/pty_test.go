//go:build linux || darwin

package serialport

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// ptyBoard is a board on a pseudo-terminal behind a symbolic link.
type ptyBoard struct {
	t             *testing.T
	link          string
	master, slave *os.File
	stop          chan struct{}
	running       sync.WaitGroup
}

func newPtyBoard(t *testing.T) *ptyBoard {
	t.Helper()
	b := &ptyBoard{t: t, link: filepath.Join(t.TempDir(), "board")}
	b.plug()
	t.Cleanup(b.unplug)
	return b
}

func (b *ptyBoard) plug() {
	b.t.Helper()
	m, s, err := pty.Open()
	if err != nil {
		acquiretest.Missing(b.t, "a pseudo-terminal ("+err.Error()+")")
	}
	makeRaw(b.t, s)
	b.master, b.slave, b.stop = m, s, make(chan struct{})
	os.Remove(b.link)
	if err := os.Symlink(s.Name(), b.link); err != nil {
		b.t.Fatal(err)
	}
}

func makeRaw(t *testing.T, f *os.File) {
	t.Helper()
	a, err := unix.IoctlGetTermios(int(f.Fd()), getTermios)
	if err != nil {
		t.Fatal(err)
	}
	a.Iflag, a.Oflag, a.Lflag = 0, 0, 0
	a.Cflag |= unix.CS8
	if err := unix.IoctlSetTermios(int(f.Fd()), setTermios, a); err != nil {
		t.Fatal(err)
	}
}

func (b *ptyBoard) unplug() {
	if b.master == nil {
		return
	}
	close(b.stop)
	b.master.Close()
	b.slave.Close()
	b.running.Wait()
	b.master = nil
	os.Remove(b.link)
}

// say writes at once.
func (b *ptyBoard) say(s string) {
	b.t.Helper()
	if _, err := b.master.WriteString(s); err != nil {
		b.t.Error(err)
	}
}

// print writes make(i) every interval until unplugged, or n times; 0 is for ever.
func (b *ptyBoard) print(interval time.Duration, n int, make func(i int) string) {
	m, stop := b.master, b.stop
	b.running.Go(func() {
		began := time.Now()
		for i := 0; n == 0 || i < n; i++ {
			select {
			case <-stop:
				return
			case <-time.After(time.Until(began.Add(time.Duration(i) * interval))):
			}
			if _, err := m.WriteString(make(i)); err != nil {
				return
			}
		}
	})
}

func (b *ptyBoard) open(options string) (*acquiretest.Checked, error) {
	b.t.Helper()
	s, err := b.openRaw(options)
	if err != nil {
		return nil, err
	}
	return acquiretest.Check(b.t, s), nil
}

func (b *ptyBoard) openRaw(options string) (acquire.Source, error) {
	b.t.Helper()
	s, err := acquire.Openers{"serial": Open}.Open(deadline(b.t), "serial:"+b.link+"?"+options)
	if err == nil {
		b.t.Cleanup(func() { s.Close() })
	}
	return s, err
}

func (b *ptyBoard) mustOpen(options string) *acquiretest.Checked {
	b.t.Helper()
	s, err := b.open(options)
	if err != nil {
		b.t.Fatal(err)
	}
	return s
}

func TestPtyContract(t *testing.T) {
	t.Parallel()
	acquiretest.Source(t, func(t *testing.T) acquire.Source {
		b := newPtyBoard(t)
		b.print(4*time.Millisecond, 0, func(i int) string { return fmt.Sprintf("%d,%d\n", i, 2*i) })
		s, err := b.openRaw("baud=115200")
		if err != nil {
			t.Fatal(err)
		}
		return s
	})
}

// Boards of every temper deliver the same numbers.
func TestPtyTempers(t *testing.T) {
	t.Parallel()
	const n = 400
	line := func(i int) string { return fmt.Sprintf("%d,%d.%02d\r\n", i, i%5, i%100) }
	for _, test := range []struct {
		name string
		run  func(b *ptyBoard)
	}{
		{"steady", func(b *ptyBoard) { b.print(2*time.Millisecond, n, line) }},
		{"lumpy", func(b *ptyBoard) {
			b.print(16*time.Millisecond, n/8, func(i int) string {
				var s strings.Builder
				for k := range 8 {
					s.WriteString(line(8*i + k))
				}
				return s.String()
			})
		}},
		{"torn", func(b *ptyBoard) {
			var all strings.Builder
			for i := range n {
				all.WriteString(line(i))
			}
			text := all.String()
			b.print(time.Millisecond, len(text)/5+1, func(i int) string { return text[min(5*i, len(text)):min(5*i+5, len(text))] })
		}},
		{"slow", func(b *ptyBoard) { b.print(25*time.Millisecond, 50, line) }},
		{"non-ASCII between", func(b *ptyBoard) {
			b.print(2*time.Millisecond, n, func(i int) string {
				if i%50 == 49 {
					return "Gerät: µV ✓\n\xfe\x00\x80x\n" + line(i)
				}
				return line(i)
			})
		}},
	} {
		t.Run(test.name, func(t *testing.T) {
			t.Parallel()
			b := newPtyBoard(t)
			b.say("\n") // so that no line is torn
			test.run(b)
			s := b.mustOpen("baud=115200&names=one,two") // a counter of its own would be taken for one
			info := s.Describe()
			if len(info.Channels) != 2 || info.Channels[0].Digits != 0 || info.Channels[1].Digits != 2 {
				t.Fatalf("channels %+v", info.Channels)
			}
			want := n
			if test.name == "slow" {
				want = 50
			}
			counts, err := s.Samples(deadline(t), want)
			if err != nil {
				t.Fatal(err)
			}
			for i := range want {
				if counts[0][i] != int32(i) || counts[1][i] != int32(i%5*100+i%100) {
					t.Fatalf("sample %d is %d, %d", i, counts[0][i], counts[1][i])
				}
			}
			h := s.Source.(acquire.HealthReporter).Health()
			bad := int64(0)
			if test.name == "non-ASCII between" {
				bad = n / 50
			}
			if h.Lines != int64(want) || h.Unreadable != bad || h.LostSamples != 0 || !h.LostUnknown {
				t.Errorf("health %+v, want %d lines, %d unreadable", h, want, bad)
			}
			if bad > 0 && h.LastUnreadable != `\xfe\x00\x80x` {
				t.Errorf("last unreadable %q", h.LastUnreadable)
			}
		})
	}
}

func TestPtySilence(t *testing.T) {
	t.Parallel()
	b := newPtyBoard(t)
	b.say("\n")
	b.print(2*time.Millisecond, 300, func(i int) string { return fmt.Sprintln(i) })
	s := b.mustOpen("baud=115200")
	if _, err := s.Samples(deadline(t), 300); err != nil {
		t.Fatal(err)
	}
	b.say("battery low\n")
	block, err := s.Read(deadline(t))
	if err != nil || block.Len() != 0 || !reflect.DeepEqual(block.Text, []string{"battery low"}) {
		t.Errorf("block %+v, %v; want the text alone", block, err)
	}
	if block, err = s.Read(deadline(t)); err != nil || block.Len() != 0 {
		t.Errorf("block %+v, %v; want an empty one", block, err)
	}
}

func TestPtyReplug(t *testing.T) {
	t.Parallel()
	b := newPtyBoard(t)
	count := func(i int) string { return fmt.Sprintf("%d\n", i) }
	b.print(4*time.Millisecond, 0, count)
	s := b.mustOpen("baud=115200")
	address := s.Describe().Address
	if _, err := s.Samples(deadline(t), 100); err != nil {
		t.Fatal(err)
	}
	b.unplug()
	if _, err := s.Samples(deadline(t), 1<<30); !errors.Is(err, acquire.ErrUnplugged) {
		t.Fatalf("after unplugging: %v", err)
	}
	s.Close()
	open := func() (acquire.Source, error) {
		return acquire.Openers{"serial": Open}.Open(deadline(t), address)
	}
	if _, err := open(); !errors.Is(err, acquire.ErrUnplugged) {
		t.Fatalf("opening what is not there: %v", err)
	}
	b.plug()
	b.print(4*time.Millisecond, 0, count)
	again, err := open()
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if _, err := acquiretest.Check(t, again).Samples(deadline(t), 100); err != nil {
		t.Fatal(err)
	}
}

// 1000 lines/s on two channels without a loss, seen by the board's own counter. What a
// board prints before its port is open may be gone (setting the baud clears what has come in, and under
// load that may be a hundred lines), so it prints for ever and the test joins anywhere.
func TestPtyThousandLines(t *testing.T) {
	t.Parallel()
	b := newPtyBoard(t)
	b.print(time.Millisecond, 0, func(i int) string { return fmt.Sprintf("%d,%d,%d,%d\r\n", i&0xffff, 1000*i, i%1024, -i) })
	s := b.mustOpen("baud=115200&names=seq,t_us,pulse,ecg")
	const n = 2000
	counts, err := s.Samples(deadline(t), n)
	if err != nil {
		t.Fatal(err)
	}
	for i := range n {
		if want := -counts[1][0] + int32(i); counts[0][i] != want%1024 || counts[1][i] != -want {
			t.Fatalf("sample %d is %d, %d, want those of line %d", i, counts[0][i], counts[1][i], want)
		}
	}
	if h := s.Source.(acquire.HealthReporter).Health(); h.LostSamples != 0 || h.Unreadable != 0 || h.Lines < n {
		t.Errorf("health %+v", h)
	}
}

func TestNoSuchPort(t *testing.T) {
	for _, options := range []string{"", "?baud=9600"} {
		_, err := acquire.Openers{"serial": Open}.Open(deadline(t), "serial:"+filepath.Join(t.TempDir(), "none")+options)
		if !errors.Is(err, acquire.ErrUnplugged) {
			t.Errorf("%q: %v", options, err)
		}
	}
	file := filepath.Join(t.TempDir(), "file")
	os.WriteFile(file, []byte("1\n2\n"), 0o600)
	_, err := acquire.Openers{"serial": Open}.Open(deadline(t), "serial:"+file)
	if err == nil || errors.Is(err, acquire.ErrUnplugged) || !strings.Contains(err.Error(), "not a serial port") {
		t.Errorf("a file: %v", err)
	}
}

func TestOpenCancelled(t *testing.T) {
	b := newPtyBoard(t)
	ctx, cancel := context.WithTimeout(deadline(t), 50*time.Millisecond)
	defer cancel()
	_, err := acquire.Openers{"serial": Open}.Open(ctx, "serial:"+b.link+"?baud=9600")
	if !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("error %v", err)
	}
}

// BenchmarkPtyLatency is the time from the write of a line to its sample's
// return from Read, at 250 lines/s.
func BenchmarkPtyLatency(b *testing.B) {
	m, s, err := pty.Open()
	if err != nil {
		b.Skipf("no pseudo-terminal: %v", err)
	}
	defer m.Close()
	defer s.Close()
	a, _ := unix.IoctlGetTermios(int(s.Fd()), getTermios)
	a.Iflag, a.Oflag, a.Lflag = 0, 0, 0
	unix.IoctlSetTermios(int(s.Fd()), setTermios, a)
	var mu sync.Mutex
	written := map[int32]time.Time{}
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		tick := time.NewTicker(4 * time.Millisecond)
		defer tick.Stop()
		for i := int32(0); ; i++ {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			mu.Lock()
			written[i] = time.Now()
			mu.Unlock()
			fmt.Fprintf(m, "%d\n", i)
		}
	})
	defer wg.Wait()
	defer close(stop)
	src, err := acquire.Openers{"serial": Open}.Open(context.Background(), "serial:"+s.Name()+"?baud=115200")
	if err != nil {
		b.Fatal(err)
	}
	defer src.Close()
	src.Read(context.Background()) // those read while opening
	var all []time.Duration
	for b.Loop() {
		block, err := src.Read(context.Background())
		if err != nil {
			b.Fatal(err)
		}
		now := time.Now()
		if block.Len() > 0 {
			mu.Lock()
			all = append(all, now.Sub(written[block.Counts[0][0]]))
			mu.Unlock()
		}
	}
	if len(all) > 0 {
		slices.Sort(all)
		b.ReportMetric(float64(all[len(all)/2].Microseconds()), "µs-median")
		b.ReportMetric(float64(all[len(all)*99/100].Microseconds()), "µs-p99")
	}
}
