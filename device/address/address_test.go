package address

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func TestParseAddress(t *testing.T) {
	for _, c := range []struct {
		text  string
		want  Address
		again string // String(); "" if it is text
	}{
		{"serial:/dev/ttyUSB0", Address{Kind: Serial, Port: "/dev/ttyUSB0"}, ""},
		{"serial:/dev/ttyUSB0?baud=9600&format=auto", Address{Kind: Serial, Port: "/dev/ttyUSB0", Baud: 9600}, "serial:/dev/ttyUSB0?baud=9600"},
		{"serial:COM13?baud=4800&bits=7&parity=even&stop=2", Address{Kind: Serial, Port: "COM13", Baud: 4800, Bits: 7, Parity: 'E', Stop: "2"}, "serial:COM13?baud=4800&bits=7&parity=E&stop=2"},
		{"SERIAL:/dev/ttyUSB0?PARITY=e", Address{Kind: Serial, Port: "/dev/ttyUSB0", Parity: 'E'}, "serial:/dev/ttyUSB0?parity=E"},
		{"usb:0403:6001", Address{Kind: USB, USB: USBIdentity{Vendor: "0403", Product: "6001"}}, ""},
		{"usb:1a86:7523:5&%3F", Address{Kind: USB, USB: USBIdentity{Vendor: "1A86", Product: "7523", Serial: "5&?"}}, "usb:1A86:7523:5&%3F"},
		{"tcp://127.0.0.1:4001", Address{Kind: TCP, Host: "127.0.0.1:4001"}, ""},
		{"tcp://[::1]:4001/?unit=in", Address{Kind: TCP, Host: "[::1]:4001", Unit: measure.InInches}, "tcp://[::1]:4001?unit=in"},
		{"rfc2217://box:23?baud=19200", Address{Kind: RFC2217, Host: "box:23", Baud: 19200}, ""},
		{`serial:/dev/ttyACM0?poll=?\r&rate=25`, Address{Kind: Serial, Port: "/dev/ttyACM0", Poll: "?\r", Rate: 25}, "serial:/dev/ttyACM0?poll=?%0D&rate=25"},
		{"serial:/dev/ttyACM0?poll=+%26", Address{Kind: Serial, Port: "/dev/ttyACM0", Poll: "+&"}, ""},
		{"serial:/dev/ttyACM0?dtr=off&rts=on&invert=yes&delay=16", Address{Kind: Serial, Port: "/dev/ttyACM0", DTR: Off, RTS: On, Invert: true, Delay: 16 * measure.Millisecond}, "serial:/dev/ttyACM0?dtr=off&rts=on&delay=16ms&invert=yes"},
		{"serial:/dev/ttyACM0?scale=0.0005in", Address{Kind: Serial, Port: "/dev/ttyACM0", Scale: 12_700}, "serial:/dev/ttyACM0?scale=0.0127mm"},
		{"serial:x?delay=6us", Address{Kind: Serial, Port: "x", Delay: 6}, "serial:x?delay=6us"},
		{"serial:/dev/ttyACM0?unit=µm", Address{Kind: Serial, Port: "/dev/ttyACM0", Unit: measure.InMicrometres}, "serial:/dev/ttyACM0?unit=%C2%B5m"},
	} {
		got, err := Parse(c.text)
		require.NoError(t, err, c.text)
		assert.Equal(t, c.want, got, c.text)
		again := c.again
		if again == "" {
			again = c.text
		}
		assert.Equal(t, again, got.String())
	}
}

func TestParseAddressKeepsEncoderKeys(t *testing.T) {
	a, err := Parse("serial:/dev/ttyACM0?on=cam&counts=2400&offset=-12.5&baud=115200")
	require.NoError(t, err)
	assert.Equal(t, "2400", a.Value("counts"))
	assert.Equal(t, "cam", a.Value("on"))
	assert.Equal(t, "-12.5", a.Value("offset"))
	assert.Equal(t, "", a.Value("index"))
	assert.Equal(t, "serial:/dev/ttyACM0?baud=115200&counts=2400&offset=-12.5&on=cam", a.String())
}

