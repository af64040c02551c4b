package address

import (
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
	"lobescribe/device/nearest"
)

// Kind says by what a device is reached.
type Kind uint8

// The kinds of address.
const (
	Serial  Kind = iota + 1 // a serial port by its name
	USB                     // a serial port by its USB identity
	TCP                     // raw bytes over a socket
	RFC2217                 // a serial port over telnet, with its line settings
)

// Address is where a device is and how it speaks, as text:
//
//	serial:/dev/ttyUSB0?baud=9600&format=auto     (Windows: serial:COM3?...)
//	usb:VVVV:PPPP[:SERIAL]?...                    by USB identity
//	tcp://127.0.0.1:4001?format=...               raw serial over the network
//	rfc2217://127.0.0.1:4002?baud=9600            serial over telnet
//
// What follows the question mark is listed at [Keys]. A reserved byte
// in a value is written as %XX, or as \r \n \t \\ in poll=. Addresses may be
// compared with ==.
type Address struct {
	Kind Kind
	// Port is the name of a serial port, Host a "host:port".
	Port, Host string
	// USB is the identity of a usb: address.
	USB USBIdentity

	// Baud is 0 when it was not said; [Address.Line] has the defaults.
	Baud int
	// Bits are 5 to 8, Parity is one of N E O M S, Stop is "1", "1.5" or "2";
	// zero values stand for 8, N and 1.
	Bits   int
	Parity byte
	Stop   string
	// DTR and RTS are what to set these lines to; by default they are left
	// alone.
	DTR, RTS Level

	// Format is the name of a line format; "" stands for "auto".
	Format string
	// Unit is the unit of numbers without one; AngleUnit that of an angle.
	Unit      measure.Unit
	AngleUnit lines.AngleUnit
	// Column is the number or the name of the column to take, and Separator what
	// parts columns; "" and 0 leave them to the finder.
	Column    string
	Separator byte
	// Scale is the length of one count, for a device that prints whole counts.
	Scale measure.Length
	// Poll is what to write to ask for a reading. Nothing is ever written to
	// a device without it (formats that speak by request apart).
	Poll string
	// Rate is how many readings a second to ask for, or to expect.
	Rate float64
	// Delay is how long before its arrival a reading was measured.
	Delay measure.Stamp
	// Invert turns the sign of the lift.
	Invert bool
	// Pedal is the line with a foot switch on it: "cts", "dsr" or "".
	Pedal string

	// more holds the keys of encoders and bus devices, in their encoded and
	// sorted form; [Address.Value] reads them.
	more string
}

// USBIdentity is what a USB converter says it is: vendor and product as four
// hexadecimal digits each, and a serial number, which many do not have.
type USBIdentity struct {
	Vendor, Product string
	Serial          string
}

// String prints the identity as it stands in an address: "VVVV:PPPP[:SERIAL]".
func (u USBIdentity) String() string {
	s := u.Vendor + ":" + u.Product
	if u.Serial != "" {
		s += ":" + url.PathEscape(u.Serial)
	}
	return s
}

// Level is what is asked of a modem line.
type Level uint8

// What can be asked of DTR and RTS.
const (
	AsIs Level = iota
	On
	Off
)

// Line is how bytes are put on a serial line.
type Line struct {
	Baud   int
	Bits   int
	Parity byte   // N E O M S
	Stop   string // "1" "1.5" "2"
}

// String prints the line as the trade does: "9600 8N1".
func (l Line) String() string { return fmt.Sprintf("%d %d%c%s", l.Baud, l.Bits, l.Parity, l.Stop) }

// ByteTime is how long a byte takes: start bit, data, parity and stop bits.
func (l Line) ByteTime() time.Duration {
	if l.Baud <= 0 {
		return 0
	}
	half := 2 + 2*l.Bits // in half bits, for the one and a half stop bits
	if l.Parity != 'N' {
		half += 2
	}
	switch l.Stop {
	case "2":
		half += 4
	case "1.5":
		half += 3
	default:
		half += 2
	}
	return time.Duration(half) * time.Second / time.Duration(2*l.Baud)
}

// Line returns the line settings with the defaults put in: 9600 8N1.
func (a Address) Line() Line {
	l := Line{Baud: a.Baud, Bits: a.Bits, Parity: a.Parity, Stop: a.Stop}
	if l.Baud == 0 {
		l.Baud = 9600
	}
	if l.Bits == 0 {
		l.Bits = 8
	}
	if l.Parity == 0 {
		l.Parity = 'N'
	}
	if l.Stop == "" {
		l.Stop = "1"
	}
	return l
}

// Value returns a key of an encoder or bus device; "" if it was not given.
func (a Address) Value(key string) string {
	for pair := range strings.SplitSeq(a.more, "&") {
		if k, v, _ := strings.Cut(pair, "="); k == key {
			v, _ = url.PathUnescape(v)
			return v
		}
	}
	return ""
}

