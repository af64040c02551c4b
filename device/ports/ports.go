package ports

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"strings"

	"lobescribe/device/address"
	"lobescribe/device/port"
)

// Port is a serial port of this computer.
type Port struct {
	// Name is what to open: /dev/ttyUSB0, COM3.
	Name string `json:"name"`
	// USB is its identity; empty for a port that is built in.
	USB          address.USBIdentity `json:"usb,omitzero"`
	Manufacturer string              `json:"manufacturer,omitempty"`
	Product      string              `json:"product,omitempty"`
	// ByID and ByPath are lasting names, where the system has them: by what
	// it is, and by which socket it is plugged into.
	ByID   string `json:"by_id,omitempty"`
	ByPath string `json:"by_path,omitempty"`
	// Holder is the other program that has it open, if one was seen.
	Holder string `json:"holder,omitempty"`
	// Usable tells whether it could be opened now; Hint is what to do if not.
	// Nothing was opened to find out.
	Usable bool   `json:"usable"`
	Hint   string `json:"hint,omitempty"`
}

// Address returns the address by which the port is best found again: by its
// identity if that has a serial number, by the socket it sits in otherwise,
// since converters of one make are all alike.
func (p Port) Address() address.Address {
	switch {
	case p.USB.Vendor != "" && p.USB.Serial != "":
		return address.Address{Kind: address.USB, USB: p.USB}
	case p.ByPath != "":
		return address.Address{Kind: address.Serial, Port: p.ByPath}
	}
	return address.Address{Kind: address.Serial, Port: p.Name}
}

// List lists the serial ports. It opens none of them.
func List(ctx context.Context) ([]Port, error) {
	ports, err := listPorts(ctx)
	if err != nil {
		return nil, fmt.Errorf("list the serial ports: %w", err)
	}
	slices.SortFunc(ports, func(a, b Port) int { return compareNames(a.Name, b.Name) })
	return ports, nil
}

// compareNames puts ttyUSB2 before ttyUSB10.
func compareNames(a, b string) int {
	ta, tb := strings.TrimRight(a, "0123456789"), strings.TrimRight(b, "0123456789")
	if c := strings.Compare(ta, tb); c != 0 {
		return c
	}
	if c := len(a) - len(b); c != 0 {
		return c
	}
	return strings.Compare(a, b)
}

// FindUSB returns the port of a USB identity.
func FindUSB(ctx context.Context, want address.USBIdentity) (string, error) {
	ports, err := List(ctx)
	if err != nil {
		return "", err
	}
	return pickUSB(ports, want)
}

func pickUSB(ports []Port, want address.USBIdentity) (string, error) {
	var fit, seen []string
	for _, p := range ports {
		if p.USB.Vendor == "" {
			continue
		}
		seen = append(seen, p.USB.String())
		if strings.EqualFold(p.USB.Vendor, want.Vendor) && strings.EqualFold(p.USB.Product, want.Product) &&
			(want.Serial == "" || p.USB.Serial == want.Serial) {
			fit = append(fit, p.Name)
		}
	}
	switch len(fit) {
	case 1:
		return fit[0], nil
	case 0:
		hint := "is it plugged in? there is no USB serial port now"
		if len(seen) > 0 {
			hint = "is it plugged in? there are now " + strings.Join(seen, ", ")
		}
		return "", &port.OpenError{Port: "usb:" + want.String(), Cause: port.ErrNotFound, Hint: hint}
	}
	return "", &port.OpenError{Port: "usb:" + want.String(), Cause: fmt.Errorf("%d ports have this identity (%s)", len(fit), strings.Join(fit, ", ")),
		Hint: "name one by its serial number, or by the socket it sits in: serial:/dev/serial/by-path/..."}
}

// Pseudo reports whether name is a pseudo-tty: it is held open by whoever made
// it and has no modem lines.
func Pseudo(name string) bool {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		name = real // a stable name may stand for it
	}
	return strings.HasPrefix(name, "/dev/pts/") || strings.HasPrefix(name, "/dev/ttys0") && runtime.GOOS == "darwin"
}
