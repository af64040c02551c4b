package doctor

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/measure"
)

func TestWhatLinuxTells(t *testing.T) {
	root := t.TempDir()
	for name, text := range map[string]string{
		"proc/17/comm":  "ModemManager\n",
		"proc/self/x":   "",
		"proc/18/comm":  "bash\n",
		"run/udev/data": "",
		"sys/bus/usb-serial/devices/ttyUSB0/latency_timer": "16\n",
		"sys/bus/usb-serial/devices/ttyUSB1/latency_timer": "soon\n",
		"usr/lib/udev/rules.d/85-brltty.rules": "# Device: 1A86:7523\n" +
			`ENV{PRODUCT}=="10c4/ea60/*", ATTRS{product}=="x", ENV{BRLTTY_BRAILLE_DRIVER}="al"` + "\n" +
			`ENV{PRODUCT}=="403/6001/*", ENV{BRLTTY_BRAILLE_DRIVER}="at"` + "\n",
	} {
		full := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(full), 0o755))
		if name == "run/udev/data" {
			require.NoError(t, os.MkdirAll(full, 0o755))
			continue
		}
		require.NoError(t, os.WriteFile(full, []byte(text), 0o644))
	}
	l := linux{root}
	assert.True(t, l.running("ModemManager"))
	assert.False(t, l.running("brltty"))
	assert.True(t, l.claimed("brltty", address.USBIdentity{Vendor: "10C4", Product: "EA60"}))
	assert.True(t, l.claimed("brltty", address.USBIdentity{Vendor: "0403", Product: "6001"}))
	assert.False(t, l.claimed("brltty", address.USBIdentity{Vendor: "1A86", Product: "7523"}), "only a comment speaks of it")
	assert.Equal(t, 16*measure.Millisecond, l.latencyTimer("/dev/ttyUSB0"))
	assert.Zero(t, l.latencyTimer("/dev/ttyUSB1"))
	assert.Zero(t, l.latencyTimer("/dev/ttyACM0"))

	// A port has its number from the system: /dev/null is c1:3 on any Linux.
	require.NoError(t, os.WriteFile(filepath.Join(root, "run/udev/data/c1:3"), []byte("I:1\nE:ID_MM_DEVICE_IGNORE=1\n"), 0o644))
	assert.Equal(t, "1", l.property("/dev/null", "ID_MM_DEVICE_IGNORE"))
	assert.Empty(t, l.property("/dev/zero", "ID_MM_DEVICE_IGNORE"))
	_, err := Ports(t.Context())
	assert.NoError(t, err)
}
