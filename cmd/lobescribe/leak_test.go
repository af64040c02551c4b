package main

import (
	"bufio"
	"bytes"
	"context"
	"io"
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
)

// A daemon that has ended leaves no goroutine behind, whatever it was doing:
// with its simulator running, a trace in the making, a page open, a backup
// taken and a port looked at.
func TestNothingRunsOnAfterTheEnd(t *testing.T) {
	// What earlier tests keep is not looked at; this one is not parallel.
	defer goleak.VerifyNone(t, goleak.IgnoreCurrent())
	client := &http.Client{Transport: &http.Transport{DisableKeepAlives: true}}
	for _, args := range [][]string{{"demo", "--empty", "--speed", "4"}, {"serve"}} {
		ctx, stop := context.WithCancel(t.Context())
		read, write := io.Pipe()
		var stderr bytes.Buffer
		ended := make(chan int, 1)
		go func() {
			ended <- run(ctx, append(args, "--addr", "127.0.0.1:0", "--data", t.TempDir()), strings.NewReader(""), write, &stderr)
			write.Close()
		}()
		lines := bufio.NewScanner(read)
		require.True(t, lines.Scan(), "%s", &stderr)
		_, url, said := strings.Cut(lines.Text(), "Lobescribe is at ")
		require.True(t, said, lines.Text())
		page, _, err := websocket.DefaultDialer.Dial("ws"+strings.TrimPrefix(url, "http")+"api/v1/live", http.Header{"Origin": {strings.TrimSuffix(url, "/")}})
		require.NoError(t, err)
		for _, path := range []string{"api/v1/state", "api/v1/backup", "api/v1/ports"} {
			r, err := client.Get(url + path)
			require.NoError(t, err)
			_, err = io.Copy(io.Discard, r.Body)
			require.NoError(t, err)
			require.NoError(t, r.Body.Close())
			assert.Equal(t, http.StatusOK, r.StatusCode, path)
		}
		require.NoError(t, page.SetReadDeadline(time.Now().Add(patience)))
		for want := `"type":"trace"`; args[0] == "demo"; {
			_, text, err := page.ReadMessage()
			require.NoError(t, err)
			if bytes.Contains(text, []byte(want)) {
				break
			}
		}
		stop()
		select {
		case code := <-ended:
			assert.Equal(t, exitDone, code, "%s", &stderr)
		case <-time.After(patience):
			t.Fatal("it does not end")
		}
		require.NoError(t, page.Close())
	}
}
