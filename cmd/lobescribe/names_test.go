package main

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/door"
	"lobescribe/device"
	"lobescribe/device/address"
)

// FuzzNamesAndAddresses holds what the door lets by against what the decoder of
// such an address then does. Whatever a page may name is a serial port by its name, a USB identity, or a
// place on the network that nothing is ever sent to.
func FuzzNamesAndAddresses(f *testing.F) {
	for _, s := range []string{"serial:/dev/ttyUSB0?baud=9600&format=auto", "serial:%2Fdev%2Fttyusb0?poll=%3F", "usb:0403:6001:A5069RR4?unit=in",
		"tcp://127.0.0.1:4001?delay=16ms", "tcp://[::1]:4001?poll=x", "TCP://10.0.0.1:9999?format=modbus", "tcp://127.0.0.1:4001?format=%6dodbus",
		"tcp://127.0.0.1:4001?a;poll=x", "rfc2217://[::1]:2300", "serial:/dev/serial/by-id/%2e%2e/x"} {
		f.Add(s)
	}
	port := regexp.MustCompile(`^(/dev/(tty|cu|serial/by-|pts/)[^\x00]*|(?i:COM)[0-9]+)$`)
	f.Fuzz(func(t *testing.T, text string) {
		a, err := address.Parse(text)
		if err != nil || door.MayOpen(a, nil) != nil {
			return
		}
		switch a.Kind {
		case address.Serial:
			assert.Regexp(t, port, a.Port)
			assert.NotContains(t, a.Port, "/../")
			assert.LessOrEqual(t, len(a.Poll), 16)
		case address.USB:
		case address.TCP:
			assert.Empty(t, a.Poll, "nothing is sent over the network")
			assert.NotEqual(t, "modbus", strings.ToLower(strings.TrimSpace(a.Format)))
			decoder, err := device.NewDecoder(a, device.DecoderOptions{})
			if err == nil {
				_, asks := decoder.(device.Asker)
				assert.False(t, asks, "nothing is sent over the network")
			}
		default:
			require.Fail(t, "this kind may not be named", "%q", text)
		}
	})
}
