package dial

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/address"
	"lobescribe/device/port"
)

func TestThreeCausesThreeHints(t *testing.T) {
	dir := t.TempDir()
	_, err := Dial(t.Context(), address.Address{Kind: address.Serial, Port: filepath.Join(dir, "none")})
	assert.ErrorIs(t, err, port.ErrNotFound)
	assert.ErrorContains(t, err, "is it plugged in?")

	plain := filepath.Join(dir, "file")
	require.NoError(t, os.WriteFile(plain, []byte("x"), 0o600))
	_, err = Dial(t.Context(), address.Address{Kind: address.Serial, Port: plain})
	assert.ErrorContains(t, err, "this is no serial port")
	assert.False(t, errors.Is(err, port.ErrNotFound))

	// The system's refusal, as it comes from the open.
	err = openError(plain, address.Line{}, &os.PathError{Op: "open", Path: plain, Err: os.ErrPermission})
	if runtime.GOOS == "windows" {
		assert.ErrorIs(t, err, port.ErrBusy, "that is how a port is refused there that another program holds")
	} else {
		assert.ErrorIs(t, err, port.ErrPermission)
	}
	assert.ErrorIs(t, Busy(plain, ""), port.ErrBusy)

	// A port that nobody listens at. (Port 1 is reserved.)
	_, err = Dial(t.Context(), address.Address{Kind: address.TCP, Host: "127.0.0.1:1"})
	assert.ErrorIs(t, err, port.ErrNotFound)
	assert.ErrorContains(t, err, "is the bridge switched on")
}
