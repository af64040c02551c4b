package daemon

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/keep"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/tracefile"
)

// longCSV is a CSV of so many readings that is made while it is read.
type longCSV struct {
	left, n int
	buf     []byte
}

func (c *longCSV) Read(p []byte) (int, error) {
	if c.n == 0 {
		c.buf = append(c.buf, "t_s,lift_mm\n"...)
	}
	for len(c.buf) < len(p) && c.left > 0 {
		lift := max(0, c.n%8000-4000) // up and down, and a rest
		if lift > 2000 {
			lift = 4000 - lift
		}
		c.buf = fmt.Appendf(c.buf, "%d.%03d,%d.%03d\n", c.n/1000, c.n%1000, lift/200, lift%200*5)
		c.n, c.left = c.n+1, c.left-1
	}
	n := copy(p, c.buf)
	c.buf = c.buf[:copy(c.buf, c.buf[n:])]
	if n == 0 {
		return 0, io.EOF
	}
	return n, nil
}

func importHead(tracefile.About) storage.Head { return storage.Head{Source: "import:long.csv"} }

// A long file goes to the store in transactions of bounded size, and somebody who
// records meanwhile is not held up. LOBESCRIBE_IMPORT is how many megabytes it is;
// memory and the longest wait of a live commit are printed.
func TestImportOfAnyLength(t *testing.T) {
	megabytes := 3
	if n, err := strconv.Atoi(os.Getenv("LOBESCRIBE_IMPORT")); err == nil {
		megabytes = n
	}
	readings := megabytes << 20 / 15
	var appends atomic.Int64
	p := inThisProcess(t, func(op storage.Op) error {
		if op == storage.OpAppend {
			appends.Add(1)
		}
		return nil
	}, 0)
	// Somebody turns, a hundred readings a tenth of a second.
	ctx, stop := context.WithCancel(t.Context())
	var fed atomic.Int64
	var wait, before time.Duration
	var mu sync.Mutex
	var feeding sync.WaitGroup
	feeding.Go(func() {
		sent := map[int]time.Time{}
		next := 0
		for n := 0; ctx.Err() == nil; n += 100 {
			p.turn(n, 100)
			sent[n+100] = time.Now()
			fed.Store(int64(n + 100))
			select {
			case <-time.After(100 * time.Millisecond):
			case <-ctx.Done():
			}
			if s := p.hub.Now().Trace; s != nil {
				began := int(s.Began / 1000)
				for ; next+100 <= began+int(s.OnDisk*1000)+1; next += 100 {
					mu.Lock()
					wait = max(wait, time.Since(sent[next+100]))
					mu.Unlock()
				}
			}
		}
	})
	p.trace(t, "it records", func(s keep.State) bool { return s.OnDisk > 1 })
	mu.Lock()
	before, wait = wait, 0
	mu.Unlock()
	live := appends.Load()

	var heap uint64
	told := uint64(0)
	file, err := tracefile.NewReader(&longCSV{left: readings}, tracefile.Options{})
	require.NoError(t, err)
	runtime.GC()
	peakFrom(t)
	began := time.Now()
	id, n, err := ImportFile(t.Context(), p.store, file, ImportOptions{Head: importHead, Progress: func(n uint64) {
		assert.Greater(t, n, told)
		told = n
		var m runtime.MemStats
		if n%(1<<20) == 0 {
			runtime.ReadMemStats(&m)
			heap = max(heap, m.HeapInuse)
		}
	}})
	require.NoError(t, err)
	took := time.Since(began)
	assert.Equal(t, uint64(readings), n)
	assert.GreaterOrEqual(t, appends.Load()-live, int64(readings/importBatch), "transactions")
	mu.Lock()
	during := wait
	mu.Unlock()
	t.Logf("%d MB, %d readings in %.1f s; resident at most %s, heap %d MB; a live reading waited for the disk %v at most before, %v during",
		megabytes, n, took.Seconds(), peak(t), heap>>20, before.Round(time.Millisecond), during.Round(time.Millisecond))
	stop()
	feeding.Wait()
	require.NoError(t, p.stop())
	sum, err := p.store.Summary(id)
	require.NoError(t, err)
	assert.Equal(t, uint64(readings), sum.Readings)
	assert.False(t, sum.CutShort)
	if megabytes > 10 {
		return // the rest needs memory for all of it
	}
	_, trace, err := p.store.Load(id)
	require.NoError(t, err)
	for i, r := range trace.Readings {
		require.Equal(t, measure.Stamp(i)*measure.Millisecond, r.At)
	}
	f, err := p.store.Findings(id)
	require.NoError(t, err)
	again, err := p.Findings(t.Context(), id)
	require.NoError(t, err)
	assert.Equal(t, again, f, "what was found while it came is what is found in all of it")
	assert.NotEmpty(t, f.Openings)
}

