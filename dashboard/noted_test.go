package dashboard

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// A note stays with its opening: it is told to every page, stands in the trace's
// head, and changes no figure.
func TestANoteIsKeptWithItsOpening(t *testing.T) {
	s := serve(t, nil)
	s.bench.analyses = true
	id := s.record(storage.Head{Engine: "demo", Valve: "3E"}, 5000)
	f, err := s.bench.Findings(t.Context(), id)
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(f.Openings), 2)
	s.hub.Publish(keep.State{ID: uint64(id), State: "recording", Began: 77_000_000}, 0)
	note := func(i int, says string) live.Noted {
		status, text := s.ask("PUT", "/api/v1/traces/1/note", fmt.Sprintf(`{"t_s":%v,"says":%q}`, f.Openings[i].Nose.Seconds(), says))
		require.Equal(t, 200, status, text)
		return into[live.Noted](s, text)
	}
	note(1, " rocker a hair high ")
	all := note(0, "tip was dry").List
	require.Len(t, all, 2)
	assert.Equal(t, []string{"tip was dry", "rocker a hair high"}, []string{all[0].Says, all[1].Says}, "in order of time, without the blanks round it")
	assert.Equal(t, all, s.hub.Now().Noted, "a page that comes later is told")
	h, err := s.store.Head(id)
	require.NoError(t, err)
	assert.Equal(t, all, h.Noted)
	assert.Equal(t, f.Openings[1].Open, all[1].From)
	assert.Equal(t, f.Openings[1].Close, all[1].Until)
	again, err := s.bench.Findings(t.Context(), id)
	require.NoError(t, err)
	assert.Equal(t, f, again, "no figure is another")

	assert.Equal(t, "square now", note(1, "square now").List[1].Says, "in place of the one before")
	assert.Len(t, note(0, "").List, 1, "nothing takes it away")

	for body, says := range map[string]string{
		`{"says":"x"}`:                "Say with t_s which opening",
		`{"t_s":-5,"says":"x"}`:       "No opening of trace 1 lies at",
		`{"t_s":1,"says":"a\u202eb"}`: "control characters",
		`{"t_s":1,"says":"` + strings.Repeat("x", longestRemark+1) + `"}`: "longer than",
	} {
		status, text := s.ask("PUT", "/api/v1/traces/1/note", body)
		assert.Equal(t, 400, status, text)
		assert.Contains(t, text, says)
	}
	assert.Len(t, s.hub.Now().Noted, 1, "what was refused changed nothing")
}

// A page that is opened in the midst of a trace is told of the pedal's marks in
// the trace's own time, as the trace itself keeps them.
func TestMarksAreToldToALaterPage(t *testing.T) {
	s := serve(t, nil)
	const began = 77_000_000
	at := func(sec float64) live.Marked { return live.Marked{At: began + measure.Stamp(sec*1e6)} }
	s.hub.Publish(at(1), 0)
	assert.Empty(t, s.hub.Now().Marks, "nothing is recorded")
	s.hub.Publish(keep.State{ID: 1, State: "recording", Began: began}, 0)
	s.hub.Publish(at(2), 0)
	s.hub.Publish(at(3.5), 0)
	s.hub.Publish(live.Marked{At: at(4).At, Undone: true}, 0)
	assert.Equal(t, []measure.Stamp{2_000_000}, s.hub.Now().Marks)
	for range 2000 {
		s.hub.Publish(at(5), 0)
	}
	assert.Len(t, s.hub.Now().Marks, 500, "bounded")
	s.hub.Publish(keep.State{ID: 2, State: "recording", Began: began + 9_000_000}, 0)
	assert.Empty(t, s.hub.Now().Marks, "another trace")
}
