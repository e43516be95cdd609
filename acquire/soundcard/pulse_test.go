//go:build portaudio && linux

package soundcard

import (
	"context"
	"encoding/binary"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"

	"pulsewright/acquire"
	"pulsewright/acquire/acquiretest"
)

// sound runs a sound server of its own whose only input is a pipe.
type sound struct {
	t      *testing.T
	dir    string
	server *exec.Cmd
	pipe   *os.File
}

func newSound(t *testing.T) *sound {
	t.Helper()
	for _, part := range []string{"pulseaudio", "pactl"} {
		if _, err := exec.LookPath(part); err != nil {
			acquiretest.Missing(t, part)
		}
	}
	s := &sound{t: t, dir: t.TempDir()}
	for k, v := range map[string]string{"PULSE_RUNTIME_PATH": s.dir, "PULSE_STATE_PATH": s.dir, "PULSE_SERVER": "unix:" + s.dir + "/native",
		"ALSA_CONFIG_PATH": s.dir + "/asound.conf", "XDG_RUNTIME_DIR": s.dir, "HOME": s.dir} {
		t.Setenv(k, v)
	}
	plugin, _ := filepath.Glob("/usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so")
	if len(plugin) == 0 {
		acquiretest.Missing(t, "libasound2-plugins")
	}
	conf := "pcm_type.pulse { lib \"" + plugin[0] + "\" }\npcm.default { type pulse }\nctl.default { type pulse }\n"
	if err := os.WriteFile(filepath.Join(s.dir, "asound.conf"), []byte(conf), 0o600); err != nil {
		t.Fatal(err)
	}
	s.start()
	t.Cleanup(s.stop)
	return s
}

func (s *sound) start() {
	s.t.Helper()
	fifo := filepath.Join(s.dir, "fifo")
	_ = os.Remove(fifo)
	s.server = exec.Command("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1", "--realtime=no", "--high-priority=no",
		"--log-target=file:"+s.dir+"/log", "-L", "module-native-protocol-unix socket="+s.dir+"/native auth-anonymous=1",
		"-L", "module-pipe-source source_name=mic file="+fifo+" rate=44100 format=s16le channels=1")
	if err := s.server.Start(); err != nil {
		s.t.Fatal(err)
	}
	for range 500 {
		if exec.Command("pactl", "info").Run() == nil {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	var err error
	if s.pipe, err = os.OpenFile(fifo, os.O_RDWR, 0); err != nil {
		s.t.Fatal(err)
	}
}

func (s *sound) stop() {
	if s.server != nil {
		_ = s.server.Process.Kill()
		_ = s.server.Wait()
		s.server = nil
		s.pipe.Close()
	}
}

// play writes ever-changing samples, 441 every 10 ms, until stopped.
func (s *sound) play(ctx context.Context) {
	pipe := s.pipe
	buffer := make([]byte, 2*441)
	start := time.Now()
	for n, i := 0, 0; ctx.Err() == nil; n++ {
		time.Sleep(time.Until(start.Add(time.Duration(n) * 10 * time.Millisecond)))
		for j := range 441 {
			binary.LittleEndian.PutUint16(buffer[2*j:], uint16(tone(i)))
			i++
		}
		if _, err := pipe.Write(buffer); err != nil {
			return
		}
	}
}

// tone is a sequence whose every run of two samples is found once in 60 s.
func tone(i int) int16 {
	x := uint32(i)*2654435761 + 12345
	x ^= x >> 15
	x *= 2246822519
	x ^= x >> 13
	return int16(x >> 16)
}

func openSound(t *testing.T, address string) acquire.Source {
	t.Helper()
	a, err := acquire.ParseAddress(address)
	if err != nil {
		t.Fatal(err)
	}
	src, err := Open(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	return src
}

// TestSamplesAreBitExact reads 20 s through PulseAudio and PortAudio.
func TestSamplesAreBitExact(t *testing.T) {
	s := newSound(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go s.play(ctx)
	src := openSound(t, "sound:default?rate=44100")
	defer src.Close()
	var got []int32
	for len(got) < 20*44100 {
		b, err := src.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if b.Jump {
			t.Fatalf("sound was lost at sample %d", b.First)
		}
		if b.Len() > 0 {
			got = append(got, b.Counts[0]...)
		}
	}
	// Find where the program came in, leaving out the server's own silence.
	skip := 44100 / 2
	at := -1
	for i := range 60 * 44100 {
		if int32(tone(i)) == got[skip] && int32(tone(i+1)) == got[skip+1] && int32(tone(i+2)) == got[skip+2] {
			at = i
			break
		}
	}
	if at < 0 {
		t.Fatal("none of what was played arrived")
	}
	wrong := 0
	for i, v := range got[skip:] {
		if v != int32(tone(at+i)) {
			wrong++
		}
	}
	if wrong > 0 {
		t.Errorf("%d of %d samples differ from what was played", wrong, len(got)-skip)
	}
}

func TestDeviceKilledAndBroughtBack(t *testing.T) {
	s := newSound(t)
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	go s.play(ctx)
	src := openSound(t, "sound:default?rate=44100")
	for n := 0; n < 4410; {
		b, err := src.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		n += b.Len()
	}
	s.stop()
	deadline := time.Now().Add(15 * time.Second)
	for {
		if _, err := src.Read(ctx); err != nil {
			if !errors.Is(err, acquire.ErrUnplugged) {
				t.Fatalf("a device that went away gave %v", err)
			}
			break
		}
		if time.Now().After(deadline) {
			t.Fatal("a device that went away was not noticed")
		}
	}
	src.Close()
	s.start()
	go s.play(ctx)
	src = openSound(t, "sound:default?rate=44100")
	defer src.Close()
	for n := 0; n < 4410; {
		b, err := src.Read(ctx)
		if err != nil {
			t.Fatal(err)
		}
		n += b.Len()
	}
}

func TestDevicesAreListed(t *testing.T) {
	newSound(t)
	list, err := Devices()
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range list {
		if d.Name == "default" && d.Channels > 0 {
			return
		}
	}
	t.Errorf("devices %+v lack the default one", list)
}
