package pages

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

// sample makes a file of three buckets (one inline, one with branches, one
// with values over several pages), with free pages in between.
func sample(t testing.TB) []byte {
	t.Helper()
	path := filepath.Join(t.TempDir(), "db")
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{PageSize: 4096})
	require.NoError(t, err)
	for round := range 3 {
		require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
			small, err := tx.CreateBucketIfNotExists([]byte("small"))
			require.NoError(t, err)
			require.NoError(t, small.SetSequence(42))
			require.NoError(t, small.Put([]byte("k"), []byte("v")))
			many, err := tx.CreateBucketIfNotExists([]byte("many"))
			require.NoError(t, err)
			for i := range 2000 {
				require.NoError(t, many.Put(fmt.Appendf(nil, "%06d", i), fmt.Appendf(nil, "value %d", i)))
			}
			large, err := tx.CreateBucketIfNotExists([]byte("large"))
			require.NoError(t, err)
			for i := range 10 {
				require.NoError(t, large.Put(fmt.Appendf(nil, "%02d", i), bytes.Repeat([]byte{byte(i)}, 3000*i+round)))
			}
			return nil
		}))
	}
	require.NoError(t, db.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return b
}

// contents is everything that bbolt finds.
func contents(t testing.TB, image []byte) map[string]string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "db")
	require.NoError(t, os.WriteFile(path, image, 0o600))
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true})
	require.NoError(t, err)
	defer db.Close()
	out := map[string]string{}
	require.NoError(t, db.View(func(tx *bbolt.Tx) error {
		return tx.ForEach(func(name []byte, b *bbolt.Bucket) error {
			return b.ForEach(func(k, v []byte) error {
				out[string(name)+"/"+string(k)] = string(v)
				return nil
			})
		})
	}))
	return out
}

func walked(t testing.TB, image []byte) (map[string]string, *Walk) {
	t.Helper()
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	out := map[string]string{}
	w := f.Walk(f.Metas()[0], func(it Item) bool {
		if it.Key != nil {
			v, err := f.Value(it)
			require.NoError(t, err)
			out[it.Bucket+"/"+string(it.Key)] = string(v)
		} else if it.Bucket == "small" {
			assert.EqualValues(t, 42, it.Sequence)
		}
		return true
	})
	return out, w
}

func TestWalkFindsWhatTheDatabaseFinds(t *testing.T) {
	image := sample(t)
	got, w := walked(t, image)
	require.Empty(t, w.Hurts)
	assert.Equal(t, contents(t, image), got)
	assert.Positive(t, w.Free)
	assert.Zero(t, w.Idle)
}

func TestLooseFindsEverythingWithoutTheTree(t *testing.T) {
	image := sample(t)
	clear(image[:2*4096]) // both metas
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.ErrorIs(t, err, ErrNoMeta)
	found := map[string]bool{}
	f.Loose(func(it Item) bool {
		v, err := f.Value(it)
		require.NoError(t, err)
		found[string(it.Key)+"="+string(v)] = true
		return true
	})
	for i := range 2000 {
		require.True(t, found[fmt.Sprintf("%06d=value %d", i, i)], i)
	}
	assert.True(t, found["k=v"], "the small bucket inside the root")
}

func TestOlderMetaWhenTheNewerIsTorn(t *testing.T) {
	image := sample(t)
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	require.Len(t, f.Metas(), 2)
	newest := f.Metas()[0]
	assert.Greater(t, newest.Tx, f.Metas()[1].Tx)
	at := int(newest.Tx%2) * 4096
	image[at+headBytes+50]++
	f, err = Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	require.Len(t, f.Metas(), 1)
	assert.Equal(t, newest.Tx-1, f.Metas()[0].Tx)
}

