//go:build !linux && (!darwin || cgo)

package ports

import (
	"context"
	"runtime"
	"strings"

	"go.bug.st/serial/enumerator"

	"lobescribe/device/address"
)

// listPorts asks the system. macOS lists each port twice; the cu name is the
// one that opens without waiting for a modem.
func listPorts(context.Context) ([]Port, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, err
	}
	var ports []Port
	for _, d := range details {
		if d.Name == "" || runtime.GOOS == "darwin" && strings.HasPrefix(d.Name, "/dev/tty.") {
			continue
		}
		p := Port{Name: d.Name, Usable: true, Product: d.Product, Manufacturer: d.Manufacturer}
		if d.IsUSB {
			p.USB = address.USBIdentity{Vendor: strings.ToUpper(d.VID), Product: strings.ToUpper(d.PID), Serial: d.SerialNumber}
		}
		ports = append(ports, p)
	}
	return ports, nil
}