// Parse reads the text of an address. The error says what is wrong with
// it and what is allowed.
func Parse(text string) (Address, error) {
	a, err := parse(strings.TrimSpace(text))
	if err != nil {
		return Address{}, fmt.Errorf("address %q: %w", text, err)
	}
	return a, nil
}

func parse(text string) (a Address, err error) {
	if text == "" {
		return a, fmt.Errorf("it is empty: write serial:PORT, usb:VVVV:PPPP or tcp://HOST:PORT")
	}
	rest, query, _ := strings.Cut(text, "?")
	scheme, where, ok := strings.Cut(rest, ":")
	if !ok {
		return a, notAnAddress(rest)
	}
	switch strings.ToLower(scheme) {
	case "serial":
		a.Kind = Serial
		if a.Port, err = url.PathUnescape(where); err != nil {
			return a, fmt.Errorf("the name of the port: %w", err)
		}
		// Blanks around it would be lost where the address is written down.
		if a.Port = strings.TrimSpace(a.Port); a.Port == "" || strings.ContainsAny(a.Port, "\x00\r\n") {
			return a, fmt.Errorf("the name of the port is missing, as in serial:/dev/ttyUSB0 or serial:COM3; `lobescribe ports` lists them")
		}
	case "usb":
		a.Kind = USB
		if a.USB, err = parseUSB(where); err != nil {
			return a, err
		}
	case "tcp", "rfc2217":
		a.Kind = TCP
		if strings.EqualFold(scheme, "rfc2217") {
			a.Kind = RFC2217
		}
		if a.Host, err = parseHost(strings.ToLower(scheme), where); err != nil {
			return a, err
		}
	default:
		return a, notAnAddress(rest)
	}
	return a, a.setKeys(query)
}

// notAnAddress guesses what was meant, because the commonest slip is to leave
// out "serial:".
func notAnAddress(text string) error {
	kinds := []string{"serial", "usb", "tcp", "rfc2217"}
	if strings.HasPrefix(text, "/dev/") || strings.HasPrefix(strings.ToUpper(text), "COM") {
		return fmt.Errorf("the kind is missing: write serial:%s", text)
	}
	scheme, _, _ := strings.Cut(text, ":")
	if near := nearest.Word(strings.ToLower(scheme), kinds); near != "" {
		return fmt.Errorf("%q is no kind of address: did you mean %q? (allowed: %s)", scheme, near, strings.Join(kinds, ", "))
	}
	return fmt.Errorf("%q is no kind of address (allowed: serial:PORT, usb:VVVV:PPPP, tcp://HOST:PORT, rfc2217://HOST:PORT)", scheme)
}

func parseUSB(text string) (USBIdentity, error) {
	parts := strings.SplitN(text, ":", 3)
	if len(parts) < 2 || !hex4(parts[0]) || !hex4(parts[1]) {
		return USBIdentity{}, fmt.Errorf("%q is no USB identity: write vendor and product as four hexadecimal digits each and, if there is one, the serial number, as in usb:0403:6001 or usb:0403:6001:A5069RR4; `lobescribe ports` shows them", text)
	}
	u := USBIdentity{Vendor: strings.ToUpper(parts[0]), Product: strings.ToUpper(parts[1])}
	if len(parts) == 3 {
		serial, err := url.PathUnescape(parts[2])
		if err != nil {
			return u, fmt.Errorf("the serial number: %w", err)
		}
		u.Serial = serial
	}
	return u, nil
}

func hex4(s string) bool {
	_, err := strconv.ParseUint(s, 16, 16)
	return err == nil && len(s) == 4
}

func parseHost(scheme, where string) (string, error) {
	hostport, ok := strings.CutPrefix(where, "//")
	hostport = strings.TrimSuffix(hostport, "/")
	host, port, err := net.SplitHostPort(hostport)
	if n, bad := strconv.ParseUint(port, 10, 16); !ok || err != nil || bad != nil || n == 0 || host == "" || strings.ContainsAny(host, "/@ %\x00\r\n") {
		return "", fmt.Errorf("%q: write %s://HOST:PORT, as in %s://192.168.1.20:4001", where, scheme, scheme)
	}
	return net.JoinHostPort(host, port), nil
}

// String prints the address so that [Parse] reads the same again.
func (a Address) String() string {
	var s string
	switch a.Kind {
	case Serial:
		s = "serial:" + strings.NewReplacer("%", "%25", "?", "%3F").Replace(a.Port)
	case USB:
		s = "usb:" + a.USB.String()
	case TCP:
		s = "tcp://" + a.Host
	case RFC2217:
		s = "rfc2217://" + a.Host
	default:
		return ""
	}
	if q := a.query(); q != "" {
		s += "?" + q
	}
	return s
}

// Redacted prints the address without what identifies a person's things: the
// serial number of the converter and the name of the host.
func (a Address) Redacted() string {
	if a.USB.Serial != "" {
		a.USB.Serial = "XXXX"
	}
	if _, port, err := net.SplitHostPort(a.Host); err == nil {
		a.Host = "host:" + port
	}
	return a.String()
}
