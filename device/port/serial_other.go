//go:build !linux

package port

import (
	"go.bug.st/serial"
)

// Open opens a port; see serial_linux.go.
func Open(name string, mode *serial.Mode, _ bool) (serial.Port, error) {
	return serial.Open(name, mode)
}
