package textfile

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func TestWhatIsNoSmallFileIsRefused(t *testing.T) {
	dir := t.TempDir()
	small, large := filepath.Join(dir, "small"), filepath.Join(dir, "large")
	require.NoError(t, os.WriteFile(small, []byte("12345"), 0o600))
	require.NoError(t, os.WriteFile(large, nil, 0o600))
	require.NoError(t, os.Truncate(large, 5<<30)) // without a byte on the disk
	text, err := Read(small, 5)
	require.NoError(t, err)
	assert.Equal(t, "12345", string(text))
	_, err = Read(small, 4)
	assert.ErrorContains(t, err, "is larger than 4 bytes")
	_, err = Read(large, 1<<20)
	assert.ErrorContains(t, err, "is larger than 1048576 bytes")
	_, err = Read(filepath.Join(dir, "none"), 5)
	assert.ErrorIs(t, err, fs.ErrNotExist)
	_, err = Read(dir, 5)
	assert.Error(t, err)
}
