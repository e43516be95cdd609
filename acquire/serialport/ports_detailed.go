//go:build !linux && (!darwin || cgo)

package serialport

import (
	"fmt"

	"go.bug.st/serial/enumerator"
)

func ports() ([]Port, error) {
	found, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("serialport: cannot list ports: %w", err)
	}
	var list []Port
	for _, d := range found {
		p := Port{Name: d.Name, USB: d.IsUSB, VID: d.VID, PID: d.PID, Serial: d.SerialNumber, Description: d.Product}
		if d.Manufacturer != "" {
			p.Description += ", " + d.Manufacturer
		}
		list = append(list, p)
	}
	sortPorts(list)
	return list, nil
}
