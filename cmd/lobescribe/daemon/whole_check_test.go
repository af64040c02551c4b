package daemon

import (
	"context"
	"encoding/json"
	"os"
	"slices"
	"sort"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// check looks, after a start, at all that was promised in the lives before.
func (a *alive) check() {
	t := a.t
	ctx, cancel := context.WithTimeout(a.ctx, time.Hour)
	defer cancel()
	require.NoError(t, a.store.Proved(ctx), "the store is proved")
	synctest.Wait() // for the findings of what a repair left
	records, err := a.store.Repairs(false)
	require.NoError(t, err)
	lost := map[storage.ID]int64{}
	documents := map[string]bool{}
	for _, r := range records {
		a.count["repairs"]++
		for _, l := range r.Losses {
			if l.Lost < 0 {
				lost[l.Trace] += 1 << 40
			}
			lost[l.Trace] += max(l.Lost, 0)
		}
		for _, d := range append(r.Documents, r.Older...) {
			documents[d] = true
		}
	}
	all, err := a.store.Traces(storage.Query{Limit: 1_000_000})
	require.NoError(t, err)
	rep, err := a.store.Verify(a.ctx)
	require.NoError(t, err)
	if len(records) == 0 {
		require.True(t, rep.Whole(), rep.String())
	}
	status, text := a.ask("GET", "/api/v1/traces?limit=500", nil)
	require.Equal(t, 200, status, string(text))
	if len(all) <= 500 {
		require.JSONEq(t, mustJSON(all), string(text), "page and store agree")
	}

	// What is there, by when it began on the live clock.
	stored := map[int64][]storage.Summary{}
	var readings uint64
	for _, s := range all {
		readings += s.Readings
		if s.Source == SourceLive {
			began := a.began(s.Started)
			stored[began] = append(stored[began], s)
		}
	}
	info, err := os.Stat(a.disk.Path)
	require.NoError(t, err)
	assert.Less(t, info.Size(), int64(6*readings)+4<<20, "bytes of the store for %d readings", readings)

	a.mu.Lock()
	defer a.mu.Unlock()
	for began, was := range a.traces {
		is := map[sample]bool{}
		var gaps []measure.Note
		var told int64
		if was.id != 0 {
			told = lost[storage.ID(was.id)]
		}
		for _, s := range stored[began] {
			_, trace, err := a.store.Load(s.ID)
			if err != nil {
				require.NotZero(t, lost[s.ID], "trace %s: %v", s.ID, err)
			}
			told += lost[s.ID]
			for _, r := range trace.Readings {
				is[sample{int64(r.At) + began, int64(r.Lift)}] = true
			}
			for _, n := range trace.Notes {
				if n.Kind == measure.NoteGap {
					gaps = append(gaps, n)
				}
			}
			if err == nil && was.kept && a.chance.IntN(3) == 0 {
				a.log("findings of %s: %d readings, lost %d", s.ID, len(trace.Readings), lost[s.ID])
				a.sameFindings(s.ID, trace)
			}
			if was.kept && lost[s.ID] == 0 && len(stored[began]) == 1 {
				assert.False(t, s.CutShort, "trace %s, which was told to be kept", s.ID)
			}
		}
		// Up to what was told to be on disk, every reading that was heard is there.
		end := began + int64(was.onDisk*1e6+0.5)
		from := sort.Search(len(a.heard), func(i int) bool { return a.heard[i].at >= began })
		var gone []sample
		for _, s := range a.heard[from:] {
			if s.at > end {
				break
			}
			if !is[s] && !slices.ContainsFunc(gaps, func(n measure.Note) bool {
				return s.at-began >= int64(n.At) && s.at-began <= int64(n.Until)
			}) {
				gone = append(gone, s)
			}
		}
		if n := int64(len(gone)); n > told {
			t.Errorf("trace %d, started at %d us: %d readings that were told to be on disk are gone, from %d us on, and %d are told of; stored: %+v; told: %+v",
				was.id, began, n, gone[0].at, told, stored[began], was)
		}
	}
	for id, rs := range a.imports {
		_, trace, err := a.store.Load(id)
		if n := int64(len(rs) - len(trace.Readings)); n > 0 || err != nil {
			require.GreaterOrEqual(t, lost[id], max(n, 1), "import %s: %v", id, err)
			continue
		}
		require.Equal(t, rs, trace.Readings, "import %s", id)
	}
	for id, notes := range a.engines {
		e, err := a.store.Engine(id)
		if documents["engine/"+id] {
			delete(a.engines, id)
			continue
		}
		require.NoError(t, err, "engine %s", id)
		if e.Notes != notes {
			require.Contains(t, a.tried[id], e.Notes, "engine %s", id)
		}
		a.engines[id], a.tried[id] = e.Notes, nil
	}
}

// sameFindings sees that a trace's findings are the same after a start.
func (a *alive) sameFindings(id storage.ID, trace measure.Trace) {
	had, err := a.store.Findings(id)
	if err != nil {
		return // they had not been worked out yet
	}
	head, err := a.store.Head(id)
	require.NoError(a.t, err)
	f, err := lift.Analyse(trace, lift.Options{LeaveOut: head.LeftOut, Proof: head.Proof})
	require.NoError(a.t, err)
	text, err := json.Marshal(f)
	require.NoError(a.t, err)
	require.JSONEq(a.t, string(text), mustJSON(had), "findings of trace %s: %+v", id, head)
	a.count["findings the same"]++
}
