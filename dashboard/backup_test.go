package dashboard

import (
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/storage"
)

// What arrives is a store that opens and is whole, with everything in it that
// had been acknowledged when it was asked for, although readings come in all the
// while.
func TestBackupWhileRecording(t *testing.T) {
	made := time.Date(2026, 3, 14, 15, 9, 0, 0, time.UTC)
	s := serve(t, func(o *Options) { o.Clock = func() time.Time { return made } })
	s.record(storage.Head{Valve: "1I"}, 20_000)
	w, err := s.store.Begin(storage.Head{Valve: "1E"})
	require.NoError(t, err)
	var mu sync.Mutex
	acknowledged := 0
	stop, recording := make(chan struct{}), sync.WaitGroup{}
	recording.Go(func() {
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
			}
			var batch []measure.Reading
			for j := range 100 {
				batch = append(batch, measure.Reading{At: measure.Stamp(i*100+j) * measure.Millisecond, Lift: measure.Length(j * 1000), Has: measure.HasLift})
			}
			if !assert.NoError(t, w.Append(batch, nil)) {
				return
			}
			mu.Lock()
			acknowledged += len(batch)
			mu.Unlock()
		}
	})
	for range 5 {
		mu.Lock()
		least := acknowledged
		mu.Unlock()
		answer, err := http.Get(s.url + "/api/v1/backup")
		require.NoError(t, err)
		body, err := io.ReadAll(answer.Body)
		require.NoError(t, err)
		answer.Body.Close()
		require.Equal(t, 200, answer.StatusCode, "%.200s", body)
		assert.Equal(t, "application/octet-stream", answer.Header.Get("Content-Type"))
		assert.Equal(t, "attachment; filename=lobescribe-2026-03-14-1509.db", answer.Header.Get("Content-Disposition"))
		assert.EqualValues(t, len(body), answer.ContentLength)

		name := filepath.Join(t.TempDir(), "copy.db")
		require.NoError(t, os.WriteFile(name, body, 0o600))
		report, err := storage.VerifyFile(t.Context(), name)
		require.NoError(t, err)
		assert.True(t, report.Whole(), "%s", report)
		assert.Equal(t, 2, report.Traces)
		assert.GreaterOrEqual(t, report.Readings, uint64(20_000+least))
		again, err := storage.Open(name, storage.Options{})
		require.NoError(t, err)
		require.NoError(t, again.Close())
	}
	close(stop)
	recording.Wait()
	require.NoError(t, w.End())
	s.nothingLeft()
}

// nothingLeft looks that no copy lies beside the store.
func (s *site) nothingLeft() {
	s.Helper()
	left, err := filepath.Glob(filepath.Join(filepath.Dir(s.store.Path()), "*.part"))
	require.NoError(s, err)
	assert.Empty(s, left)
}

// One that does not take what it asked for is let go, and holds up neither the
// next backup for long nor whoever records at all.
func TestBackupOfASlowClient(t *testing.T) {
	for name, change := range map[string]func(*Options){
		"standing still":    func(o *Options) { o.AnswerWait = 300 * time.Millisecond },
		"slow on the whole": func(o *Options) { o.BackupWait, o.AnswerWait = 500*time.Millisecond, 2*time.Second },
	} {
		t.Run(name, func(t *testing.T) {
			s := serve(t, change)
			fill(s)
			conn, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
			require.NoError(t, err)
			defer conn.Close()
			require.NoError(t, conn.(*net.TCPConn).SetReadBuffer(64<<10)) // a window much smaller than the store
			_, err = fmt.Fprintf(conn, "GET /api/v1/backup HTTP/1.1\r\nHost: %s\r\n\r\n", strings.TrimPrefix(s.url, "http://"))
			require.NoError(t, err)
			head := make([]byte, 64)
			n, err := conn.Read(head)
			require.NoError(t, err)
			require.Contains(t, string(head[:n]), "200 OK")

			status, text := s.ask("GET", "/api/v1/backup", "")
			assert.Equal(t, 503, status, "one at a time")
			assert.Contains(t, text, "Another backup is under way")
			s.record(storage.Head{}, 1000) // does not wait for the client

			// It was not whole: the line breaks off before the promised length.
			if name == "slow on the whole" {
				_ = conn.SetReadDeadline(time.Now().Add(time.Minute))
				got, slow := 0, time.Now().Add(time.Second)
				for one := make([]byte, 16<<10); ; {
					n, err := conn.Read(one)
					if got += n; err != nil {
						break
					}
					if time.Now().Before(slow) {
						time.Sleep(20 * time.Millisecond)
					}
				}
				info, err := os.Stat(s.store.Path())
				require.NoError(t, err)
				assert.Less(t, int64(got), info.Size()/2)
			}
			require.Eventually(t, func() bool {
				status, _ := s.ask("GET", "/api/v1/backup", "")
				return status == 200
			}, time.Minute, 100*time.Millisecond, "the place was given back")
			s.nothingLeft()
		})
	}
}

// fill makes a store that no window and no buffer takes whole.
func fill(s *site) {
	s.Helper()
	w, err := s.store.Begin(storage.Head{})
	require.NoError(s, err)
	batch := make([]measure.Reading, 400_000)
	x := uint64(1)
	for i := range batch {
		x = x*6364136223846793005 + 1442695040888963407 // noise, which does not pack
		batch[i] = measure.Reading{At: measure.Stamp(i) * 1000, Lift: measure.Length(x >> 32), Angle: measure.Angle(x >> 30), Has: measure.HasLift | measure.HasAngle}
	}
	require.NoError(s, w.Append(batch, nil))
	require.NoError(s, w.End())
	info, err := os.Stat(s.store.Path())
	require.NoError(s, err)
	require.GreaterOrEqual(s, info.Size(), int64(4<<20)) // a power of two on Windows
}

func TestBackupIsBehindTheDoor(t *testing.T) {
	s := serve(t, nil)
	for header, value := range map[string]string{"Origin": "http://evil.example", "Sec-Fetch-Site": "cross-site"} {
		r, err := http.NewRequest("GET", s.url+"/api/v1/backup", nil)
		require.NoError(t, err)
		r.Header.Set(header, value)
		status, _ := s.do(r)
		assert.Equal(t, 403, status, header)
	}
	status, _ := s.ask("HEAD", "/api/v1/backup", "")
	assert.Equal(t, 405, status)
}
