package serialport

import (
	"fmt"
	"path/filepath"
	"sort"

	"pulsewright/acquire"
)

// Port is a serial port of this computer.
type Port struct {
	// Name opens it: "/dev/ttyACM0", "COM3".
	Name string `json:"name"`
	// Description is for a person: the USB product and maker, or "".
	Description string `json:"description"`
	// USB is true for a port on USB, as boards are.
	USB bool `json:"usb"`
	// VID and PID are the USB vendor and product, four hexadecimal digits each.
	VID string `json:"vid,omitempty"`
	PID string `json:"pid,omitempty"`
	// Serial is the device's serial number, or "".
	Serial string `json:"serial,omitempty"`
}

// Ports lists the serial ports, USB first, without opening any.
func Ports() ([]Port, error) { return ports() }

func sortPorts(list []Port) {
	sort.Slice(list, func(i, j int) bool {
		if list[i].USB != list[j].USB {
			return list[i].USB
		}
		return list[i].Name < list[j].Name
	})
}

// Identity is what stays of a USB port when it is plugged in again, under whatever name:
// "2A1B:00FF:serial number"; "" where there is no USB.
func (p Port) Identity() string {
	if !p.USB || p.VID == "" {
		return ""
	}
	return p.VID + ":" + p.PID + ":" + p.Serial
}

// IdentityOn is the USB identity of the board on a port now, "" where there is none.
func IdentityOn(port string) string {
	o := options{port: port}
	_ = o.find(machine{ports: Ports}) // nothing is looked for, so it cannot fail
	return o.usb
}

// find sets the port's USB identity, or the port on which the identity told is now. A board
// without a serial number is found where it is the only one of its kind.
func (o *options) find(m machine) error {
	if m.ports == nil {
		return nil
	}
	list, err := m.ports()
	if err != nil {
		return nil // the port can be opened without a list
	}
	path := o.port
	if real, err := filepath.EvalSymlinks(path); err == nil {
		path = real
	}
	var alike []Port
	for _, p := range list {
		if p.Name == path || p.Name == o.port {
			if o.usb == "" || o.usb == p.Identity() {
				o.usb = p.Identity()
				return nil
			}
		}
		if p.Identity() == o.usb {
			alike = append(alike, p)
		}
	}
	switch {
	case o.usb == "":
		return nil
	case len(alike) == 1:
		o.port, o.wire = alike[0].Name, cable(alike[0].Name)
		return nil
	case len(alike) > 1:
		return fmt.Errorf("serialport: %s: %d boards alike are plugged in elsewhere: %w; choose one from the list", o.port, len(alike), acquire.ErrUnplugged)
	}
	return fmt.Errorf("serialport: %s: the board (USB %s) is on no port: %w; plug it in", o.port, o.usb, acquire.ErrUnplugged)
}