func TestParseAddressSaysWhatIsWrong(t *testing.T) {
	for text, says := range map[string]string{
		"":                               "it is empty",
		"/dev/ttyUSB0":                   "write serial:/dev/ttyUSB0",
		"COM3":                           "write serial:COM3",
		"serail:/dev/ttyUSB0":            `did you mean "serial"?`,
		"http://box:80":                  "no kind of address",
		"serial:":                        "the name of the port is missing",
		"usb:403:6001":                   "four hexadecimal digits",
		"usb:0403":                       "four hexadecimal digits",
		"tcp:127.0.0.1:4001":             "write tcp://HOST:PORT",
		"tcp://127.0.0.1":                "write tcp://HOST:PORT",
		"tcp://127.0.0.1:0":              "write tcp://HOST:PORT",
		"tcp://127.0.0.1:99999":          "write tcp://HOST:PORT",
		"tcp://a b:4001":                 "write tcp://HOST:PORT",
		"serial:x?bawd=9600":             `did you mean "baud"?`,
		"serial:x?colour=red":            `"colour" is no key (allowed: baud`,
		"serial:x?baud=fast":             "not a whole number (allowed: a whole number from 50",
		"serial:x?baud=1":                "out of range",
		"serial:x?baud":                  "the value is missing",
		"serial:x?baud=9600&baud=4800":   "baud is said twice",
		"serial:x?parity=evn":            `did you mean "even"?`,
		"serial:x?stop=3":                "allowed: 1, 1.5 or 2",
		"serial:x?unit=furlong":          "furlong",
		"serial:x?rate=NaN":              "not a number",
		"serial:x?rate=1e9":              "out of range",
		"serial:x?delay=-3ms":            "out of range",
		"serial:x?delay=soon":            "not a time",
		"serial:x?invert=perhaps":        "neither yes nor no",
		"serial:x?dtr=maybe":             "neither on nor off",
		`serial:x?poll=\q`:               "stands for nothing",
		"serial:x?poll=%zz":              "invalid URL escape",
		"serial:x?scale=0.001":           "the unit is missing",
		"serial:x?scale=-1mm":            "more than nothing",
		"serial:x?on=crankshaft":         "allowed: crank or cam",
		"serial:x?counts=0":              "out of range",
		"serial:x?slave=0":               "out of range",
		"serial:/dev/tty\x00?baud=9600":  "the name of the port is missing",
		"serial:/dev/ttyUSB0?format=%ZZ": "invalid URL escape",
	} {
		_, err := Parse(text)
		require.Error(t, err, text)
		assert.ErrorContains(t, err, says, text)
	}
}

func TestLineDefaultsAndByteTime(t *testing.T) {
	a, err := Parse("serial:x")
	require.NoError(t, err)
	assert.Equal(t, "9600 8N1", a.Line().String())
	// A start bit, eight data bits and a stop bit: 960 characters a second.
	assert.Equal(t, time.Second/960, a.Line().ByteTime())
	for text, bits := range map[string]float64{"serial:x?bits=7&parity=E": 10, "serial:x?parity=E": 11, "serial:x?stop=2": 11, "serial:x?stop=1.5": 10.5} {
		a, err := Parse(text)
		require.NoError(t, err)
		assert.InDelta(t, bits/9600, a.Line().ByteTime().Seconds(), 1e-9, text)
	}
}

func TestRedacted(t *testing.T) {
	a, err := Parse("usb:0403:6001:A5069RR4?baud=9600")
	require.NoError(t, err)
	assert.Equal(t, "usb:0403:6001:XXXX?baud=9600", a.Redacted())
	a, err = Parse("tcp://bench.local:4001")
	require.NoError(t, err)
	assert.Equal(t, "tcp://host:4001", a.Redacted())
}

func TestAddressKeysAreAllAllowedAndDescribed(t *testing.T) {
	keys := Keys()
	require.NotEmpty(t, keys)
	for _, k := range keys {
		assert.NotEmpty(t, k.Says, k.Name)
		assert.NotEmpty(t, k.Allowed, k.Name)
	}
}

func FuzzParseAddress(f *testing.F) {
	for _, s := range []string{"serial:/dev/ttyUSB0?baud=9600&format=auto", "usb:0403:6001:A5069RR4?unit=in",
		"tcp://127.0.0.1:4001?delay=16ms&invert=yes", `serial:COM3?poll=%3F\r&counts=2400&on=cam`, "serial:%2Fx%3F?scale=0.0005in&rate=12.5", "rfc2217://[::1]:23"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		a, err := Parse(text)
		if err != nil {
			return
		}
		again, err := Parse(a.String())
		if err != nil {
			t.Fatalf("%q prints as %q, which is refused: %v", text, a.String(), err)
		}
		if again != a {
			t.Fatalf("%q prints as %q, which means %+v and not %+v", text, a.String(), again, a)
		}
	})
}
