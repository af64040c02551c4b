package port

import (
	"os"
	"testing"

	"github.com/creack/pty"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.bug.st/serial"
	"golang.org/x/sys/unix"
)

func openPty(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, slave, err := pty.Open()
	require.NoError(t, err)
	t.Cleanup(func() { master.Close(); slave.Close() })
	return master, slave
}

// A port that is let go of has the settings it had.
func TestSettingsArePutBack(t *testing.T) {
	_, slave := openPty(t)
	fd := int(slave.Fd())
	was, err := unix.IoctlGetTermios(fd, unix.TCGETS2)
	require.NoError(t, err)
	p, err := Open(slave.Name(), &serial.Mode{BaudRate: 2400, DataBits: 8}, true)
	require.NoError(t, err)
	used, err := unix.IoctlGetTermios(fd, unix.TCGETS2)
	require.NoError(t, err)
	assert.NotEqual(t, was.Lflag, used.Lflag, "it is set for the device meanwhile")
	require.NoError(t, p.Close())
	is, err := unix.IoctlGetTermios(fd, unix.TCGETS2)
	require.NoError(t, err)
	assert.Equal(t, was, is)
}

// Two daemons of root's, from whom the system keeps nothing, do not share a port.
func TestAPortIsOneDaemonsAlone(t *testing.T) {
	_, slave := openPty(t)
	mode := &serial.Mode{BaudRate: 9600, DataBits: 8}
	p, err := Open(slave.Name(), mode, true)
	require.NoError(t, err)
	_, err = Open(slave.Name(), mode, true)
	assert.Error(t, err)
	require.NoError(t, p.Close())
	p, err = Open(slave.Name(), mode, true)
	require.NoError(t, err, "once it is let go of")
	require.NoError(t, p.Close())
}
