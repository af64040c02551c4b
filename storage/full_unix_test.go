//go:build unix

package storage

import (
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"reflect"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// A process whose files may not grow: recording fails, says so, and goes on
// when there is room again, with nothing lost.
func TestDiskFull(t *testing.T) {
	t.Parallel()
	path := filepath.Join(t.TempDir(), "s")
	cmd := exec.Command(os.Args[0], path)
	cmd.Env = append(os.Environ(), childVar+"=fill")
	out, err := cmd.CombinedOutput()
	require.NoError(t, err, "%s", out)
	require.Contains(t, string(out), "refused")
	rep, err := VerifyFile(t.Context(), path)
	require.NoError(t, err)
	require.True(t, rep.Whole(), rep.String())
	boltCheck(t, path)
}

func fillDisk(path string) int {
	fail := func(what ...any) int {
		fmt.Println(what...)
		return 1
	}
	signal.Ignore(syscall.SIGXFSZ)
	var had syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_FSIZE, &had); err != nil {
		return fail(err)
	}
	s, err := Open(path, Options{})
	if err != nil {
		return fail(err)
	}
	w, err := s.Begin(Head{})
	if err != nil {
		return fail(err)
	}
	rs := turned(1_500_000, 1000, 8)
	info, err := os.Stat(path)
	if err != nil {
		return fail(err)
	}
	little := had
	little.Cur = uint64(info.Size()) + 100_000
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &little); err != nil {
		return fail(err)
	}
	at := 0
	for ; at < len(rs); at += 20_000 {
		if err = w.Append(rs[at:at+20_000], nil); err != nil {
			break
		}
	}
	if err == nil {
		return fail("the disk never got full")
	}
	fmt.Println("refused", at, err)
	for range 5 {
		// It stays full, and stays usable. Pages that were given back inside
		// the file may let a batch in: then it must stay in.
		if err := w.Append(rs[at:at+20_000], nil); err == nil {
			at += 20_000
		}
		if _, got, err := s.Load(w.ID()); err != nil || !reflect.DeepEqual(got.Readings, rs[:at]) {
			return fail("acknowledged readings are gone:", len(got.Readings), at, err)
		}
	}
	if err := syscall.Setrlimit(syscall.RLIMIT_FSIZE, &had); err != nil {
		return fail(err)
	}
	if err := w.Append(rs[at:], []measure.Note{{At: rs[at].At, Kind: measure.NoteMark}}); err != nil {
		return fail("there is room again:", err)
	}
	if err := w.End(); err != nil {
		return fail(err)
	}
	_, got, err := s.Load(w.ID())
	if err != nil || !reflect.DeepEqual(got.Readings, rs) || len(got.Notes) != 1 {
		return fail("not the same trace", len(got.Readings), err)
	}
	if err := s.Close(); err != nil {
		return fail(err)
	}
	return 0
}
