package door_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/dashboard/door"
	"lobescribe/device/address"
)

// mayOpen reads an address, and says whether a page may name it.
func mayOpen(text string, known []address.Address) error {
	a, err := address.Parse(text)
	if err != nil {
		return err
	}
	return door.MayOpen(a, known)
}

func TestMayOpen(t *testing.T) {
	known := []address.Address{{Kind: address.Serial, Port: "/dev/oddly-named", Baud: 9600}, {Kind: address.Serial, Port: "/dev/rfcomm0"},
		{Kind: address.Serial, Port: "/dev/pts/7"}} // the simulator's
	for _, good := range []string{
		"serial:/dev/ttyUSB0", "serial:/dev/ttyUSB0?baud=9600&format=auto", "serial:/dev/ttyACM12",
		"serial:/dev/serial/by-id/usb-Maker_Bridge-1a2b-if00-port0", "serial:/dev/serial/by-path/pci-0000:00:14.0-usb-0:2:1.0-port0",
		"serial:/dev/cu.usbserial-1420", "serial:/dev/pts/7", "serial:/dev/ttymxc2", "serial:COM3", "serial:COM12?unit=mm", "serial:/dev/ttyUSB0?format=modbus",
		"serial:/dev/oddly-named", "serial:/dev/oddly-named?unit=in", "serial:/dev/rfcomm0",
		"usb:0403:6001", "usb:0403:6001:A50285BI?unit=in",
		"tcp://127.0.0.1:4001", "tcp://localhost:4001?format=auto", "tcp://[::1]:4001", "tcp://192.168.1.20:2000", "tcp://10.1.2.3:9999", `serial:COM3?poll=?\r`, "serial:COM3?poll=%3F%0D%0A",
	} {
		assert.NoError(t, mayOpen(good, known), good)
	}
	for _, bad := range []string{
		"", "ttyUSB0", "serial:", "serial:/etc/passwd", "serial:/dev/sda", "serial:/dev/mem", "serial:/dev/../etc/passwd", "serial:/dev/tty",
		"serial:/dev/tty/../sda1", "serial:/dev/ttyUSB0/../../etc/shadow0", "serial:/dev/serial/by-id/../../../etc/passwd", "serial:/dev/serial/by-id/..",
		"serial:/dev/pts/../sda1", `serial:\\.\PhysicalDrive0`, `serial:\\server\share`, "serial:COM", "serial:COM3:", "serial:/dev/ttyUSB0\x00",
		"serial:/dev/pts/5", "serial:/dev/ttys003", "serial:/dev/ttyp0", "serial:/dev/tty1", "serial:/dev/tty0", "serial:/dev/console", "serial:/dev/ptmx",
		"serial:/proc/self/fd/3", "serial:/home/user/.ssh/id_rsa",
		"usb:xxxx:6001", "usb:0403", "usb:0403:6001:../../x",
		"file:///etc/passwd", "http://127.0.0.1:8080", "unix:/run/docker.sock", "exec:id",
		"tcp://127.0.0.1:22", "tcp://127.0.0.1:0", "tcp://127.0.0.1:99999", "tcp://127.0.0.1", "tcp://127.0.0.1:-1",
		"tcp://example.com:4001", "tcp://8.8.8.8:4001", "tcp://169.254.169.254:8080", "tcp://0.0.0.0:4001", "tcp://[2001:db8::1]:4001",
		"tcp://[::ffff:8.8.8.8]:4001", "tcp://user@127.0.0.1:4001", "tcp://127.0.0.1:4001/path", "tcp://2130706433:4001", "tcp://::1:4001",
		"tcp://[127.0.0.1:4001", "tcp://224.0.0.1:4001",
		"tcp://127.0.0.1:6379?poll=FLUSHALL%0D%0A", "tcp://127.0.0.1:6379?format=auto&%70oll=FLUSHALL", "tcp://127.0.0.1:6379?%20Poll=x", "rfc2217://127.0.0.1:4002",
		"tcp://127.0.0.1:6379?format=modbus", "tcp://127.0.0.1:6379?Format=%6Dodbus&type=f32", "tcp://127.0.0.1:6379?format=auto&format=%20MODBUS",
		"serial:%2Fetc%2Fpasswd", `serial:/dev/ttyUSB0\..\x`,
		"serial:/dev/ttyUSB0?poll=%03", "serial:/dev/ttyUSB0?poll=%1b[2J", "serial:/dev/ttyUSB0?poll=%00x", "serial:/dev/ttyUSB0?poll=%7f", "serial:/dev/ttyUSB0?poll=%c2%9b1",
		"serial:/dev/ttyUSB0?poll=GET%20/admin%20HTTP/1.0%0D%0A", "serial:/dev/ttyUSB0?x=%zz",
	} {
		assert.Error(t, mayOpen(bad, known), bad)
	}
}

// The system's console is nobody's port, whatever it is called and although it is
// among the ports.
func TestAConsoleIsNoPort(t *testing.T) {
	text, err := os.ReadFile("/sys/class/tty/console/active")
	names := strings.Fields(string(text))
	if err != nil || len(names) == 0 {
		t.Skip("this system tells of no console")
	}
	for _, name := range names {
		port := address.Address{Kind: address.Serial, Port: "/dev/" + name}
		assert.ErrorContains(t, door.MayOpen(port, []address.Address{port}), "console", name)
	}
}

func FuzzMayOpen(f *testing.F) {
	f.Add("serial:/dev/ttyUSB0?baud=9600")
	f.Add("tcp://[::1]:4001")
	f.Add("usb:0403:6001:A1")
	f.Add("serial:/dev/../etc/passwd")
	f.Fuzz(func(t *testing.T, address string) {
		err := mayOpen(address, nil)
		if err == nil {
			assert.NotContains(t, address[:indexOrEnd(address, '?')], "/..")
		} else {
			assert.NotEmpty(t, err.Error())
		}
	})
}

func indexOrEnd(s string, c byte) int {
	for i := range len(s) {
		if s[i] == c {
			return i
		}
	}
	return len(s)
}
