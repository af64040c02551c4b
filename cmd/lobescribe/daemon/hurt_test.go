package daemon

import (
	"bytes"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/keep"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// hurts is how often a store is hurt under a daemon: LOBESCRIBE_HURT, or a few
// times.
func hurts(t *testing.T) int {
	n, err := strconv.Atoi(os.Getenv("LOBESCRIBE_HURT"))
	if err != nil {
		return 30
	}
	return n
}

// ackedTrace is what the page was told to be on disk of a trace.
type ackedTrace struct {
	began  int64   // on the live clock, in microseconds
	onDisk float64 // trace time, in seconds
}

// hurting is a daemon that records, whose store is hurt again and again.
type hurting struct {
	*inProcess
	t      *testing.T
	chance *rand.Rand
	log    *slog.Logger
	path   string
	fed    int // readings, of a millisecond each
	acked  map[uint64]ackedTrace
	what   []string
}

// note remembers what the page is told at this moment.
func (h *hurting) note() {
	s := h.hub.Now().Trace
	if s == nil || s.ID == 0 || s.OnDisk == 0 {
		return
	}
	if had, ok := h.acked[s.ID]; !ok || s.OnDisk > had.onDisk {
		h.acked[s.ID] = ackedTrace{s.Began, s.OnDisk}
	}
}

// turns goes on turning until so much more has been acknowledged, or a while has
// passed in which a store is being repaired.
func (h *hurting) turns(steps int) {
	for range steps {
		h.turn(h.fed, 200)
		h.fed += 200
		h.note()
		time.Sleep(time.Duration(h.chance.IntN(3)) * time.Millisecond)
	}
}

// hurt flips bits of the file, or cuts it.
func (h *hurting) hurt() {
	before := len(h.what)
	defer func() { h.log.Info("hurt", "what", h.what[before:], "fed", h.fed) }()
	info, err := os.Stat(h.path)
	if err != nil || info.Size() == 0 {
		return // it has just been taken away by a cut; it comes back
	}
	if h.chance.IntN(5) == 0 && runtime.GOOS != "windows" { // which lets nobody cut a file that is mapped
		n := h.chance.Int64N(info.Size())
		h.what = append(h.what, fmt.Sprintf("cut to %d of %d", n, info.Size()))
		require.NoError(h.t, os.Truncate(h.path, n))
		return
	}
	f, err := os.OpenFile(h.path, os.O_RDWR, 0)
	require.NoError(h.t, err)
	defer f.Close()
	size := info.Size()
	var b [4096]byte
	for size > 4096 { // what was never written does not matter
		if n, _ := f.ReadAt(b[:], size-4096); n > 0 && b != [4096]byte{} {
			break
		}
		size -= 4096
	}
	for range 1 + h.chance.IntN(3) {
		at, bit := h.chance.Int64N(size), h.chance.IntN(8)
		if h.chance.IntN(3) == 0 {
			at = at/4096*4096 + at%128 // the heads of pages
		}
		if n, _ := f.ReadAt(b[:1], at); n == 1 {
			b[0] ^= 1 << bit
			_, err := f.WriteAt(b[:1], at)
			require.NoError(h.t, err)
			h.what = append(h.what, fmt.Sprintf("bit %d of byte %d", bit, at))
		}
	}
	_ = os.Chtimes(h.path, info.ModTime(), info.ModTime())
}

// A store whose bits flip and that is cut under a daemon that records, a
// thousand times with LOBESCRIBE_HURT=1000: nothing panics, and what the page was
// told to be on disk is there after the next start, or stands in the record of a
// repair as lost. LOBESCRIBE_SEED does the same again, as far as the moments allow.
func TestHurtWhileItRecords(t *testing.T) {
	t.Parallel()
	seed := uint64(time.Now().UnixNano())
	if n, err := strconv.ParseUint(os.Getenv("LOBESCRIBE_SEED"), 10, 64); err == nil {
		seed = n
	}
	t.Logf("once more: LOBESCRIBE_SEED=%d LOBESCRIBE_HURT=%d go test ./cmd/lobescribe/daemon -run HurtWhile -v", seed, hurts(t))
	rng := rand.New(rand.NewPCG(seed, 0))
	done, repairs, traces, lost, rescued := 0, 0, 0, 0, 0
	for done < hurts(t) {
		h := hurtSession(t, rand.New(rand.NewPCG(rng.Uint64(), 0)), 1+rng.IntN(5))
		done += h.hurts
		repairs, traces, lost, rescued = repairs+h.repairs, traces+h.traces, lost+h.lost, rescued+h.rescued
	}
	t.Logf("hurt %d times: %d repairs, %d traces acknowledged, %d of which went on in a rescue file, %d readings of them gone and told of", done, repairs, traces, rescued, lost)
	assert.Positive(t, repairs)
}

// logged is what was logged.
type logged struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *logged) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(b)
}

