package door

import (
	"errors"
	"fmt"
	"net/netip"
	"net/url"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// A page names devices by address (serial:, tcp:, usb:), and an address names
// a file or a place on the network. Even somebody who is let in shall not be
// able to make the daemon open any file, or talk to any service: that would
// lend the daemon's rights to whoever looks over a shoulder for the key. So a
// page may name what looks like a serial port, and a serial bridge nearby.
// The command line may name anything.

// portPaths are the places where systems keep serial ports.
var portPaths = []*regexp.Regexp{
	regexp.MustCompile(`^/dev/tty[A-Za-z0-9._-]*[0-9]$`),               // Linux: ttyUSB0, ttyACM0, ttyS0, ttyAMA0
	regexp.MustCompile(`^/dev/(cu|tty)\.[A-Za-z0-9._-]+$`),             // macOS
	regexp.MustCompile(`^/dev/(cuaU|cuau|ttyU)[0-9]+$`),                // BSD
	regexp.MustCompile(`^/dev/serial/by-(id|path)/[A-Za-z0-9:._+-]+$`), // Linux, by identity or place
	regexp.MustCompile(`^/dev/pts/[0-9]+$`),                            // a pseudo-terminal, such as the simulator's
	regexp.MustCompile(`^(?i:COM)[0-9]{1,3}$`),                         // Windows
}

var usbAddress = regexp.MustCompile(`^[0-9A-Fa-f]{4}:[0-9A-Fa-f]{4}(:[A-Za-z0-9._-]{1,64})?$`)

// longestAddress is more than any port and its settings take.
const longestAddress = 512

// leastBridgePort keeps off the ports of the system's own services.
const leastBridgePort = 1024

// MayOpen tells whether a page may name this device. known are the addresses
// and names of ports that this machine has been found to have; those are
// allowed whatever they look like. The error says what a page may name.
func MayOpen(address string, known []string) error {
	if address == "" {
		return errors.New("the address of the device is missing")
	}
	if len(address) > longestAddress || strings.ContainsFunc(address, func(c rune) bool { return c < ' ' || c == 0x7f }) {
		return errors.New("this is not the address of a device: it is too long or has control characters in it")
	}
	where, settings, _ := strings.Cut(address, "?")
	scheme, rest, ok := strings.Cut(where, ":")
	if !ok {
		return fmt.Errorf("%q is not the address of a device: it should begin with serial:, usb: or tcp://", address)
	}
	if err := mayPoll(scheme, settings); err != nil {
		return err
	}
	switch scheme {
	case "serial":
		return maySerial(rest, where, known)
	case "usb":
		if !usbAddress.MatchString(rest) {
			return fmt.Errorf("%q is not a USB identity: write usb:VVVV:PPPP or usb:VVVV:PPPP:SERIAL", where)
		}
		return nil
	case "tcp":
		return mayBridge(strings.TrimPrefix(rest, "//"))
	}
	return fmt.Errorf("%q is not an address that a page may name: it should begin with serial:, usb: or tcp://; start the daemon with it on the command line for anything else", address)
}

func maySerial(name, where string, known []string) error {
	for _, k := range known {
		k, _, _ = strings.Cut(k, "?")
		if k != "" && (k == where || k == name || k == "serial:"+name) {
			return nil
		}
	}
	looks := func(p *regexp.Regexp) bool { return p.MatchString(name) }
	if strings.HasPrefix(name, "/") && path.Clean(name) != name || !slices.ContainsFunc(portPaths, looks) {
		return fmt.Errorf("%q is not a serial port that this machine has; choose one from the list, or start the daemon with it on the command line", name)
	}
	return nil
}

// mayBridge allows a serial bridge on this machine or the local network, by
// number: a name could come to mean another machine between the look and the
// call.
func mayBridge(place string) error {
	refuse := fmt.Errorf("%q is not a serial bridge that a page may name: write tcp:// with a local address in numbers and a port from %d on, such as tcp://127.0.0.1:4001; start the daemon with it on the command line for anything else", place, leastBridgePort)
	host, port, ok := cutPort(place)
	n, err := strconv.Atoi(port)
	if !ok || err != nil || n < leastBridgePort || n > 65535 {
		return refuse
	}
	if host == "localhost" {
		return nil
	}
	a, err := netip.ParseAddr(host)
	if err != nil {
		return refuse
	}
	a = a.Unmap()
	if !a.IsLoopback() && !a.IsPrivate() && !a.IsLinkLocalUnicast() {
		return refuse
	}
	// The address at which cloud machines tell their secrets.
	if a == netip.MustParseAddr("169.254.169.254") {
		return refuse
	}
	return nil
}

func cutPort(place string) (host, port string, ok bool) {
	i := strings.LastIndexByte(place, ':')
	if i < 0 {
		return "", "", false
	}
	host, port = place[:i], place[i+1:]
	if strings.HasPrefix(host, "[") != strings.HasSuffix(host, "]") {
		return "", "", false
	}
	bracketed := strings.HasPrefix(host, "[")
	host = strings.TrimSuffix(strings.TrimPrefix(host, "["), "]")
	if strings.Contains(host, ":") != bracketed {
		return "", "", false
	}
	return host, port, true
}

// longestPoll is the longest word with which an instrument is asked for a
// reading.
const longestPoll = 16

// mayPoll bounds what a page may have sent to a device. Over the network it is
// nothing: sixteen bytes are enough to do harm to a service that happens to
// listen there. Registers of a bus are asked for in frames of our own making, so
// over the network those are refused as well.
func mayPoll(scheme, settings string) error {
	q, err := url.ParseQuery(settings)
	if err != nil {
		return errors.New("what stands behind the ? of the address does not read: write name=value, with & between")
	}
	for name, values := range q {
		name = strings.TrimSpace(name)
		if scheme == "tcp" && strings.EqualFold(name, "format") && slices.ContainsFunc(values, isAsking) {
			return errors.New("a page may not have anything sent over the network, and format=modbus asks for every reading: start the daemon with this address on the command line")
		}
		if !strings.EqualFold(name, "poll") {
			continue
		}
		for _, word := range values {
			switch {
			case scheme == "tcp" && word != "":
				return errors.New("a page may not have anything sent over the network: leave poll= out, or start the daemon with this address on the command line")
			case strings.ContainsFunc(word, func(c rune) bool { return c < ' ' && c != '\r' && c != '\n' || c == 0x7f || c > 0x7e }):
				return fmt.Errorf("poll=%q holds more than letters and the ends of lines, which is all that a page may have sent to an instrument", word)
			case len(word) > longestPoll:
				return fmt.Errorf("poll=%q is longer than the %d letters that a page may have sent to an instrument", word, longestPoll)
			}
		}
	}
	return nil
}

// isAsking tells whether a format's device speaks only when it is asked.
func isAsking(format string) bool { return strings.EqualFold(strings.TrimSpace(format), "modbus") }
