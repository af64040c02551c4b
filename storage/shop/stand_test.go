package shop

import (
	"context"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/storage"
	"lobescribe/storage/shop/broker"
)

// A record is of one stream: of another one it says so and ends, and leaves the
// store as it is.
func TestARecordIsOfOneStream(t *testing.T) {
	bench := newStore(t)
	record(t, bench, storage.Head{Valve: "1I"}, someReadings(10))
	first := oneServer(t, broker.Options{})
	at := Server{URL: first.URL()}
	running(t, newPublisher(t, bench, "bench-1", at).Run)
	waitSent(t, bench)
	s := read(t, at)
	before := rows(t, s)

	other := Server{URL: oneServer(t, broker.Options{}).URL()}
	streamState(t, other, StreamOptions{})
	r, err := NewReader(ReaderOptions{Store: s, Server: other})
	require.NoError(t, err)
	require.ErrorIs(t, r.Run(t.Context()), ErrOtherStream)
	assert.Equal(t, before, rows(t, s))
}

// No record is made in a bench's own store, and a record is known as one.
func TestARecordAndABenchAreKeptApart(t *testing.T) {
	bench := newStore(t)
	record(t, bench, storage.Head{Valve: "1I"}, someReadings(10))
	at := Server{URL: "nats://127.0.0.1:1"}
	_, err := NewReader(ReaderOptions{Store: bench, Server: at})
	require.ErrorIs(t, err, ErrBench)
	is, err := IsRecord(bench)
	require.NoError(t, err)
	assert.False(t, is)

	joined := newStore(t)
	_, err = joined.JoinShop("bench-1")
	require.NoError(t, err)
	_, err = NewReader(ReaderOptions{Store: joined, Server: at})
	require.ErrorIs(t, err, ErrBench, "its outbox has a name, though nothing is in it")

	s := newStore(t)
	for range 2 {
		_, err = NewReader(ReaderOptions{Store: s, Server: at})
		require.NoError(t, err)
		is, err = IsRecord(s)
		require.NoError(t, err)
		assert.True(t, is)
	}
}

// Whoever stops a bench does not wait for a server that takes the connection
// and then says nothing: without a deadline only the cut ends this read.
func TestStoppingCutsTheLine(t *testing.T) {
	silent, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { silent.Close() })
	ctx, stop := context.WithCancel(t.Context())
	c, err := cutDialer{ctx: ctx}.Dial("tcp", silent.Addr().String())
	require.NoError(t, err)
	defer c.Close()
	ended := make(chan error, 1)
	go func() {
		_, err := c.Read(make([]byte, 1))
		ended <- err
	}()
	stop()
	select {
	case err := <-ended:
		require.ErrorIs(t, err, net.ErrClosed)
	case <-time.After(patience):
		t.Fatal("it does not stop")
	}
}

// How a bench stands is told: heard although it has nothing to say, cut off
// since when, and heard again when the server is back.
func TestABenchSaysSinceWhenItIsCutOff(t *testing.T) {
	folder := t.TempDir()
	b := oneServer(t, broker.Options{Folder: folder})
	addr := b.Addr().String()
	s := newStore(t)
	p := newPublisher(t, s, "bench-1", Server{URL: b.URL()})
	running(t, p.Run)
	state := func() State {
		st, err := p.State()
		require.NoError(t, err)
		return st
	}
	require.Eventually(t, func() bool { return state().Connected }, patience, 20*time.Millisecond)
	assert.Nil(t, state().CutOff)

	began := time.Now().Add(-time.Second)
	b.Close()
	require.Eventually(t, func() bool { return !state().Connected }, patience, 20*time.Millisecond)
	require.NotNil(t, state().CutOff)
	assert.WithinRange(t, *state().CutOff, began, time.Now().Add(time.Second))
	record(t, s, storage.Head{Valve: "1I"}, someReadings(10))
	assert.Equal(t, 1, state().Waiting)

	oneServer(t, broker.Options{Addr: addr, Folder: folder})
	waitSent(t, s)
	require.Eventually(t, func() bool { st := state(); return st.Connected && st.CutOff == nil }, patience, 20*time.Millisecond)
	assert.EqualValues(t, 1, state().Sent)
}
