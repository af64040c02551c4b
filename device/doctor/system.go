package doctor

import (
	"context"
	"fmt"
	"strings"

	"lobescribe/device/address"
	"lobescribe/device/ports"
)

// Ports names what stands in the way of opening the serial ports of this
// computer, whether or not one of them is in use.
func Ports(ctx context.Context) ([]Finding, error) {
	ports, err := ports.List(ctx)
	if err != nil {
		return nil, err
	}
	return findPorts(ports, systemAt("/")), nil
}

// daemons are the programs known to take ports.
var daemons = []daemon{
	{program: "ModemManager", says: "a daemon that looks for modems talks to every new port for some ten seconds",
		ignored: "ID_MM_DEVICE_IGNORE",
		do: func(p ports.Port) string {
			return fmt.Sprintf(`tell it to leave the converter alone: put ATTRS{idVendor}=="%s", ATTRS{idProduct}=="%s", ENV{ID_MM_DEVICE_IGNORE}="1" into /etc/udev/rules.d/99-lobescribe.rules, then unplug it and plug it in again`,
				strings.ToLower(p.USB.Vendor), strings.ToLower(p.USB.Product))
		}},
	{program: "brltty", says: "a daemon for braille displays claims converters of this make, and the port vanishes",
		rules: "brltty",
		do: func(ports.Port) string {
			return "if nobody needs a braille display here: sudo systemctl mask brltty-udev.service, then unplug the converter and plug it in again"
		}},
}

type daemon struct {
	program string
	says    string
	ignored string // the property of a port that it leaves alone
	rules   string // part of the name of its udev rules, which list what it claims
	do      func(ports.Port) string
}

// system is what can be learnt about the computer beside its ports.
type system interface {
	// running reports whether a program of that name runs.
	running(program string) bool
	// property reads a property that udev keeps of a port.
	property(port, name string) string
	// claimed reports whether a udev rules file of that name lists a USB
	// identity.
	claimed(rules string, id address.USBIdentity) bool
}

func findPorts(ports []ports.Port, s system) (all []Finding) {
	for _, p := range ports {
		if !p.Usable {
			kind := Permission
			if p.Holder != "" {
				kind = Busy
			}
			all = append(all, Finding{kind, p.Name, "the port cannot be opened now", p.Hint})
		}
		if p.USB.Vendor == "" {
			continue
		}
		for _, d := range daemons {
			if d.takes(p, s) {
				all = append(all, Finding{Thief, p.Name, fmt.Sprintf("%s (%s)", d.says, d.program), d.do(p)})
			}
		}
	}
	return all
}

func (d daemon) takes(p ports.Port, s system) bool {
	if d.rules != "" && s.claimed(d.rules, p.USB) {
		return true
	}
	if d.ignored == "" {
		return false
	}
	return s.running(d.program) && s.property(p.Name, d.ignored) != "1"
}
