package door

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"lobescribe/device"
	"lobescribe/device/address"
)

// A page names devices by address (serial:, tcp:, usb:), and an address names
// a file or a place on the network. Even somebody who is let in must not be
// able to make the daemon open any file, or talk to any service: that would
// lend the daemon's rights to whoever looks over a shoulder for the key. So a
// page may name what looks like a serial port, and a serial bridge on this machine
// or at a private address. A pseudo-terminal is somebody's session, and a console
// is the system's: of those it may name only what the daemon has already, such as
// its simulator's or what the command line named. The command line may name
// anything.

// portPaths are the places where systems keep serial ports.
var portPaths = []*regexp.Regexp{
	regexp.MustCompile(`^/dev/tty[A-Za-z][A-Za-z0-9._-]*[0-9]$`),       // Linux: ttyUSB0, ttyACM0, ttyS0, ttyAMA0
	regexp.MustCompile(`^/dev/(cu|tty)\.[A-Za-z0-9._-]+$`),             // macOS
	regexp.MustCompile(`^/dev/(cuaU|cuau|ttyU)[0-9]+$`),                // BSD
	regexp.MustCompile(`^/dev/serial/by-(id|path)/[A-Za-z0-9:._+-]+$`), // Linux, by identity or place
	regexp.MustCompile(`^(?i:COM)[0-9]{1,3}$`),                         // Windows
}

// notPorts are what else is named like one: the pseudo-terminals of macOS, and the
// old ones of BSD and Linux. Of a Linux console, tty1, the number alone tells.
var notPorts = regexp.MustCompile(`^/dev/(ttys[0-9]+|tty[p-za-e][0-9a-f])$`)

// activeConsoles is where Linux tells to which ports it writes as its console.
const activeConsoles = "/sys/class/tty/console/active"

// isConsole says whether the system writes its console's messages to a port.
func isConsole(name string) bool {
	text, err := os.ReadFile(activeConsoles)
	return err == nil && slices.Contains(strings.Fields(string(text)), strings.TrimPrefix(name, "/dev/"))
}

var usbSerial = regexp.MustCompile(`^[A-Za-z0-9._-]{0,64}$`)

// longestAddress is more than any port and its settings take.
const longestAddress = 512

// leastBridgePort keeps off the ports of the system's own services.
const leastBridgePort = 1024

// MayOpen tells whether a page may name this device. known are the addresses of
// the ports that this machine has been found to have; those are allowed whatever
// they look like. The error says what a page may name.
func MayOpen(a address.Address, known []address.Address) error {
	text := a.String()
	if len(text) > longestAddress {
		return fmt.Errorf("the address is longer than the %d letters that a page may write", longestAddress)
	}
	if err := maySend(a); err != nil {
		return err
	}
	switch a.Kind {
	case address.Serial:
		return maySerial(a.Port, known)
	case address.USB:
		if !usbSerial.MatchString(a.USB.Serial) {
			return fmt.Errorf("%q is not a USB identity that a page may name: a serial number has letters, digits, dots and dashes", a.USB)
		}
		return nil
	case address.TCP:
		return mayBridge(a.Host)
	}
	return fmt.Errorf("%q is not an address that a page may name: it should begin with serial:, usb: or tcp://; start the daemon with it on the command line for anything else", text)
}

func maySerial(name string, known []address.Address) error {
	if isConsole(name) {
		return fmt.Errorf("%q is the system's console; start the daemon with it on the command line if an instrument is there all the same", name)
	}
	if slices.ContainsFunc(known, func(k address.Address) bool { return k.Kind == address.Serial && k.Port == name }) {
		return nil
	}
	looks := func(p *regexp.Regexp) bool { return p.MatchString(name) }
	if strings.HasPrefix(name, "/") && path.Clean(name) != name || notPorts.MatchString(name) || !slices.ContainsFunc(portPaths, looks) {
		return fmt.Errorf("%q is not a serial port that this machine has; choose one from the list, or start the daemon with it on the command line", name)
	}
	return nil
}

// mayBridge allows a serial bridge on this machine or the local network, by
// number: a name could come to mean another machine between the look and the
// call.
func mayBridge(place string) error {
	refuse := fmt.Errorf("%q is not a serial bridge that a page may name: write tcp:// with a local address in numbers and a port from %d on, such as tcp://127.0.0.1:4001; start the daemon with it on the command line for anything else", place, leastBridgePort)
	host, port, err := net.SplitHostPort(place)
	n, bad := strconv.Atoi(port)
	if err != nil || bad != nil || n < leastBridgePort {
		return refuse
	}
	if host == "localhost" {
		return nil
	}
	ip, err := netip.ParseAddr(host)
	if err != nil {
		return refuse
	}
	ip = ip.Unmap()
	if !ip.IsLoopback() && !ip.IsPrivate() && !ip.IsLinkLocalUnicast() {
		return refuse
	}
	// The address at which cloud machines tell their secrets.
	if ip == netip.MustParseAddr("169.254.169.254") {
		return refuse
	}
	return nil
}

// longestPoll is the longest word with which an instrument is asked for a
// reading.
const longestPoll = 16

// maySend bounds what a page may have sent to a device. Over the network it is
// nothing: sixteen bytes are enough to do harm to a service that happens to
// listen there, and so is a frame of a bus.
func maySend(a address.Address) error {
	switch {
	case a.Kind != address.Serial && a.Kind != address.USB && device.Asks(a):
		return errors.New("a page may not have anything sent over the network: leave poll= out, or start the daemon with this address on the command line")
	case strings.ContainsFunc(a.Poll, func(c rune) bool { return c < ' ' && c != '\r' && c != '\n' || c == 0x7f || c > 0x7e }):
		return fmt.Errorf("poll=%q holds more than letters and the ends of lines, which is all that a page may have sent to an instrument", a.Poll)
	case len(a.Poll) > longestPoll:
		return fmt.Errorf("poll=%q is longer than the %d letters that a page may have sent to an instrument", a.Poll, longestPoll)
	}
	return nil
}