// peakFrom has the system measure the most memory again, where it does that.
func peakFrom(t *testing.T) { _ = os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) }

// peak is the most memory that was resident, in words, and what of it is memory of
// the process now and not pages of files.
func peak(t *testing.T) string {
	text, _ := os.ReadFile("/proc/self/status")
	var out []string
	for line := range strings.Lines(string(text)) {
		if strings.HasPrefix(line, "VmHWM") || strings.HasPrefix(line, "RssAnon") || strings.HasPrefix(line, "RssFile") {
			out = append(out, strings.Join(strings.Fields(line), " "))
		}
	}
	return strings.Join(out, ", ")
}

// Whatever turns out to be wrong half way through leaves nothing in the store.
func TestImportThatFails(t *testing.T) {
	t.Parallel()
	whole := func(n int) []byte {
		b, err := io.ReadAll(&longCSV{left: n})
		require.NoError(t, err)
		return b
	}
	for what, c := range map[string]struct {
		text  []byte
		fault func(storage.Op, int) error
		is    func(error) bool
	}{
		"a line that does not read": {append(whole(3*importBatch), "x,y\n"...), nil,
			func(err error) bool { var f *tracefile.Fault; return errors.As(err, &f) }},
		"only a header": {[]byte("t_s,lift_mm\n"), nil,
			func(err error) bool { var f *tracefile.Fault; return errors.As(err, &f) }},
		"a disk that refuses": {whole(3 * importBatch),
			func(op storage.Op, n int) error {
				if op == storage.OpAppend && n == 3 {
					return errors.New("full")
				}
				return nil
			},
			func(err error) bool { return strings.Contains(err.Error(), "full") }},
	} {
		t.Run(what, func(t *testing.T) {
			appends := 0
			path := filepath.Join(t.TempDir(), "s")
			store, err := storage.Open(path, storage.Options{Fault: func(op storage.Op) error {
				if op == storage.OpAppend {
					appends++
				}
				if c.fault == nil {
					return nil
				}
				return c.fault(op, appends)
			}})
			require.NoError(t, err)
			file, err := tracefile.NewReader(bytes.NewReader(c.text), tracefile.Options{})
			require.NoError(t, err)
			_, _, err = ImportFile(t.Context(), store, file, ImportOptions{Head: importHead})
			require.Error(t, err)
			assert.True(t, c.is(err), "%v", err)
			list, err := store.Traces(storage.Query{})
			require.NoError(t, err)
			assert.Empty(t, list)
			rep, err := store.Verify(t.Context())
			require.NoError(t, err)
			assert.True(t, rep.Whole(), rep.String())
			require.NoError(t, store.Close())
			store, err = storage.Open(path, storage.Options{})
			require.NoError(t, err)
			list, err = store.Traces(storage.Query{})
			require.NoError(t, err)
			assert.Empty(t, list, "nor after a start")
			require.NoError(t, store.Close())
		})
	}
}
