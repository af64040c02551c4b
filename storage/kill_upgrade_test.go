package storage

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.etcd.io/bbolt"
)

// madeUp are two migrations: each writes every chunk again and leaves its mark.
func madeUp(say func(string)) (steps []migration) {
	for from := schema; from <= schema+1; from++ {
		steps = append(steps, migration{from: from, does: "made up", run: func(tx *bbolt.Tx) error {
			say(fmt.Sprintf("from %d", from))
			b := tx.Bucket([]byte(bucketChunks))
			var keys, values [][]byte
			if err := b.ForEach(func(k, v []byte) error {
				keys, values = append(keys, k), append(values, v)
				return nil
			}); err != nil {
				return err
			}
			for i := range keys {
				k, v := append([]byte(nil), keys[i]...), append([]byte(nil), values[i]...)
				if err := b.Put(k, v); err != nil {
					return err
				}
			}
			return tx.Bucket([]byte(bucketAbout)).Put([]byte{byte(from)}, []byte("was here"))
		}})
	}
	return steps
}

// upgradeOnce is the child: it opens an old store, which upgrades it.
func upgradeOnce(path string) int {
	fmt.Println("opening")
	s, err := Open(path, Options{migrations: madeUp(func(word string) { fmt.Println(word) })})
	if err != nil {
		fmt.Println("failed", err)
		return 1
	}
	defer s.Close()
	fmt.Println("upgraded")
	time.Sleep(time.Minute) // until it is killed
	return 0
}

// A process that upgrades a store is killed at random moments. The store is then
// of the old schema or of the new one and never between, nothing in it is lost,
// the next opening takes it all the way, and every backup that has its name is
// whole and of the old schema.
func TestKilledWhileUpgrading(t *testing.T) {
	t.Parallel()
	old := filepath.Join(t.TempDir(), "old")
	s, err := Open(old, Options{})
	require.NoError(t, err)
	rs := turned(600_000, 1000, 9)
	id := record(t, s, Head{Engine: "v8"}, rs, 100_000)
	require.NoError(t, s.Close())
	image, err := os.ReadFile(old)
	require.NoError(t, err)
	seed := uint64(time.Now().UnixNano())
	t.Logf("seed %d", seed)
	chance := rand.New(rand.NewPCG(seed, 2))

	found := map[string]int{}
	halves, backups := 0, 0
	for range long(t, 8, 200) {
		path := filepath.Join(t.TempDir(), "s")
		require.NoError(t, os.WriteFile(path, image, 0o600))
		cmd := exec.Command(os.Args[0], path)
		cmd.Env = append(os.Environ(), childVar+"=upgrade")
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		_, err = fmt.Fscanln(out, new(string)) // it has started
		require.NoError(t, err)
		time.Sleep(time.Duration(chance.IntN(60_000)) * time.Microsecond)
		require.NoError(t, cmd.Process.Kill())
		require.Error(t, cmd.Wait())

		s, err := Open(path, Options{ReadOnly: true})
		switch {
		case errors.Is(err, ErrNewer):
			require.ErrorContains(t, err, fmt.Sprintf("its schema is %d", schema+2))
			found["new"]++
		default:
			require.NoError(t, err)
			require.NoError(t, s.view(func(r rows) error {
				assert.Nil(t, r.get(bucketAbout, []byte{schema}), "half an upgrade")
				return nil
			}))
			require.NoError(t, s.Close())
			found["old"]++
		}
		s, err = Open(path, Options{migrations: madeUp(func(string) {})})
		require.NoError(t, err)
		rep, err := s.Verify(t.Context())
		require.NoError(t, err)
		require.True(t, rep.Whole(), rep.String())
		_, got, err := s.Load(id)
		require.NoError(t, err)
		require.Equal(t, rs, got.Readings)
		require.NoError(t, s.view(func(r rows) error {
			assert.NotNil(t, r.get(bucketAbout, []byte{schema}))
			assert.NotNil(t, r.get(bucketAbout, []byte{schema + 1}))
			return nil
		}))
		require.NoError(t, s.Close())

		beside, err := filepath.Glob(path + ".*")
		require.NoError(t, err)
		for _, name := range beside {
			if name == s.markName() {
				continue
			}
			if strings.Contains(name, ".part-") {
				halves++
				continue
			}
			require.Contains(t, name, fmt.Sprintf(".schema%d.backup", schema))
			b, err := Open(name, Options{ReadOnly: true})
			require.NoError(t, err)
			rep, err := b.Verify(t.Context())
			require.NoError(t, err)
			require.True(t, rep.Whole(), rep.String())
			require.NoError(t, b.Close())
			backups++
		}
	}
	t.Logf("found after the kill: %v; %d backups whole, %d half ones named so", found, backups, halves)
}
