package ports

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/port"
)

// tree makes files below a folder; a value "-> x" is a symbolic link.
func tree(t *testing.T, root string, files map[string]string) {
	t.Helper()
	for name, text := range files {
		full := filepath.Join(root, name)
		require.NoError(t, os.MkdirAll(filepath.Dir(full), 0o755))
		if to, ok := cutLink(text); ok {
			require.NoError(t, os.Symlink(to, full))
			continue
		}
		require.NoError(t, os.WriteFile(full, []byte(text), 0o644))
	}
}

func cutLink(text string) (string, bool) {
	if len(text) > 3 && text[:3] == "-> " {
		return text[3:], true
	}
	return "", false
}

// fakeSystem is a computer with two USB converters alike, a microcontroller
// board, one built-in port and three that are not there.
func fakeSystem(t *testing.T) (sys, dev string) {
	t.Helper()
	root := t.TempDir()
	root, err := filepath.EvalSymlinks(root)
	require.NoError(t, err)
	sys, dev = filepath.Join(root, "sys"), filepath.Join(root, "dev")
	usb := "devices/pci0/usb1/"
	tree(t, sys, map[string]string{
		usb + "1-1/idVendor": "1a86\n", usb + "1-1/idProduct": "7523\n", usb + "1-1/product": "USB Serial\n",
		usb + "1-1/1-1:1.0/ttyUSB0/x": "",
		usb + "1-2/idVendor":          "1a86\n", usb + "1-2/idProduct": "7523\n",
		usb + "1-2/1-2:1.0/ttyUSB10/x": "",
		usb + "1-3/idVendor":           "2341\n", usb + "1-3/idProduct": "0043\n", usb + "1-3/serial": "85736323\n", usb + "1-3/manufacturer": "Maker\n",
		usb + "1-3/1-3:1.0/x":        "",
		"devices/pnp0/x":             "",
		"class/tty/ttyUSB0/device":   "-> ../../../" + usb + "1-1/1-1:1.0/ttyUSB0",
		"class/tty/ttyUSB10/device":  "-> ../../../" + usb + "1-2/1-2:1.0/ttyUSB10",
		"class/tty/ttyACM0/device":   "-> ../../../" + usb + "1-3/1-3:1.0",
		"class/tty/ttyS0/device":     "-> ../../../devices/pnp0",
		"class/tty/ttyS0/type":       "4\n",
		"class/tty/ttyS1/device":     "-> ../../../devices/pnp0",
		"class/tty/ttyS1/type":       "0\n",
		"class/tty/console/active":   "",
		"class/tty/tty0/active":      "",
		"class/tty/ptmx/dev":         "5:2",
		"class/tty/ttyprintk/uevent": "",
	})
	tree(t, dev, map[string]string{
		"ttyUSB0": "", "ttyUSB10": "", "ttyACM0": "", "ttyS0": "",
		"serial/by-id/usb-Maker_85736323-if00":      "-> ../../ttyACM0",
		"serial/by-path/pci-0000-usb-0:1:1.0-port0": "-> ../../ttyUSB0",
		"serial/by-path/pci-0000-usb-0:2:1.0-port0": "-> ../../ttyUSB10",
		"serial/by-path/pci-0000-usb-0:3:1.0":       "-> ../../ttyACM0",
	})
	return sys, dev
}

func TestPortsAreReadFromTheSystem(t *testing.T) {
	sys, dev := fakeSystem(t)
	ports, err := portsIn(sys, dev)
	require.NoError(t, err)
	byName := map[string]Port{}
	for _, p := range ports {
		byName[filepath.Base(p.Name)] = p
	}
	require.Len(t, byName, 4, "ttyS1 has no hardware behind it, and the rest is no serial port")
	assert.Equal(t, address.USBIdentity{Vendor: "2341", Product: "0043", Serial: "85736323"}, byName["ttyACM0"].USB)
	assert.Equal(t, "Maker", byName["ttyACM0"].Manufacturer)
	assert.Equal(t, dev+"/serial/by-id/usb-Maker_85736323-if00", byName["ttyACM0"].ByID)
	assert.Equal(t, "usb:2341:0043:85736323", byName["ttyACM0"].Address().String(), "a serial number is the surest")
	assert.Equal(t, address.USBIdentity{Vendor: "1A86", Product: "7523"}, byName["ttyUSB0"].USB)
	assert.Equal(t, "serial:"+dev+"/serial/by-path/pci-0000-usb-0:1:1.0-port0", byName["ttyUSB0"].Address().String(),
		"converters that are all alike are told apart by the socket")
	assert.Equal(t, address.USBIdentity{}, byName["ttyS0"].USB)
	for _, p := range byName {
		assert.True(t, p.Usable, p.Name)
	}

	name, err := pickUSB(ports, address.USBIdentity{Vendor: "2341", Product: "0043"})
	require.NoError(t, err)
	assert.Equal(t, dev+"/ttyACM0", name)
	_, err = pickUSB(ports, address.USBIdentity{Vendor: "1a86", Product: "7523"})
	assert.ErrorContains(t, err, "2 ports have this identity")
	assert.ErrorContains(t, err, "by-path")
	_, err = pickUSB(ports, address.USBIdentity{Vendor: "0403", Product: "6001"})
	assert.ErrorIs(t, err, port.ErrNotFound)
	assert.ErrorContains(t, err, "there are now")
}

func TestPortsOfThisMachineCanBeListed(t *testing.T) {
	_, err := List(t.Context())
	assert.NoError(t, err)
}

func TestPortNamesInOrder(t *testing.T) {
	assert.Negative(t, compareNames("/dev/ttyUSB2", "/dev/ttyUSB10"))
	assert.Negative(t, compareNames("/dev/ttyACM9", "/dev/ttyUSB0"))
	assert.Zero(t, compareNames("COM3", "COM3"))
}

func TestPermissionHints(t *testing.T) {
	assert.Equal(t, "join group dialout: sudo usermod -aG dialout $USER, then log out and in", groupHint("dialout", 20, 0o660))
	assert.Contains(t, groupHint("root", 0, 0o600), "udev rule")
	assert.Contains(t, groupHint("dialout", 20, 0o600), "udev rule")
}
