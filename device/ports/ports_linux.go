package ports

import (
	"context"
	"os"
	"path/filepath"
	"strings"

	"golang.org/x/sys/unix"

	"lobescribe/device/address"
)

// listPorts reads what the kernel tells of its ttys. The serial library's own
// list opens the built-in ports to see whether they are there; an open may
// reset a board, so it is not used here.
func listPorts(context.Context) ([]Port, error) { return portsIn("/sys", "/dev") }

func portsIn(sys, dev string) ([]Port, error) {
	class := filepath.Join(sys, "class/tty")
	ttys, err := os.ReadDir(class)
	if err != nil {
		return nil, err
	}
	byID, byPath := links(filepath.Join(dev, "serial/by-id")), links(filepath.Join(dev, "serial/by-path"))
	var ports []Port
	for _, tty := range ttys {
		device, err := filepath.EvalSymlinks(filepath.Join(class, tty.Name(), "device"))
		if err != nil {
			continue // a console or pseudo-tty: no hardware behind it
		}
		p := Port{Name: filepath.Join(dev, tty.Name())}
		usb := usbDevice(device, sys)
		if usb == "" && !hasUART(filepath.Join(class, tty.Name())) {
			continue
		}
		if usb != "" {
			p.USB = address.USBIdentity{Vendor: strings.ToUpper(attribute(usb, "idVendor")),
				Product: strings.ToUpper(attribute(usb, "idProduct")), Serial: attribute(usb, "serial")}
			p.Manufacturer, p.Product = attribute(usb, "manufacturer"), attribute(usb, "product")
		}
		p.ByID, p.ByPath = byID[p.Name], byPath[p.Name]
		p.Usable, p.Holder, p.Hint = usable(p.Name)
		ports = append(ports, p)
	}
	return ports, nil
}

// usbDevice walks up from a tty's device to the USB device it is part of.
func usbDevice(device, sys string) string {
	for d := device; strings.HasPrefix(d, sys) && len(d) > len(sys); d = filepath.Dir(d) {
		if attribute(d, "idVendor") != "" {
			return d
		}
	}
	return ""
}

// hasUART tells a real built-in port from the many that the kernel keeps ready.
func hasUART(tty string) bool {
	kind := attribute(tty, "type")
	return kind != "" && kind != "0"
}

func attribute(dir, name string) string {
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		return ""
	}
	return strings.TrimSpace(string(b))
}

// links returns the lasting names in dir by the port that they lead to.
func links(dir string) map[string]string {
	out := map[string]string{}
	entries, err := os.ReadDir(dir)
	if err != nil {
		return out
	}
	for _, e := range entries {
		name := filepath.Join(dir, e.Name())
		if to, err := filepath.EvalSymlinks(name); err == nil {
			out[to] = name
		}
	}
	return out
}

// usable tells from the rights and holders of a port whether it could be
// opened.
func usable(name string) (ok bool, holder, hint string) {
	if err := unix.Access(name, unix.R_OK|unix.W_OK); err != nil {
		if os.IsNotExist(err) {
			return false, "", "it has just gone"
		}
		return false, "", PermissionHint(name)
	}
	if holder, held := HolderOf(name); held {
		return false, holder, holder + " holds it; close that program"
	}
	return true, "", ""
}
