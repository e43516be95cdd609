package serialport

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// ports reads sysfs. The library's own list opens the on-board ports to see
// whether they exist; here the kernel's port type tells it.
func ports() ([]Port, error) { return portsIn("/sys/class/tty") }

func portsIn(class string) ([]Port, error) {
	entries, err := os.ReadDir(class)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("serialport: cannot list ports: %w", err)
	}
	var list []Port
	for _, e := range entries {
		dir := filepath.Join(class, e.Name())
		device, err := filepath.EvalSymlinks(filepath.Join(dir, "device"))
		if err != nil {
			continue // a console or pseudo-terminal
		}
		if t := attribute(dir, "type"); t == "0" {
			continue // PORT_UNKNOWN: no such chip
		}
		p := Port{Name: "/dev/" + e.Name()}
		for up, n := device, 0; n < 4 && up != "/"; up, n = filepath.Dir(up), n+1 {
			if vid := attribute(up, "idVendor"); vid != "" {
				p.USB, p.VID, p.PID, p.Serial = true, strings.ToUpper(vid), strings.ToUpper(attribute(up, "idProduct")), attribute(up, "serial")
				p.Description = strings.TrimSpace(attribute(up, "product") + ", " + attribute(up, "manufacturer"))
				p.Description = strings.Trim(p.Description, ", ")
				break
			}
		}
		list = append(list, p)
	}
	sortPorts(list)
	return list, nil
}

func attribute(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return printable([]byte(strings.TrimSpace(string(b))), maxTextBytes)
}
