//go:build unix

package door_test

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/dashboard/door"
)

func TestAKeyThatOthersMayReadIsRefused(t *testing.T) {
	file := filepath.Join(t.TempDir(), "lan.key")
	first, _, err := door.KeptKey(file, false)
	require.NoError(t, err)
	for _, mode := range []os.FileMode{0o640, 0o604, 0o644, 0o660} {
		require.NoError(t, os.Chmod(file, mode))
		_, _, err = door.KeptKey(file, false)
		assert.ErrorContains(t, err, "key --new", "%o", mode)
		assert.NotContains(t, err.Error(), first.Reveal())
	}
	renewed, made, err := door.KeptKey(file, true)
	require.NoError(t, err)
	assert.True(t, made)
	again, made, err := door.KeptKey(file, false)
	require.NoError(t, err)
	assert.False(t, made)
	assert.Equal(t, renewed, again)
	assert.NotEqual(t, first, again)
}
