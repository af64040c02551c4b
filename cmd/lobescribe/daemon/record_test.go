package daemon

import (
	"context"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/device/address"
	"lobescribe/storage"
)

// A headless recording whose store is hurt meanwhile: it is mended, which is
// said, and the trace goes on.
func TestAHeadlessRecordingTendsItsStore(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	talking, quiet := context.WithCancel(t.Context())
	defer quiet()
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		for n := 0; talking.Err() == nil; n++ {
			if _, err := fmt.Fprintf(c, "%.3f mm\r\n", float64(n%1000)/100); err != nil {
				return
			}
			time.Sleep(time.Millisecond)
		}
	}()
	path := filepath.Join(t.TempDir(), "bench.db")
	store, err := storage.Open(path, storage.Options{})
	require.NoError(t, err)
	defer store.Close()
	a, err := address.Parse("tcp://" + l.Addr().String() + "?format=unit-behind")
	require.NoError(t, err)
	said := make(chan string, 100)
	ctx, enough := context.WithCancel(t.Context())
	defer enough()
	done := make(chan Recorded, 1)
	go func() {
		r, err := Record(ctx, RecordOptions{Devices: map[capture.Role]address.Address{capture.Indicator: a}, Store: store,
			Tending: storage.Tending{Every: 20 * time.Millisecond, Again: 20 * time.Millisecond, There: 20 * time.Millisecond},
			Says: func(text string) {
				select {
				case said <- text:
				default:
				}
			}})
		assert.NoError(t, err)
		done <- r
	}()
	stored := func(more uint64) uint64 {
		var n uint64
		require.Eventually(t, func() bool {
			list, err := store.Traces(storage.Query{})
			if err != nil || len(list) == 0 {
				return false
			}
			n = list[0].Readings
			return n > more
		}, patience, 5*time.Millisecond)
		return n
	}
	before := stored(0)
	image, err := os.ReadFile(path)
	require.NoError(t, err)
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	require.NoError(t, err)
	for at := int64(2 * 4096); at < int64(len(image)); at += 4096 { // the number of each page
		_, err := f.WriteAt([]byte{image[at] ^ 0x80}, at)
		require.NoError(t, err)
	}
	require.NoError(t, f.Close())
	after := stored(before + 500)
	assert.Greater(t, after, before)
	enough()
	r := <-done
	quiet()
	require.NotZero(t, r.ID)
	repairs, err := store.Repairs(true)
	require.NoError(t, err)
	require.NotEmpty(t, repairs)
	told := ""
	for len(said) > 0 {
		told += <-said + "\n"
	}
	assert.Contains(t, told, "was found hurt")
	var lost int64
	for _, done := range repairs {
		for _, loss := range done.Losses {
			lost += max(loss.Lost, 0)
		}
	}
	_, trace, err := store.Load(r.ID)
	assert.NoError(t, err)
	assert.GreaterOrEqual(t, int64(len(trace.Readings))+lost, int64(after))
}
