package shop

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"log/slog"
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// flooding is a server that says what it likes; sent counts the bytes that were
// taken off it.
func flooding(t *testing.T, begins string, answer func(line string) string) (url string, sent *atomic.Int64) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	t.Cleanup(func() { l.Close() })
	sent = new(atomic.Int64)
	flood := func(c net.Conn) {
		for piece := bytes.Repeat([]byte("a"), 1<<16); ; {
			n, err := c.Write(piece)
			if sent.Add(int64(n)); err != nil {
				return
			}
		}
	}
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				if _, err := io.WriteString(c, begins); err != nil || answer == nil {
					flood(c)
					return
				}
				for lines := bufio.NewScanner(c); lines.Scan(); {
					text := answer(lines.Text())
					_, _ = io.WriteString(c, text)
					if strings.HasPrefix(text, "MSG") {
						flood(c)
						return
					}
				}
			}()
		}
	}()
	return "nats://" + l.Addr().String(), sent
}

const serverInfo = `INFO {"server_id":"X","version":"2.11.0","proto":1,"headers":true,"max_payload":1048576,"jetstream":true}` + "\r\n"

// A server that is not ours, or no more, sends a greeting without end, or one
// message of two gigabytes: the bench takes some of it slowly, and keeps its memory
// for what it records. The protocol is that of docs.nats.io, "Client Protocol".
func TestAServerThatFloods(t *testing.T) {
	t.Parallel()
	const most = 16 << 20 // bytes: the burst, a few seconds' worth, and what waits in the system's buffers
	log := slog.New(slog.DiscardHandler)
	t.Run("greeting", func(t *testing.T) {
		t.Parallel()
		url, sent := flooding(t, `INFO {"a":"`, nil)
		_, err := dial(t.Context(), dialing{Server{URL: url}, "b", tellingPace(), log})
		require.ErrorContains(t, err, "does not answer")
		assert.Less(t, sent.Load(), int64(most))
	})
	for name, size := range map[string]int{"message": mostMessage, "message of gigabytes": 2_000_000_000} {
		t.Run(name, func(t *testing.T) { floods(t, size, most) })
	}
	t.Run("words", func(t *testing.T) {
		t.Parallel()
		url, _ := flooding(t, serverInfo, func(line string) string {
			if strings.HasPrefix(line, "PING") {
				return "-ERR '" + strings.Repeat("long ", 10_000) + "'\r\n"
			}
			return ""
		})
		_, err := dial(t.Context(), dialing{Server{URL: url}, "b", tellingPace(), log})
		require.Error(t, err)
		assert.Less(t, len(err.Error()), 1000)
	})
}

// floods has a server answer with a message of that size, and fewer than most bytes
// of it are taken; when it is more than any server allows, the connection ends.
func floods(t *testing.T, size int, most int64) {
	t.Parallel()
	url, sent := flooding(t, serverInfo, func(line string) string {
		switch words := strings.Fields(line); {
		case strings.HasPrefix(line, "PING"):
			return "PONG\r\n"
		case len(words) == 3 && words[0] == "SUB":
			return fmt.Sprintf("MSG %s %s %d\r\n", words[1], words[2], size)
		}
		return ""
	})
	l, err := dial(t.Context(), dialing{Server{URL: url}, "b", tellingPace(), slog.New(slog.DiscardHandler)})
	require.NoError(t, err)
	defer l.close()
	_, err = l.nc.Subscribe("x", func(*nats.Msg) {})
	require.NoError(t, err)
	require.Eventually(t, func() bool { return sent.Load() > 1<<10 }, 10*time.Second, 10*time.Millisecond, "it comes")
	time.Sleep(3 * time.Second)
	assert.Less(t, sent.Load(), most)
	if size > mostMessage {
		require.Eventually(t, func() bool { return !l.nc.IsConnected() }, 10*time.Second, 10*time.Millisecond)
	}
}

// However it is cut: lines and payloads are told apart, and the first that is too
// large ends it.
func TestSizes(t *testing.T) {
	sound := serverInfo + "PONG\r\nMSG a 1 5\r\nMSG \n\r\nHMSG a 1 r 2 7\r\n1234567\r\n+OK\r\nMSG a 1 0\r\n\r\n-ERR 'x'\r\nPING\r\n"
	for name, c := range map[string]struct {
		text string
		bad  bool
	}{
		"sound": {sound, false}, "TLS": {serverInfo + "\x16\x03\x01MSG a 1 99999999999\r\n", false},
		"gigabytes": {sound + "MSG a 1 2000000000\r\n", true}, "with headers": {sound + "hmsg a 1 12 2000000000\r\n", true},
		"less than nothing": {sound + "MSG a 1 -1\r\n", true}, "no number": {sound + "MSG a 1 x\r\n", true},
		"more than a number": {sound + "MSG a 1 99999999999999999999\r\n", true},
		"a line without end": {sound + "INFO " + strings.Repeat("a", mostGreeting), true},
	} {
		for _, cut := range []int{1, 3, 1000, 1 << 20} {
			var s sizes
			var err error
			for rest := []byte(c.text); len(rest) > 0 && err == nil; {
				n := min(cut, len(rest))
				err = s.see(rest[:n])
				rest = rest[n:]
			}
			assert.Equal(t, c.bad, err != nil, "%s cut at %d: %v", name, cut, err)
		}
	}
}
