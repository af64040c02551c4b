package shop

import (
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats-server/v2/server"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
)

// Ten benches tell a cluster of three what they record, and one node of it, the
// stream's own leader, is killed meanwhile: nothing is lost, nothing is there
// twice, and the order of each trace is kept. LOBESCRIBE_SHOP_LONG=1 makes it
// fifty times as much.
func TestTenBenchesAndANodeThatDies(t *testing.T) {
	const benches = 10
	each := 6
	if os.Getenv("LOBESCRIBE_SHOP_LONG") != "" {
		each = 300
	}
	nodes, urls := cluster(t, 3)
	at := Server{URL: urls}
	streamState(t, at, StreamOptions{Replicas: 3})

	stores := make([]*storage.Store, benches)
	ids := make([][]storage.ID, benches)
	for i := range benches {
		stores[i] = newStore(t)
		for n := range 3 {
			putEngine(t, stores[i], fmt.Sprint("engine-", n))
		}
		running(t, newPublisher(t, stores[i], fmt.Sprint("bench-", i), at).Run)
	}
	// Every second trace has two parts: 16,384 readings and some.
	readings := func(bench, n int) int { return 17_000 - 16_900*(n%2) + bench*7 + n }
	for n := range each {
		if n == each/2 {
			killLeader(t, nodes)
		}
		for i, s := range stores {
			ids[i] = append(ids[i], record(t, s, storage.Head{Engine: fmt.Sprint("engine-", n%3), Valve: "1I", Remark: fmt.Sprint(n)}, someReadings(readings(i, n))))
		}
	}
	for _, s := range stores {
		waitSent(t, s)
	}

	got := read(t, at)
	byKey := map[string]storage.Summary{}
	for _, one := range traces(t, got) {
		var key string
		_, err := got.ShopBook(bookCopy+"trace/"+one.ID.String(), &key)
		require.NoError(t, err)
		assert.NotContains(t, byKey, key, "twice")
		byKey[key] = one
	}
	require.Len(t, byKey, benches*each)
	for i, s := range stores {
		self, _, err := s.ShopSelf()
		require.NoError(t, err)
		for n, id := range ids[i] {
			h, err := s.Head(id)
			require.NoError(t, err)
			there, ok := byKey[Key(self.Origin, id, h.Started)]
			require.True(t, ok, "bench %d, trace %s is lost", i, id)
			assert.Equal(t, someReadings(readings(i, n)), readingsOf(t, got, there.ID))
			assert.Equal(t, fmt.Sprint(n), there.Remark)
		}
	}
	inOrder(t, at)
}

// killLeader stops the node that leads the stream. It is a server in this
// process, so it still hands its leadership over; that it then is gone is what
// is tested.
func killLeader(t *testing.T, nodes []*server.Server) {
	t.Helper()
	require.Eventually(t, func() bool {
		for _, s := range nodes {
			if s.JetStreamIsStreamLeader(server.DEFAULT_GLOBAL_ACCOUNT, StreamName) {
				s.Shutdown()
				return true
			}
		}
		return false
	}, patience, 20*time.Millisecond, "nobody leads the stream")
}

// inOrder checks, on what the stream itself holds, that no message ID is there
// twice, and that each trace comes as its parts from the first reading on and
// then the trace.
func inOrder(t *testing.T, at Server) {
	t.Helper()
	l, err := dial(t.Context(), dialing{at, "shop", pace{}, quiet()})
	require.NoError(t, err)
	defer l.close()
	last := streamState(t, at, StreamOptions{}).LastSeq
	m, err := l.messages(t.Context(), jetstream.OrderedConsumerConfig{})
	require.NoError(t, err)
	defer m.Stop()
	seen := map[string]bool{}
	next := map[string]uint64{}
	whole := map[string]bool{}
	for seq := uint64(0); seq < last; {
		raw, err := m.Next(jetstream.NextMaxWait(patience))
		require.NoError(t, err)
		meta, err := raw.Metadata()
		require.NoError(t, err)
		seq = meta.Sequence.Stream
		msg, id, err := Decode(raw.Data())
		require.NoError(t, err)
		assert.False(t, seen[id], "%s is there twice", raw.Subject())
		seen[id] = true
		assert.True(t, strings.HasPrefix(raw.Subject(), Prefix+msg.Bench+"."))
		switch {
		case msg.Part != nil:
			require.Equal(t, next[msg.Part.Key], msg.Part.First, raw.Subject())
			require.False(t, whole[msg.Part.Key])
			next[msg.Part.Key] += uint64(msg.Part.Count)
		case msg.Trace != nil:
			require.Equal(t, next[msg.Trace.Key], msg.Trace.Readings, raw.Subject())
			whole[msg.Trace.Key] = true
		}
	}
	assert.Equal(t, len(next), len(whole))
}
