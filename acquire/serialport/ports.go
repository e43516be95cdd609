package serialport

import "sort"

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
