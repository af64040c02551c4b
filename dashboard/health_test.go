package dashboard

import (
	"context"
	"errors"
	"net/http"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/keep"
	"lobescribe/dashboard/live"
)

func (s *site) healthNow() (int, Health, map[string]Check) {
	s.Helper()
	status, text := s.ask("GET", "/healthz", "")
	h := into[Health](s, text)
	parts := map[string]Check{}
	for _, c := range h.Checks {
		parts[c.Part] = c
	}
	return status, h, parts
}

// plenty is a disk with room.
func plenty(string) (uint64, error) { return 1 << 40, nil }

func TestHealthyWhateverTheDevices(t *testing.T) {
	s := serve(t, func(o *Options) {
		o.Alive, o.Free = func(context.Context) error { return nil }, plenty
	})
	status, h, parts := s.healthNow()
	assert.Equal(t, http.StatusOK, status)
	assert.Equal(t, "ok", h.Status)
	assert.Len(t, parts, 3)
	s.hub.Publish(live.Device{ID: live.Indicator, Address: "usb:0403:6001:A50285BI", State: "lost", Detail: "absent"}, 0)
	status, h, _ = s.healthNow()
	assert.Equal(t, http.StatusOK, status, "a cable that is out is no fault of the daemon")
	assert.Equal(t, []DeviceHealth{{ID: live.Indicator, State: "lost", Detail: "absent"}}, h.Devices)
	_, text := s.ask("GET", "/healthz", "")
	assert.NotContains(t, text, "A50285BI", "it does not say where the link leads")
}

func TestWhatIsUnhealthy(t *testing.T) {
	hang := make(chan struct{})
	t.Cleanup(func() { close(hang) })
	for _, c := range []struct {
		name, part, says string
		change           func(*Options)
		then             func(*site)
	}{
		{name: "live hangs and does not even look at its context", part: "live", says: "hangs", change: func(o *Options) {
			o.Alive = func(context.Context) error { <-hang; return nil }
		}},
		{name: "live does not answer", part: "live", says: "hangs", change: func(o *Options) {
			o.Alive = func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }
		}},
		{name: "live has ended", part: "live", says: "has ended", change: func(o *Options) {
			o.Alive = func(context.Context) error { return errors.New("the live side has ended") }
		}},
		{name: "readings are lost", part: "store", says: "no space left", then: func(s *site) {
			s.hub.Publish(keep.State{ID: 1, State: keep.StateFailed, Says: "The disk refuses: no space left."}, 0)
		}},
		{name: "behind on a full disk", part: "store", says: "make room", change: func(o *Options) {
			o.Free = func(string) (uint64, error) { return 1 << 20, nil }
		}, then: func(s *site) {
			s.hub.Publish(keep.State{ID: 1, State: keep.StateBehind, Says: "x"}, 0)
		}},
		{name: "disk full", part: "store", says: "make room", change: func(o *Options) {
			o.Free = func(string) (uint64, error) { return 1 << 20, nil }
		}},
		{name: "disk hangs", part: "store", says: "hangs", change: func(o *Options) {
			o.Free = func(string) (uint64, error) { <-hang; return 0, nil }
		}},
		{name: "no page", part: "page", says: "go generate", change: func(o *Options) {
			o.Page = fstest.MapFS{"index.html": {Data: []byte("x")}}
		}},
		{name: "hub hangs", part: "page", says: "hangs", then: func(s *site) {
			hangs := make(holding)
			s.Cleanup(func() { close(hangs) })
			go s.hub.Publish(hangs, 0)
			hangs <- struct{}{} // the hub is held from here on
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := serve(t, func(o *Options) {
				o.Alive, o.Free, o.HealthWait = func(context.Context) error { return nil }, plenty, 300*time.Millisecond
				if c.change != nil {
					c.change(o)
				}
			})
			if c.then != nil {
				c.then(s)
			}
			for range 3 { // asking again and again makes it no worse
				status, h, parts := s.healthNow()
				assert.Equal(t, http.StatusServiceUnavailable, status)
				assert.Equal(t, "fault", h.Status)
				require.Contains(t, parts, c.part)
				assert.False(t, parts[c.part].OK)
				assert.Contains(t, parts[c.part].Says, c.says)
			}
		})
	}
}

// One part that hangs does not make the others look hung.
func TestOneHangsAndTheOthersAreWell(t *testing.T) {
	t.Parallel()
	s := serve(t, func(o *Options) {
		o.Free, o.HealthWait = plenty, 3*time.Second
		o.Alive = func(ctx context.Context) error { <-ctx.Done(); return ctx.Err() }
	})
	_, _, parts := s.healthNow()
	assert.False(t, parts["live"].OK)
	assert.True(t, parts["store"].OK, parts["store"].Says)
	assert.True(t, parts["page"].OK, parts["page"].Says)
}

// It comes back by itself.
func TestHealthComesBack(t *testing.T) {
	var free atomic.Uint64
	s := serve(t, func(o *Options) { o.Free = func(string) (uint64, error) { return free.Load(), nil } })
	status, _, _ := s.healthNow()
	assert.Equal(t, http.StatusServiceUnavailable, status)
	free.Store(1 << 40)
	status, _, _ = s.healthNow()
	assert.Equal(t, http.StatusOK, status)
	s.hub.Publish(keep.State{ID: 1, State: keep.StateFailed, Says: "x"}, 0)
	status, _, _ = s.healthNow()
	assert.Equal(t, http.StatusServiceUnavailable, status)
	s.hub.Publish(keep.State{ID: 1, State: keep.StateKept}, 0)
	status, _, _ = s.healthNow()
	assert.Equal(t, http.StatusOK, status)
}

// A trace that waits in memory is told and is no fault: whoever restarts a daemon
// that is not well would lose it.
func TestMerelyBehindIsTold(t *testing.T) {
	s := serve(t, func(o *Options) { o.Free = plenty })
	s.hub.Publish(keep.State{ID: 1, State: keep.StateBehind, Says: "The disk has not answered for 3s."}, 0)
	status, h, parts := s.healthNow()
	assert.Equal(t, http.StatusOK, status)
	assert.Equal(t, "ok", h.Status)
	assert.True(t, parts["store"].OK)
	assert.Contains(t, parts["store"].Says, "the store is behind, and readings wait in memory: do not restart. The disk has not answered for 3s.")
	s.hub.Publish(keep.State{ID: 1, State: keep.StateKept}, 0)
	_, _, parts = s.healthNow()
	assert.Empty(t, parts["store"].Says)
}

// The system tells how much room there is where the tests run.
func TestFreeOnThisDisk(t *testing.T) {
	free, err := freeOn(t.TempDir())
	require.NoError(t, err)
	assert.Positive(t, free)
	_, err = freeOn("no/such/folder")
	require.Error(t, err)
}

// holding is a message that holds the hub until the channel is closed: Publish asks
// for its type.
type holding chan struct{}

func (h holding) Type() string {
	<-h
	<-h
	return "holding"
}
