//go:build !linux

package device

import (
	"go.bug.st/serial"
)

// openSerial opens a port; see link_serial_linux.go.
func openSerial(name string, mode *serial.Mode, _ bool) (serial.Port, error) {
	return serial.Open(name, mode)
}
