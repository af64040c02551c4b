package live

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
)

// Who asks for the lowest delay gets every reading and state by itself; the
// others get the same readings in batches, and everybody every cue.
func TestTheLowestDelayForWhoAsksForIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHub(HubOptions{})
		defer h.Close()
		page := join(t, h)
		assert.Zero(t, h.Counts().Prompt)
		program, err := h.JoinPrompt()
		require.NoError(t, err)
		assert.Equal(t, 1, h.Counts().Prompt)
		drain(t, page)
		drain(t, program)

		for i := range int64(4) {
			h.Publish(batch(i), 0)
			got := drain(t, program)
			require.Len(t, got, 1, "reading %d", i)
			assert.Equal(t, []int64{i}, got[0].T_us)
			h.Publish(capture.Position{Lift: i}, 0)
			assert.Equal(t, []string{"state"}, types(drain(t, program)))
		}
		h.Publish(capture.Cue{Kind: capture.AtHalf}, 0)
		assert.Equal(t, []string{"cue"}, types(drain(t, program)), "nothing twice")
		got := drain(t, page)
		assert.Equal(t, []string{"readings", "readings", "state", "cue"}, types(got))
		assert.Equal(t, []int64{1, 2, 3}, got[1].T_us)

		program.Leave()
		assert.Zero(t, h.Counts().Prompt)
	})
}

// A state comes with each batch of readings. It must not count as a batch
// itself: then every second batch would be late by its pace.
func TestAStateDoesNotHoldUpTheNextReadings(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := NewHub(HubOptions{Every: 16 * time.Millisecond})
		defer h.Close()
		c := join(t, h)
		drain(t, c)
		for i := range int64(5) {
			h.Publish(batch(i), 0)
			h.Publish(capture.Position{Lift: i}, 0)
			assert.Equal(t, []string{"readings", "state"}, types(drain(t, c)), "reading %d goes at once, and its state with it", i)
			time.Sleep(17 * time.Millisecond)
		}
	})
}
