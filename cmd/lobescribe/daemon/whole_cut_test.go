package daemon

import (
	"fmt"
	"os"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// pauses lets the bench's time pass, until the power goes.
func pauses(d time.Duration) does {
	return does{"pause", func(a *alive) {
		select {
		case <-time.After(d):
		case <-a.gone:
		}
	}}
}

// session is what somebody does at a bench while it records: everything that
// writes.
func session() []does {
	named := func(what string) does {
		return happenings[slices.IndexFunc(happenings, func(d does) bool { return d.what == what })]
	}
	return []does{
		pauses(15 * time.Second), named("mark"), named("engine"), pauses(15 * time.Second), named("import"), pauses(10 * time.Second),
		named("backup"), named("end of trace"), pauses(20 * time.Second), named("plug in again"), named("engine"), pauses(5 * time.Second),
	}
}

// The power goes at each write of the store in a session of the daemon that records,
// takes in a file, keeps an engine and is asked for a backup; what the disk had not
// flushed is there by chance, sector by sector. After the next start all that anybody
// was told to be kept is there.
//
// It goes at each once; LOBESCRIBE_CUTS=N has it go N times at each, torn in other
// ways.
func TestPowerGoesAtEachWrite(t *testing.T) {
	lives := func(t *testing.T, at int, tear uint64) *whole {
		w := &whole{log: func(string, ...any) {}, script: session(), exact: int64(at), tear: tear}
		w.live(t, 4711)
		return w
	}
	calm := lives(t, 0, 0)
	require.Greater(t, calm.wrote, 200, "writes in the session")
	require.NotEmpty(t, calm.traces)
	tears := 1
	if n, err := strconv.Atoi(os.Getenv("LOBESCRIBE_CUTS")); err == nil {
		tears = n
	}
	cuts, told := 0, 0
	for at := 1; at <= calm.wrote && !t.Failed(); at++ {
		for tear := range tears {
			t.Run(fmt.Sprint(at, ".", tear), func(t *testing.T) {
				w := lives(t, at, uint64(at*tears+tear))
				if w.wreck != nil {
					cuts++
				}
				told += len(w.traces)
			})
		}
	}
	t.Logf("%d writes in the session; the power went %d times; %d traces that were told to be on disk are there", calm.wrote, cuts, told)
	assert.GreaterOrEqual(t, cuts, calm.wrote*tears*9/10)
	assert.Positive(t, told)
}
