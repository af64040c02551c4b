package storage

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// cost is the least that work took of several runs: other programs can only
// add to it.
type cost struct {
	bytes, allocations float64
	took               time.Duration
}

func costOf(t testing.TB, work func() error) cost {
	least := cost{math.Inf(1), math.Inf(1), math.MaxInt64}
	for range 9 {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		began := time.Now()
		require.NoError(t, work())
		took := time.Since(began)
		runtime.ReadMemStats(&after)
		least.took = min(least.took, took)
		least.bytes = min(least.bytes, float64(after.TotalAlloc-before.TotalAlloc))
		least.allocations = min(least.allocations, float64(after.Mallocs-before.Mallocs))
	}
	return least
}

// Opening the store, listing the newest fifty and loading one trace cost the
// same however many traces there are: what is allocated is counted, which no
// busy computer can change; time is printed. LOBESCRIBE_GROWTH=100000 goes that
// far.
func TestOpeningAndListingDoNotGrowWithTheTraces(t *testing.T) {
	counts := []int{100, 1000}
	if most, err := strconv.Atoi(os.Getenv("LOBESCRIBE_GROWTH")); err == nil {
		counts = []int{100}
		for n := 1000; n <= min(most, 100_000); n *= 10 {
			counts = append(counts, n)
		}
	}
	path := filepath.Join(t.TempDir(), "s")
	s, err := Open(path, Options{flushLate: true})
	require.NoError(t, err)
	rs := turned(10, 10, 1)
	var open, list, engine, load []cost
	stored := 0
	for _, n := range counts {
		var middle ID
		for ; stored < n; stored++ {
			id := record(t, s, Head{Engine: fmt.Sprint("e", stored%3), Valve: "1I"}, rs, len(rs))
			if stored == n/2 {
				middle = id
			}
		}
		list = append(list, costOf(t, func() error { return listed(s.Traces(Query{Limit: 50})) }))
		engine = append(engine, costOf(t, func() error { return listed(s.Traces(Query{Engine: "e1", Limit: 30})) }))
		if middle == 0 {
			middle = ID(n / 2)
		}
		load = append(load, costOf(t, func() error { _, _, err := s.Load(middle); return err }))
		require.NoError(t, s.Close())
		again, err := Open(path, Options{}) // it proves the pages, and leaves a mark
		require.NoError(t, err)
		require.NoError(t, again.Close())
		open = append(open, costOf(t, func() error {
			s, err := Open(path, Options{ProveLater: true})
			if err != nil {
				return err
			}
			if !s.unproved {
				return errors.New("it was proved")
			}
			return s.Close()
		}))
		s, err = Open(path, Options{flushLate: true})
		require.NoError(t, err)
		last := len(open) - 1
		t.Logf("%6d traces: open %v, %.0f kB; list 50 %v, %.0f kB; of an engine %v, %.0f kB; load one %v, %.0f kB", n,
			open[last].took, open[last].bytes/1e3, list[last].took, list[last].bytes/1e3, engine[last].took, engine[last].bytes/1e3, load[last].took, load[last].bytes/1e3)
	}
	require.NoError(t, s.Close())
	times := float64(counts[len(counts)-1]) / float64(counts[0])
	for name, costs := range map[string][]cost{"open": open, "list": list, "list an engine's": engine, "load": load} {
		first, last := costs[0], costs[len(costs)-1]
		// The tree is a page or two deeper.
		assert.Less(t, last.allocations, 1.2*first.allocations+20, "%s: allocations with %.0f times the traces", name, times)
		assert.Less(t, last.bytes, 1.2*first.bytes+4*pageBytes, "%s: bytes with %.0f times the traces", name, times)
	}
}

func listed(heads []Summary, err error) error {
	if err == nil && len(heads) < 30 {
		return fmt.Errorf("only %d listed", len(heads))
	}
	return err
}
