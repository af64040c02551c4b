package dashboard

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/time/rate"

	"lobescribe/dashboard/thin"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

func TestSeries(t *testing.T) {
	s := serve(t, nil)
	s.record(storage.Head{}, 20_000)
	get := func(query string) shownSeries {
		status, text := s.ask("GET", "/api/v1/traces/1/series"+query, "")
		require.Equal(t, 200, status, text)
		return into[shownSeries](s, text)
	}
	whole := get("")
	assert.Equal(t, 20_000, whole.Readings)
	assert.Equal(t, measure.Stamp(19_999_000), whole.Seconds)
	require.Len(t, whole.At, columnsShown)
	highest := whole.Max[0]
	for i := range whole.At {
		highest = max(highest, whole.Max[i])
		assert.Equal(t, whole.At[i]*360, whole.Angle[i], "360 degrees a second, of the same reading as the time")
	}
	assert.EqualValues(t, 10_668_000, highest, "the nose is as high as it was")

	// Zoomed in on one nose, down to the readings themselves.
	near := get("?from_s=7.4&to_s=7.6&columns=300")
	assert.Len(t, near.At, 201)
	assert.Equal(t, near.Min, near.Max)
	assert.Equal(t, measure.Stamp(7_400_000), near.From)

	outside := get("?from_s=100&to_s=200")
	assert.Empty(t, outside.At)
	one := get("?from_s=3&to_s=3")
	assert.Equal(t, []int64{3_000_000}, one.At)
}

// A trace in the making is seen as far as it has grown.
func TestSeriesOfATraceInTheMaking(t *testing.T) {
	s := serve(t, nil)
	w, err := s.store.Begin(storage.Head{})
	require.NoError(t, err)
	for n := range 3 {
		require.NoError(t, w.Append([]measure.Reading{{At: measure.Stamp(n) * 1000, Lift: 5, Has: measure.HasLift}}, nil))
		_, text := s.ask("GET", "/api/v1/traces/1/series", "")
		assert.Equal(t, n+1, into[shownSeries](s, text).Readings)
	}
	require.NoError(t, w.End())
}

func TestTheCacheIsBounded(t *testing.T) {
	var loads atomic.Int64
	c := newSeriesCache(func(id storage.ID) (*decoded, error) {
		loads.Add(1)
		if id == 99 {
			return nil, errors.New("gone")
		}
		return &decoded{columns: thin.Columns{At: make([]int64, 10_000)}}, nil
	})
	c.most = 35_000 // three of them
	get := func(id storage.ID) {
		_, err := c.get(t.Context(), id)
		require.NoError(t, err)
	}
	for _, id := range []storage.ID{1, 2, 3, 1, 4} { // 2 is the one not seen for longest
		get(id)
	}
	assert.Len(t, c.list, 3)
	assert.LessOrEqual(t, c.held, c.most)
	before := loads.Load()
	get(1)
	get(3)
	get(4)
	assert.Equal(t, before, loads.Load())
	get(2)
	assert.Equal(t, before+1, loads.Load())

	_, err := c.get(t.Context(), 99)
	require.Error(t, err)
	_, err = c.get(t.Context(), 99)
	require.Error(t, err, "a failure is not kept")
	assert.Equal(t, before+3, loads.Load())
	c.forget(2)
	c.forget(77)
	total := 0
	for _, e := range c.list {
		total += e.size
	}
	assert.Equal(t, total, c.held)
}

func TestTheCacheLoadsOnce(t *testing.T) {
	var loads atomic.Int64
	begin := make(chan struct{})
	c := newSeriesCache(func(storage.ID) (*decoded, error) {
		loads.Add(1)
		<-begin
		return &decoded{}, nil
	})
	var asking sync.WaitGroup
	for range 20 {
		asking.Go(func() {
			_, err := c.get(context.Background(), 1)
			assert.NoError(t, err)
		})
	}
	close(begin)
	asking.Wait()
	assert.EqualValues(t, 1, loads.Load())
}

// What a chart of 1,000,000 readings costs: the first look decodes the trace,
// every zoom after that only thins it.
func BenchmarkSeriesOfAMillion(b *testing.B) {
	s := serve(b, nil)
	s.server.rate.SetLimit(rate.Inf)
	s.record(storage.Head{}, 1_000_000)
	for _, c := range []struct {
		name   string
		forget bool
	}{{"first look", true}, {"zoom", false}} {
		b.Run(c.name, func(b *testing.B) {
			for i := 0; b.Loop(); i++ {
				if c.forget {
					s.server.series.forget(1)
				}
				status, text := s.ask("GET", fmt.Sprintf("/api/v1/traces/1/series?from_s=%d&columns=900", i%500), "")
				require.Equal(b, 200, status, text)
			}
		})
	}
}
