//go:build linux || darwin || freebsd

package pages

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A page number with one wrong bit makes the database write terabytes behind
// the end: what was written there is found, and nobody reads what was not.
func TestLooseInAFileOfHoles(t *testing.T) {
	image := sample(t)
	path := filepath.Join(t.TempDir(), "db")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	defer file.Close()
	count := func(size int64) (loose, scanned int) {
		f, err := Open(file, size)
		require.NoError(t, err)
		f.Loose(func(Item) bool { loose++; return true })
		f.Scan([]byte("value 19"), 100, func([]byte) int { return 8 }, func([]byte, int64) { scanned++ })
		return loose, scanned
	}
	wasLoose, wasScanned := count(int64(len(image)))
	require.Positive(t, wasScanned)

	// The first leaf of all, again at a page far away.
	const far = uint64(1) << 30
	var leaf []byte
	for at := 0; at < len(image); at += 4096 {
		if native.Uint16(image[at+8:]) == kindLeaf && native.Uint32(image[at+12:]) == 0 && bytes.Contains(image[at:at+4096], []byte("value 19")) {
			leaf = bytes.Clone(image[at : at+4096])
			break
		}
	}
	require.NotNil(t, leaf)
	native.PutUint64(leaf, far)
	_, err = file.WriteAt(leaf, int64(far)*4096)
	if err != nil {
		t.Skip("this file system has no files so long:", err)
	}
	loose, scanned := count(int64(far+1) * 4096)
	assert.Equal(t, wasLoose+int(native.Uint16(leaf[10:])), loose)
	assert.Equal(t, wasScanned+bytes.Count(leaf, []byte("value 19")), scanned)
}

func TestFreeInside(t *testing.T) {
	image := sample(t)
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	require.NoError(t, FreeInside(bytes.NewReader(image), 4096))
	m := f.Metas()[0]
	list := image[m.Freelist*4096:]
	n := int(native.Uint16(list[10:]))
	require.Positive(t, n)
	native.PutUint64(list[16+(n-1)*8:], m.Pages)
	assert.ErrorContains(t, FreeInside(bytes.NewReader(image), 4096), "which there is not")
	native.PutUint64(list[16+(n-1)*8:], m.Pages-1)
	native.PutUint32(list[12:], 1<<20)
	assert.ErrorContains(t, FreeInside(bytes.NewReader(image), 4096), "not where it should be")
}
