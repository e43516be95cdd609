//go:build darwin && !cgo

package serialport

import (
	"fmt"

	"go.bug.st/serial"
)

// ports lists names only: the USB descriptions need cgo on this system.
func ports() ([]Port, error) {
	found, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("serialport: cannot list ports: %w", err)
	}
	var list []Port
	for _, name := range found {
		list = append(list, Port{Name: name})
	}
	sortPorts(list)
	return list, nil
}
