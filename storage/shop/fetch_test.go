package shop

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
	"lobescribe/storage/shop/broker"
)

// An engine started on one bench is gone on with on another, and the shop sees one
// engine.
func TestAnEngineGoesOnOnAnotherBench(t *testing.T) {
	at := Server{URL: oneServer(t, broker.Options{}).URL()}
	one, two := newStore(t), newStore(t)
	putEngine(t, one, "v8")
	putEngine(t, two, "v8") // another one, by chance of the same name
	want := someReadings(17_000)
	first := record(t, one, storage.Head{Engine: "v8", Valve: "1I"}, want)
	_, err := one.PutTrial(storage.Trial{Engine: "v8", Valve: "1I", Traces: []storage.ID{first}})
	require.NoError(t, err)
	stop := running(t, newPublisher(t, one, "bench-1", at).Run)
	running(t, newPublisher(t, two, "bench-2", at).Run)
	waitSent(t, one)
	waitSent(t, two)
	stop() // the first bench is switched off

	self, _, err := one.ShopSelf()
	require.NoError(t, err)
	o := FetchOptions{Store: two, Server: at, Bench: "bench-2"}
	v8 := Ref{self.Origin, "v8"}
	got, err := Fetch(t.Context(), o, v8)
	require.NoError(t, err)
	assert.Equal(t, Fetched{Engine: "bench-1.v8", Traces: 1, Documents: 2}, got)
	list, err := two.Traces(storage.Query{Engine: "bench-1.v8"})
	require.NoError(t, err)
	require.Len(t, list, 1)
	assert.Equal(t, want, readingsOf(t, two, list[0].ID))
	trials, err := two.Trials("bench-1.v8")
	require.NoError(t, err)
	require.Len(t, trials, 1)
	assert.Equal(t, []storage.ID{list[0].ID}, trials[0].Traces)
	n, _, err := two.Waiting()
	require.NoError(t, err)
	assert.Zero(t, n, "what came from the shop is no news to it")
	again, err := Fetch(t.Context(), o, v8)
	require.NoError(t, err)
	assert.Zero(t, again.Traces, "it is there already")

	record(t, two, storage.Head{Engine: "bench-1.v8", Valve: "1E"}, someReadings(10))
	waitSent(t, two)
	all := read(t, at)
	mine, err := all.Traces(storage.Query{Engine: "bench-1.v8"})
	require.NoError(t, err)
	assert.Len(t, mine, 2, "one engine, two benches")
	entries, err := EngineEntries(all)
	require.NoError(t, err)
	assert.Equal(t, []string{"bench-1", "bench-2"}, entries["bench-1.v8"].Benches)
	// And back on the first bench.
	back, err := Fetch(t.Context(), FetchOptions{Store: one, Server: at, Bench: "bench-1"}, v8)
	require.NoError(t, err)
	assert.Equal(t, "v8", back.Engine)
	assert.Equal(t, 1, back.Traces)

	_, err = Fetch(t.Context(), o, Ref{self.Origin, "v9"})
	assert.ErrorContains(t, err, "lobescribe shop engines")
}
