package serialport

import (
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// A tree like sysfs has it: a board on USB, an adapter one level deeper, an
// on-board port that exists, one that does not, and a console.
func TestPorts(t *testing.T) {
	root := t.TempDir()
	put := func(path, text string) {
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(text+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	link := func(to, path string) {
		path = filepath.Join(root, path)
		if err := os.MkdirAll(filepath.Join(root, to), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			t.Fatal(err)
		}
		if err := os.Symlink(filepath.Join(root, to), path); err != nil {
			t.Fatal(err)
		}
	}
	put("devices/usb1/1-1/idVendor", "2a1b")
	put("devices/usb1/1-1/idProduct", "00ff")
	put("devices/usb1/1-1/product", "Lamp clip")
	put("devices/usb1/1-1/manufacturer", "Evening class")
	put("devices/usb1/1-1/serial", "7")
	link("devices/usb1/1-1/1-1:1.0", "tty/ttyACM0/device")
	put("devices/usb1/1-2/idVendor", "0001")
	link("devices/usb1/1-2/1-2:1.0/ttyUSB0", "tty/ttyUSB0/device")
	link("devices/serial8250", "tty/ttyS0/device")
	put("tty/ttyS0/type", "4")
	link("devices/serial8250", "tty/ttyS1/device")
	put("tty/ttyS1/type", "0")
	put("tty/console/active", "tty0")
	got, err := portsIn(filepath.Join(root, "tty"))
	if err != nil {
		t.Fatal(err)
	}
	want := []Port{
		{Name: "/dev/ttyACM0", Description: "Lamp clip, Evening class", USB: true, VID: "2A1B", PID: "00FF", Serial: "7"},
		{Name: "/dev/ttyUSB0", USB: true, VID: "0001"},
		{Name: "/dev/ttyS0"},
	}
	if !reflect.DeepEqual(got, want) {
		t.Errorf("ports %+v\nwant  %+v", got, want)
	}
	if _, err := Ports(); err != nil {
		t.Error(err)
	}
}