// An independent opinion: what this package calls whole after a bit was flipped
// in it, bbolt's own check must call whole. (What it calls hurt cannot be shown
// to bbolt, which would take the test down with it.)
func TestDamageThatTheDatabaseFindsIsFound(t *testing.T) {
	image := sample(t)
	rng := rand.New(rand.NewPCG(1, 2))
	asked, wrong := 0, 0
	for range 800 {
		hurt := bytes.Clone(image)
		page := 2 + rng.IntN(len(hurt)/4096-2)
		at := page*4096 + headBytes + rng.IntN(4096-headBytes)
		hurt[at] ^= 1 << rng.IntN(8)
		f, err := Open(bytes.NewReader(hurt), int64(len(hurt)))
		require.NoError(t, err)
		w := f.Walk(f.Metas()[0], nil)
		if len(w.Hurts) > 0 {
			wrong++
			continue
		}
		asked++
		if asked%4 != 0 {
			continue
		}
		// We say that the structure is whole: so must bbolt.
		path := filepath.Join(t.TempDir(), "db")
		require.NoError(t, os.WriteFile(path, hurt, 0o600))
		db, err := bbolt.Open(path, 0o600, &bbolt.Options{ReadOnly: true, PreLoadFreelist: true})
		require.NoError(t, err)
		require.NoError(t, db.View(func(tx *bbolt.Tx) error {
			var errs []error
			for err := range tx.Check() {
				errs = append(errs, err)
			}
			if err := errors.Join(errs...); err != nil && w.Idle == 0 {
				return err
			}
			return nil
		}), "bit at %d", at)
		require.NoError(t, db.Close())
	}
	assert.Positive(t, wrong)
	assert.Positive(t, asked)
}

// A length or a count that is wrong but leaves every key in order and inside its
// page, which bbolt's own check lets pass: a row is then found under no key that
// anybody asks for.
func TestWrongLengthsAndCountsAreFound(t *testing.T) {
	image := sample(t)
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	hurts := func(at int64, value byte) []*Hurt {
		hurt := bytes.Clone(image)
		require.NotEqual(t, value, hurt[at])
		hurt[at] = value
		f, err := Open(bytes.NewReader(hurt), int64(len(hurt)))
		require.NoError(t, err)
		return f.Walk(f.Metas()[0], nil).Hurts
	}
	leaves := map[int64]bool{}
	f.Walk(f.Metas()[0], func(it Item) bool {
		if at := it.Offset / 4096 * 4096; it.Bucket == "many" && it.Key != nil && native.Uint16(image[at+8:]) == kindLeaf {
			leaves[at] = true
		}
		return true
	})
	require.Greater(t, len(leaves), 5)
	for at := range leaves {
		count := native.Uint16(image[at+10:])
		require.Greater(t, count, uint16(2))
		require.NotEmpty(t, hurts(at+10, byte(count-1)), "an entry fewer")
		for entry := int64(0); entry < int64(count)-1; entry += 7 {
			head := at + headBytes + entry*elemBytes
			keySize, valueSize := image[head+8], image[head+12]
			require.NotEmpty(t, hurts(head+8, keySize+1), "a longer key")
			require.NotEmpty(t, hurts(head+8, keySize-1), "a shorter key")
			require.NotEmpty(t, hurts(head+12, valueSize+1), "a longer value")
			require.NotEmpty(t, hurts(head+4, image[head+4]+1), "a key that begins later")
		}
	}
}

func TestEveryCutIsFound(t *testing.T) {
	image := sample(t)
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	inUse := int(f.Metas()[0].Pages) * 4096
	for n := 2 * 4096; n < inUse; n += 777 {
		f, err := Open(bytes.NewReader(image[:n]), int64(n))
		require.NoError(t, err)
		require.NotEmpty(t, f.Walk(f.Metas()[0], nil).Hurts, "cut at %d", n)
	}
}

// FuzzWalk throws any bytes at the reader, with the checksums of the metas put
// right so that the fuzzer gets past them.
func FuzzWalk(f *testing.F) {
	if seeds, err := filepath.Glob("testdata/fuzz/FuzzWalk/*"); err != nil || len(seeds) == 0 {
		f.Fatalf("the committed corpus is missing: %v", err)
	}
	f.Add(small(f))
	f.Fuzz(func(t *testing.T, image []byte) {
		image = bytes.Clone(image)
		reseal(image)
		file, err := Open(bytes.NewReader(image), int64(len(image)))
		n := 0
		count := func(it Item) bool {
			n++
			if it.Size > 0 {
				if _, err := file.Value(it); err != nil && it.Offset+int64(it.Size) <= int64(len(image)) {
					t.Fatal(err)
				}
			}
			return n < 10_000
		}
		if err == nil {
			for _, m := range file.Metas() {
				file.Walk(m, count)
			}
		}
		file.Loose(count)
	})
}

