package storage

import (
	"bufio"
	"context"
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

	"lobescribe/device/measure"
)

const killBatch = 40

// killReadings is what the child records, from number n on: made of the number
// alone, so that the parent knows it too.
func killReadings(n, count int) []measure.Reading {
	out := make([]measure.Reading, count)
	for i := range out {
		k := n + i
		out[i] = measure.Reading{At: measure.Stamp(k)*10_000 + measure.Stamp(k%7), Lift: measure.Length(k*k%841) * 12_700, Has: measure.HasLift}
	}
	return out
}

// appendForEver is the child: it appends as fast as the disk lets it and says
// after each Append how many readings are acknowledged; now and then it ends
// its trace and begins the next, or makes a backup.
func appendForEver(path string) int {
	s, err := Open(path, Options{})
	if err != nil {
		fmt.Println("failed", err)
		return 1
	}
	for round := 0; ; round++ {
		w, err := s.Begin(Head{Engine: "v8", Valve: "1I"})
		if err != nil {
			fmt.Println("failed", err)
			return 1
		}
		fmt.Println("started", w.ID())
		n := 0
		for n < 20_000 {
			if err := w.Append(killReadings(n, killBatch), []measure.Note{{At: measure.Stamp(n), Kind: measure.NoteMark}}); err != nil {
				fmt.Println("failed", err)
				return 1
			}
			n += killBatch
			fmt.Println("kept", w.ID(), n)
			if n == 10*killBatch {
				if _, err := s.BackupFile(context.Background(), fmt.Sprintf("%s.copy-%d-%s", path, os.Getpid(), w.ID()), false); err != nil {
					fmt.Println("failed", err)
					return 1
				}
			}
		}
		if err := w.End(); err != nil {
			fmt.Println("failed", err)
			return 1
		}
		fmt.Println("ended", w.ID())
	}
}

// A process that appends is killed at random moments, again and again on the
// same file. Each time the file opens and verifies, every acknowledged reading
// is there, and the trace in the making is marked as cut short.
func TestKilled(t *testing.T) {
	t.Parallel()
	kills := long(t, 30, 400)
	path := filepath.Join(t.TempDir(), "s")
	kept := map[ID]int{} // acknowledged
	ended := map[ID]bool{}
	rng := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 1))
	most := 0
	for k := range kills {
		cmd := exec.Command(os.Args[0], path)
		cmd.Env = append(os.Environ(), childVar+"=append")
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		kill := func() {
			time.AfterFunc(time.Duration(20+rng.IntN(180))*time.Millisecond, func() { _ = cmd.Process.Kill() })
		}
		// One kill in two counts from the start, to hit opening and mending as
		// well; the others from the child's first word, however slow it is.
		if k%2 == 0 {
			kill()
			kill = func() {}
		}
		for lines := bufio.NewScanner(out); lines.Scan(); {
			kill()
			kill = func() {}
			var id ID
			var n int
			switch word, rest, _ := strings.Cut(lines.Text(), " "); word {
			case "started":
				_, err = fmt.Sscan(rest, &id)
				kept[id] = 0
			case "kept":
				_, err = fmt.Sscan(rest, &id, &n)
				kept[id] = n
			case "ended":
				_, err = fmt.Sscan(rest, &id)
				ended[id] = true
			default:
				t.Fatalf("the child says %q", lines.Text())
			}
			require.NoError(t, err)
		}
		require.Error(t, cmd.Wait(), "it was killed")

		s, err := Open(path, Options{})
		require.NoError(t, err)
		rep, err := s.Verify(t.Context())
		require.NoError(t, err)
		require.True(t, rep.Whole(), rep.String())
		for id, n := range kept {
			h, got, err := s.Load(id)
			require.NoError(t, err)
			require.GreaterOrEqual(t, len(got.Readings), n, "acknowledged readings of trace %s are gone", id)
			require.Equal(t, killReadings(0, len(got.Readings)), got.Readings)
			// One batch may have got to the disk without its answer.
			require.LessOrEqual(t, len(got.Readings)-n, killBatch)
			require.Len(t, got.Notes, len(got.Readings)/killBatch)
			if ended[id] {
				require.False(t, h.CutShort)
			} else if n < 20_000 {
				require.True(t, h.CutShort)
			}
			most = max(most, n)
			kept[id] = len(got.Readings)
		}
		list, err := s.Traces(Query{})
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(list), len(kept))
		require.NoError(t, s.Close())
	}
	boltCheck(t, path)
	copies, err := filepath.Glob(path + ".copy-*")
	require.NoError(t, err)
	whole := 0
	for _, name := range copies {
		if strings.Contains(name, ".part-") {
			continue // cut down while it was written; it never got its name
		}
		rep, err := VerifyFile(t.Context(), name)
		require.NoError(t, err)
		require.True(t, rep.Whole(), rep.String())
		whole++
	}
	assert.Positive(t, most)
	t.Logf("%d kills survived, %d traces, %d backups whole", kills, len(kept), whole)
}
