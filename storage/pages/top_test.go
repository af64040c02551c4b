package pages

import (
	"bytes"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Each bit of the page above the buckets, flipped: what the walk through all pages
// finds in it is found, and nothing else is.
func TestTopReads(t *testing.T) {
	for name, image := range map[string][]byte{"few buckets": sample(t), "pages of 1024": small(t)} {
		f, err := Open(bytes.NewReader(image), int64(len(image)))
		require.NoError(t, err)
		m := f.Metas()[0]
		require.NoError(t, TopReads(bytes.NewReader(image), m.PageSize))
		found, above, step := 0, 0, int64(1)
		if len(image) > 100_000 { // a walk through it takes a millisecond
			step = 13
		}
		for at := int64(m.Root) * m.PageSize; at < int64(m.Root+1)*m.PageSize && at < int64(len(image)); at += step {
			for bit := range 8 {
				hurt := bytes.Clone(image)
				hurt[at] ^= 1 << bit
				f, err := Open(bytes.NewReader(hurt), int64(len(hurt)))
				require.NoError(t, err)
				walked := false
				for _, h := range f.Walk(m, nil).Hurts {
					// A bucket that begins at another page is hurt there, and a page
					// that claims more than one is told by what it runs into.
					walked = walked || h.Page == m.Root && h.Why != "it is referred to twice" && h.Why != "it is in use and on the list of free pages"
				}
				top := TopReads(bytes.NewReader(hurt), m.PageSize)
				if top != nil {
					found++
				}
				if walked {
					above++
					require.Error(t, top, "%s: bit %d of byte %d: %v", name, bit, at, f.Walk(m, nil).Hurts)
				}
				if top != nil {
					require.NotEmpty(t, f.Walk(m, nil).Hurts, "%s: bit %d of byte %d: %v", name, bit, at, top)
				}
			}
		}
		t.Logf("%s: %d flips found, %d by the walk in this page", name, found, above)
		assert.Greater(t, found, 40)
	}
}
