//go:build darwin && !cgo

package ports

import (
	"context"
	"strings"

	"go.bug.st/serial"
)

// listPorts lists the names only: without cgo, macOS does not tell the USB
// identity. The cu name is the one that opens without waiting for a modem.
func listPorts(context.Context) ([]Port, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, err
	}
	var ports []Port
	for _, n := range names {
		if !strings.HasPrefix(n, "/dev/tty.") {
			ports = append(ports, Port{Name: n, Usable: true})
		}
	}
	return ports, nil
}
