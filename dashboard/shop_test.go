package dashboard

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/dashboard/live"
	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/shop"
)

func connected() shop.ReaderState { return shop.ReaderState{Connected: true, Applied: 7, Behind: 2} }

// The page over a shop changes nothing: every call that is not a look, and not
// arithmetic, is refused with words, whatever its body.
func TestThePageOverAShopOnlyShows(t *testing.T) {
	s := serve(t, func(o *Options) { o.Record = connected })
	refused := 0
	for _, r := range s.server.routes() {
		method, path, _ := strings.Cut(r.pattern, " ")
		path = strings.NewReplacer("{id}", "1", "{role}", live.Indicator, "{what}", "cosine").Replace(path)
		switch {
		case method == http.MethodGet:
		case strings.HasPrefix(path, "/api/v1/calc/"):
			status, text := s.ask(method, path, `{}`)
			assert.NotEqual(t, http.StatusForbidden, status, text)
		default:
			refused++
			for _, body := range []string{"", "{}", `{"engine":"x"}`} {
				status, text := s.ask(method, path, body)
				assert.Equal(t, http.StatusForbidden, status, r.pattern)
				assert.Contains(t, text, "Change it on the bench that recorded it", r.pattern)
			}
		}
	}
	assert.Greater(t, refused, 20)
	assert.Empty(t, s.bench.asked, "the bench was asked for nothing")
	_, text := s.ask("GET", "/api/v1/state", "")
	assert.Equal(t, ShopRecord, into[live.Hello](s, text).Shop)
}

func TestTheShopIsAbsentWithoutOne(t *testing.T) {
	s := serve(t, nil)
	for _, path := range []string{"/api/v1/shop", "/api/v1/shop/engines"} {
		status, text := s.ask("GET", path, "")
		assert.Equal(t, http.StatusNotImplemented, status)
		assert.Contains(t, text, "--shop nats://")
	}
	_, text := s.ask("GET", "/api/v1/state", "")
	assert.NotContains(t, text, `"shop"`)
	_, h, _ := s.healthNow()
	assert.Empty(t, h.Notes)
	_, text = s.ask("GET", "/api/v1/spread", "")
	assert.Contains(t, text, "?type=")
}

// A bench that is cut off is healthy, and says what waits.
func TestACutOffBenchIsHealthy(t *testing.T) {
	off := time.Date(2026, 3, 4, 5, 6, 7, 0, time.UTC)
	var asked []shop.Ref
	s := serve(t, func(o *Options) {
		o.Free = plenty
		o.Telling = &Telling{
			Outbox: func() (shop.State, error) { return shop.State{Bench: "stand-1", Waiting: 12, CutOff: &off}, nil },
			Offers: func(context.Context) ([]shop.Offer, error) {
				return nil, errors.New("the shop's server does not answer")
			},
			Fetch: func(_ context.Context, r shop.Ref) (shop.Fetched, error) {
				asked = append(asked, r)
				return shop.Fetched{Engine: "v8", Traces: 3}, nil
			},
		}
	})
	status, h, _ := s.healthNow()
	assert.Equal(t, http.StatusOK, status)
	assert.Equal(t, []string{"shop: 12 waiting, cut off since 2026-03-04T05:06:07Z"}, h.Notes)
	_, text := s.ask("GET", "/api/v1/shop", "")
	assert.Equal(t, 12, into[shopNow](s, text).Outbox.Waiting)
	status, text = s.ask("GET", "/api/v1/shop/engines", "")
	assert.Equal(t, http.StatusBadGateway, status)
	assert.Contains(t, text, "The shop's server does not answer.")
	status, _ = s.ask("POST", "/api/v1/shop/engines", `{"name":"v8"}`)
	assert.Equal(t, http.StatusBadRequest, status)
	status, text = s.ask("POST", "/api/v1/shop/engines", `{"origin":"0123456789abcdef","name":"v8"}`)
	assert.Equal(t, http.StatusOK, status, text)
	assert.Equal(t, []shop.Ref{{Origin: "0123456789abcdef", Name: "v8"}}, asked)
}

// Engines of one type, however the type was typed, are laid against each other
// valve by valve. The values are those that Iglewicz and Hoaglin's rule (cited in
// package timing) has to tell apart: five within 0.01 mm and one 0.4 mm short.
func TestEnginesOfOneType(t *testing.T) {
	s := serve(t, nil)
	put := func(id, kind string) {
		_, err := s.store.PutEngine(storage.Engine{ID: id, Type: kind, Cylinders: 2, Layout: storage.Inline, ValvesPerCylinder: 2})
		require.NoError(t, err)
	}
	measured := func(id, valve string, micrometres, u measure.Length) storage.ID {
		trace := s.record(storage.Head{Engine: id, Valve: valve, Started: time.Now()}, 10)
		require.NoError(t, s.store.PutFindings(trace, lift.Findings{MaxLift: micrometres * measure.Micrometre, MaxLiftU: u * measure.Micrometre,
			Openings: []lift.Opening{{MaxLift: micrometres * measure.Micrometre}}}))
		return trace
	}
	lifts := []measure.Length{10_660, 10_665, 10_668, 10_670, 10_662, 10_260}
	for i, l := range lifts {
		id := string(rune('a' + i))
		put(id, []string{"Small  Block", "small block ", "SMALL BLOCK"}[i%3])
		measured(id, "2E", 9_000, 20) // an older one, that does not count
		measured(id, "2E", l, 8)
	}
	put("other", "big block")
	measured("other", "2E", 12_000, 8)
	odd := measured("f", "1I", 10_000, 60)
	measured("a", "1I", 10_080, 60)

	status, text := s.ask("GET", "/api/v1/spread?type=small+block", "")
	require.Equal(t, http.StatusOK, status, text)
	got := into[typeSpread](s, text)
	assert.Equal(t, []string{"a", "b", "c", "d", "e", "f"}, got.Engines)
	require.Len(t, got.Valves, 2)
	one, two := got.Valves[0], got.Valves[1]
	assert.Equal(t, "1I", one.Valve, "cylinder by cylinder")
	assert.Equal(t, "2E", two.Valve)
	assert.Equal(t, 6, two.Count)
	// The median of six is the middle of 10.662 and 10.665.
	assert.Equal(t, measure.Length(10_663_500), two.Median)
	assert.Equal(t, 410*measure.Micrometre, two.Spread)
	// Two of 8 um: 8·√2 = 11.3138 um (JCGM 100:2008, 5.1.2), rounded up.
	assert.InDelta(t, 11_313.71, float64(two.SpreadU), 1)
	assert.Equal(t, 50*measure.Micrometre, two.Least)
	var out []string
	for _, m := range two.Members {
		if m.Outlier {
			out = append(out, m.Engine)
		}
	}
	assert.Equal(t, []string{"f"}, out)
	// Two engines cannot say which of them is odd, nor is 0.08 mm much where
	// each is known to 0.06.
	assert.Equal(t, 2, one.Count)
	assert.InDelta(t, 84_852.8, float64(one.Least), 1)
	assert.Equal(t, odd, one.Members[1].Trace)
	for _, m := range one.Members {
		assert.False(t, m.Outlier)
	}
	status, text = s.ask("GET", "/api/v1/spread?type=nothing+like+it", "")
	assert.Equal(t, http.StatusOK, status)
	assert.JSONEq(t, `{"type":"nothing like it","engines":[],"valves":[]}`, text)
}
