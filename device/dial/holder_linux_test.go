package dial

import (
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/port"
	"lobescribe/device/ports"
)

// Another process holds the file open: it is named.
func TestTheHolderOfAPortIsNamed(t *testing.T) {
	name := filepath.Join(t.TempDir(), "port")
	require.NoError(t, os.WriteFile(name, nil, 0o600))
	_, held := ports.HolderOf(name)
	assert.False(t, held)
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	_, held = ports.HolderOf(name)
	assert.False(t, held, "we ourselves do not count")
	c := exec.Command("sleep", "60")
	c.Stdin = f
	require.NoError(t, c.Start())
	defer func() { c.Process.Kill(); c.Wait() }()
	holder, held := ports.HolderOf(name)
	require.True(t, held)
	assert.Contains(t, holder, "process")
	_, err = Port(name, address.Address{Kind: address.Serial, Port: name})
	assert.ErrorIs(t, err, port.ErrBusy, "a port that somebody reads is not opened")
	assert.ErrorContains(t, err, "close that program")
}
