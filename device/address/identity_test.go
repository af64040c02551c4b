package address

import (
	"testing"
)

func TestIdentityOutlastsASession(t *testing.T) {
	id := func(text string) string {
		a, err := Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		return a.Identity()
	}
	if a, b := id("usb:0403:6001:A5069RR4?baud=9600&format=auto"), id("usb:0403:6001:A5069RR4?baud=4800&delay=12ms"); a != b {
		t.Errorf("%s and %s are one indicator", a, b)
	}
	for _, other := range []string{"usb:0403:6001:A5069RR5", "usb:0403:6001:A5069RR4?invert=true", "usb:0403:6001:A5069RR4?unit=in", "serial:/dev/ttyUSB0"} {
		if a, b := id("usb:0403:6001:A5069RR4"), id(other); a == b {
			t.Errorf("%s and %s have different readings", a, b)
		}
	}
}