// small is a file of few small pages, which a fuzzer can turn over quickly.
func small(t testing.TB) []byte {
	path := filepath.Join(t.TempDir(), "db")
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{PageSize: 1024})
	require.NoError(t, err)
	db.AllocSize = 1024
	require.NoError(t, db.Update(func(tx *bbolt.Tx) error {
		b, err := tx.CreateBucket([]byte("b"))
		require.NoError(t, err)
		for i := range 60 {
			require.NoError(t, b.Put(fmt.Appendf(nil, "key %03d", i), []byte("a value of some length")))
		}
		_, err = tx.CreateBucket([]byte("inline"))
		return err
	}))
	require.NoError(t, db.Close())
	b, err := os.ReadFile(path)
	require.NoError(t, err)
	return bytes.TrimRight(b, "\x00")
}

func reseal(image []byte) {
	for _, at := range []int{0, 1024, 4096} {
		if at+headBytes+metaBytes <= len(image) {
			m := image[at+headBytes:]
			if native.Uint32(m) == magic {
				sum := fnvOf(m[:56])
				native.PutUint64(m[56:], sum)
			}
		}
	}
}

func fnvOf(b []byte) uint64 {
	h := uint64(14695981039346656037) // FNV-1a, 64 bits (Fowler, Noll, Vo)
	for _, c := range b {
		h = (h ^ uint64(c)) * 1099511628211
	}
	return h
}

func TestCorpusIsNotEmpty(t *testing.T) {
	files, err := os.ReadDir("testdata/fuzz/FuzzWalk")
	require.NoError(t, err)
	require.NotEmpty(t, files)
}

// A file may be cut anywhere, also between two looks at it: nothing that is
// asked of it panics, whatever its length, and a cut into what is in use is said.
func TestEveryLength(t *testing.T) {
	image := small(t)
	f, err := Open(bytes.NewReader(image), int64(len(image)))
	require.NoError(t, err)
	inUse := int(f.Metas()[0].Pages) * 1024
	whole, err := Open(bytes.NewReader(append(bytes.Clone(image), make([]byte, inUse-len(image))...)), int64(inUse))
	require.NoError(t, err)
	_, err = whole.Sum()
	require.NoError(t, err)
	cut := append(bytes.Clone(image), make([]byte, inUse-len(image))...)
	for n := range inUse {
		// As it is read, and as it is when the system said more than there is.
		for _, said := range []int{n, inUse} {
			f, err := Open(bytes.NewReader(cut[:n]), int64(said))
			_, errSum := f.Sum()
			if err == nil {
				hurts := f.Walk(f.Metas()[0], nil).Hurts
				if said == n {
					require.Error(t, errSum, "cut at %d", n)
					require.NotEmpty(t, hurts, "cut at %d", n)
				}
			}
			f.Loose(func(it Item) bool { _, _ = f.Value(it); return true })
			f.Scan([]byte("value"), 64, func(b []byte) int { return min(5, len(b)) }, func([]byte, int64) {})
		}
	}
}

// Numbers of pages that no file has, behind checksums that fit.
func TestAHeadThatLies(t *testing.T) {
	image := small(t)
	for _, at := range []int{16, 32, 40} { // root, free list, pages in use
		for _, lie := range []uint64{0, 1, 2, 3, 1 << 20, 1 << 44, 1<<54 - 1, 1 << 54, 1<<63 - 1, 1 << 63, ^uint64(0) - 1, ^uint64(0)} {
			hurt := bytes.Clone(image)
			for _, meta := range []int{0, 1024} {
				native.PutUint64(hurt[meta+headBytes+at:], lie)
			}
			reseal(hurt)
			f, err := Open(bytes.NewReader(hurt), int64(len(hurt)))
			require.NoError(t, err)
			_, _ = f.Sum()
			w := f.Walk(f.Metas()[0], nil)
			if at == 40 && lie > 1<<20 {
				require.NotEmpty(t, w.Hurts)
			}
		}
	}
}

// FuzzSum asks for the sum of any bytes at any length.
func FuzzSum(f *testing.F) {
	image := small(f)
	f.Add(image, uint16(0))
	f.Add(image, uint16(3000))
	f.Fuzz(func(t *testing.T, image []byte, cut uint16) {
		image = bytes.Clone(image[:max(0, len(image)-int(cut))])
		reseal(image)
		file, _ := Open(bytes.NewReader(image), int64(len(image)))
		_, _ = file.Sum()
	})
}