func (l *logged) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

type hurtOutcome struct{ hurts, repairs, traces, lost, rescued int }

func hurtSession(t *testing.T, chance *rand.Rand, times int) (o hurtOutcome) {
	dir, err := os.MkdirTemp("/dev/shm", "lobescribe-*")
	if err != nil {
		dir = t.TempDir()
	}
	defer os.RemoveAll(dir)
	path := filepath.Join(dir, "bench.db")
	tending := storage.Tending{Every: 50 * time.Millisecond, Again: 50 * time.Millisecond, There: 20 * time.Millisecond}
	said := &logged{}
	log := slog.New(slog.NewTextHandler(said, nil))
	defer func() {
		if t.Failed() {
			t.Logf("what was logged:\n%s", said)
		}
	}()
	store, err := storage.Open(path, storage.Options{Log: log})
	require.NoError(t, err)
	h := &hurting{inProcess: onStore(t, store, Options{Log: log, Tending: tending}), t: t, chance: chance, log: log, path: path, acked: map[uint64]ackedTrace{}}
	began := int64(-1)
	for range times {
		h.turns(5 + chance.IntN(20))
		h.trace(t, "something is on disk", func(s keep.State) bool {
			h.note()
			return s.Began > began && s.OnDisk > 0 || s.ID == 0 && s.Says != ""
		})
		h.hurt()
		o.hurts++
		h.turns(chance.IntN(20))
		if chance.IntN(2) == 0 {
			h.live.EndTrace()
			s := h.trace(t, "the trace is kept", func(s keep.State) bool {
				h.note()
				return s.Began > began && (s.State == keep.StateKept || s.State == keep.StateFailed)
			})
			began = s.Began
		}
	}
	require.NoError(t, h.stop(), "%v", h.what)
	require.NoError(t, store.Close())

	// The next start, which finds what was not found yet.
	log.Info("the next start")
	store, err = storage.Open(path, storage.Options{Log: log, Repair: true, ProveLater: true})
	require.NoError(t, err, "%v", h.what)
	again := onStore(t, store, Options{Log: log, Tending: tending})
	proved := again.proved(t)
	require.NoError(t, proved, "%v", h.what)
	records, err := store.Repairs(true)
	require.NoError(t, err)
	toldOf := map[storage.ID]int{}
	for _, r := range records {
		o.repairs++
		for _, l := range r.Losses {
			if l.Lost < 0 {
				toldOf[l.Trace] = 1 << 40
			}
			toldOf[l.Trace] += int(l.Lost)
		}
	}
	list, err := store.Traces(storage.Query{})
	require.NoError(t, err)
	for id, a := range h.acked {
		o.traces++
		there := map[int]bool{}
		_, trace, err := store.Load(storage.ID(id))
		add := func(rs []measure.Reading) {
			for _, r := range rs {
				there[int(r.Lift/measure.Micrometre)] = true
			}
		}
		add(trace.Readings)
		// A store that is hurt while it is being repaired takes nothing for a while,
		// and the trace goes on in a rescue file, which this start has taken in.
		for _, s := range list {
			if from := uint64(0); s.Remark != "" {
				if _, err := fmt.Sscanf(s.Remark, "goes on from trace %d,", &from); err == nil && from == id {
					_, rest, err := store.Load(s.ID)
					require.NoError(t, err)
					add(rest.Readings)
					o.rescued++
				}
			}
		}
		var gone []int
		for n := int(a.began / 1000); n <= int(a.began/1000)+int(a.onDisk*1000+0.5); n++ {
			if !there[n] {
				gone = append(gone, n)
			}
		}
		if len(gone) == 0 {
			continue
		}
		o.lost += len(gone)
		require.LessOrEqual(t, len(gone), toldOf[storage.ID(id)], "trace %d (%+v) lacks %d readings that were acknowledged, from %d to %d, has %d, and %d are told of (%v); done to it: %v; records: %+v",
			id, a, len(gone), gone[0], gone[len(gone)-1], len(trace.Readings), toldOf[storage.ID(id)], err, h.what, records)
	}
	require.NoError(t, again.stop())
	require.NoError(t, store.Close())
	return o
}

// proved waits until whoever tends the store has been through all of it.
func (p *inProcess) proved(t *testing.T) error {
	return p.store.Proved(t.Context())
}
