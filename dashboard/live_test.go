package dashboard

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"net"
	"net/http"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture"
	"lobescribe/capture/lift"
	"lobescribe/capture/worksheet"
	"lobescribe/dashboard/live"
)

// heard is one message as a client got it.
type heard struct {
	Type string
	Lost int
	T_us []int64
	Text string `json:"-"`
}

func batch(at ...int64) capture.Readings { return capture.Readings{At: at, Lift: at} }

// hearOne reads the next message that is not "alive".
func hearOne(t *testing.T, conn *websocket.Conn) heard {
	t.Helper()
	for {
		require.NoError(t, conn.SetReadDeadline(time.Now().Add(soon)))
		_, text, err := conn.ReadMessage()
		require.NoError(t, err)
		var h heard
		require.NoError(t, json.Unmarshal(text, &h))
		h.Text = string(text)
		if h.Type != "alive" {
			return h
		}
	}
}

func TestTheSocket(t *testing.T) {
	s := serve(t, nil)
	s.hub.Publish(batch(1, 2), 0)
	conn, _, err := s.dial(nil)
	require.NoError(t, err)
	defer conn.Close()
	assert.Equal(t, "hello", hearOne(t, conn).Type)
	assert.Equal(t, []int64{1, 2}, hearOne(t, conn).T_us)
	s.hub.Publish(capture.Cue{Kind: capture.AtHalf, ToGo: 2540}, 0)
	cue := hearOne(t, conn)
	assert.JSONEq(t, `{"type":"cue","t_s":0,"kind":"at-half","lift_nm":0,"to_go_nm":2540}`, cue.Text)

	// A program without a page may listen; a foreign page may not.
	plain, _, err := s.dial(http.Header{})
	require.NoError(t, err)
	plain.Close()
	_, answer, err := s.dial(http.Header{"Origin": {"http://evil.example"}})
	require.Error(t, err)
	assert.Equal(t, 403, answer.StatusCode)
}

// A page must be able to tell a quiet engine from a dead link.
func TestAQuietSocketIsAlive(t *testing.T) {
	s := serve(t, nil)
	conn, _, err := s.dial(nil)
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, conn.SetReadDeadline(time.Now().Add(soon)))
	for _, want := range []string{`"type":"hello"`, `{"type":"alive"}`, `{"type":"alive"}`} {
		_, text, err := conn.ReadMessage()
		require.NoError(t, err)
		assert.Contains(t, string(text), want)
	}
}

// What a client says is bounded in size and number.
func TestAClientThatTalksTooMuchIsSentAway(t *testing.T) {
	s := serve(t, nil)
	for name, talk := range map[string]func(*websocket.Conn) error{
		"too long": func(c *websocket.Conn) error {
			return c.WriteMessage(websocket.TextMessage, make([]byte, 4<<10+1))
		},
		"too often": func(c *websocket.Conn) error { return c.WriteMessage(websocket.TextMessage, []byte("{}")) },
		"pings":     func(c *websocket.Conn) error { return c.WriteControl(websocket.PingMessage, nil, time.Now().Add(soon)) },
		// RFC 6455, 5.2 and 5.4: a text that goes on (op 1 without the last bit, then op
		// 0), masked with zeros, in pieces without a byte.
		"pieces of nothing": func() func(*websocket.Conn) error {
			pieces := append([]byte{0x01, 0x80, 0, 0, 0, 0}, bytes.Repeat([]byte{0x00, 0x80, 0, 0, 0, 0}, 1000)...)
			return func(c *websocket.Conn) error {
				_, err := c.NetConn().Write(pieces)
				pieces = pieces[len(pieces)-6000:]
				return err
			}
		}(),
	} {
		t.Run(name, func(t *testing.T) {
			conn, _, err := s.dial(nil)
			require.NoError(t, err)
			defer conn.Close()
			conn.SetPingHandler(func(string) error { return nil }) // its answer would fall between the pieces
			gone := make(chan error, 1)
			go func() {
				for {
					if _, _, err := conn.ReadMessage(); err != nil {
						gone <- err
						return
					}
				}
			}()
			began, deadline := time.Now(), time.After(soon)
			for {
				select {
				case <-gone:
					// Whoever answers no ping goes after 15 s, whatever is sent.
					assert.Less(t, time.Since(began), 14*time.Second, "for what it says")
					return
				case <-deadline:
					t.Fatal("still welcome")
				default:
					_ = talk(conn) // fails once it has been sent away
				}
			}
		})
	}
	require.Eventually(t, func() bool { return s.hub.Clients() == 0 }, soon, time.Millisecond)
}

func TestFullHouse(t *testing.T) {
	s := serve(t, func(o *Options) { o.Hub = live.NewHub(live.HubOptions{Clients: 1}) })
	conn, _, err := s.dial(nil)
	require.NoError(t, err)
	defer conn.Close()
	_, answer, err := s.dial(nil)
	require.Error(t, err)
	assert.Equal(t, 503, answer.StatusCode)
}

// A hundred pages: sixty listen, twenty do not read at all, twenty come and go.
// Those that listen hear every cue and every opening, once and in order,
// whatever the others do; those that stall are let go, and nothing is left of
// them.
func TestAHundredClients(t *testing.T) {
	const healthy, stalled, restless, rounds = 60, 20, 20, 150
	s := serve(t, func(o *Options) { o.Hub = live.NewHub(live.HubOptions{Waiting: 120}) })
	stop := make(chan struct{})
	var others sync.WaitGroup

	for range stalled {
		conn, err := net.Dial("tcp", strings.TrimPrefix(s.url, "http://"))
		require.NoError(t, err)
		defer conn.Close()
		// A small window, so that it stalls at once and not after megabytes.
		require.NoError(t, conn.(*net.TCPConn).SetReadBuffer(1))
		dialer := websocket.Dialer{NetDial: func(string, string) (net.Conn, error) { return conn, nil }}
		_, _, err = dialer.Dial("ws"+strings.TrimPrefix(s.url, "http")+"/api/v1/live", nil)
		require.NoError(t, err)
	}
	for range restless {
		others.Go(func() {
			r := rand.New(rand.NewPCG(1, 2))
			for {
				select {
				case <-stop:
					return
				default:
				}
				conn, _, err := s.dial(nil)
				if err != nil {
					continue
				}
				for range r.IntN(5) {
					conn.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
					if _, _, err := conn.ReadMessage(); err != nil {
						break
					}
				}
				conn.Close()
			}
		})
	}
	var ready, listeners sync.WaitGroup
	results := make([]error, healthy)
	heardOf := make([]atomic.Int64, healthy) // openings, by listener
	for i := range healthy {
		ready.Add(1)
		listeners.Go(func() {
			results[i] = s.listen(rounds, ready.Done, &heardOf[i])
			heardOf[i].Store(rounds) // failed or done: not waited for
		})
	}
	ready.Wait()
	filler := strings.Repeat("x", 20_000) // what a stalled client's socket cannot swallow
	for i := range rounds {
		s.hub.Publish(batch(int64(i)), 0)
		s.hub.Publish(capture.Position{Lift: int64(i)}, 0)
		s.hub.Publish(capture.Cue{ToGo: int64(i)}, 0)
		s.hub.Publish(capture.Opened{Opening: lift.Opening{MaxLift: 1, Open: 2}}, 0)
		s.hub.Publish(capture.Fault{Fault: lift.Fault{Kind: lift.BackTurn, Says: worksheet.Sayf("%s", filler[:100+19_900*(i%10/9)])}}, 0)
		// No faster than this machine can carry: the healthy ones are healthy.
		for rearmost(heardOf) < int64(i-30) {
			time.Sleep(time.Millisecond)
		}
	}
	listeners.Wait()
	for i, err := range results {
		assert.NoError(t, err, "listener %d", i)
	}
	close(stop)
	others.Wait()
	require.Eventually(t, func() bool { return s.hub.Clients() == 0 }, soon, 10*time.Millisecond, "the stalled ones are let go too")
}

func rearmost(counts []atomic.Int64) int64 {
	least := counts[0].Load()
	for i := range counts {
		least = min(least, counts[i].Load())
	}
	return least
}

// listen is one page that reads: an error says what it missed.
func (s *site) listen(rounds int, ready func(), heardOf *atomic.Int64) error {
	conn, _, err := s.dial(nil)
	if err != nil {
		ready()
		return err
	}
	defer conn.Close()
	cues, openings, faults := 0, 0, 0
	for first := true; cues < rounds || openings < rounds || faults < rounds; first = false {
		if err := conn.SetReadDeadline(time.Now().Add(soon)); err != nil {
			return err
		}
		_, text, err := conn.ReadMessage()
		if first {
			ready()
		}
		if err != nil {
			return fmt.Errorf("after %d cues, %d openings: %w", cues, openings, err)
		}
		var m struct {
			Type string
			ToGo int `json:"to_go_nm"`
		}
		if err := json.Unmarshal(text, &m); err != nil {
			return err
		}
		switch m.Type {
		case "cue":
			if m.ToGo != cues {
				return fmt.Errorf("cue %d came after %d cues", m.ToGo, cues)
			}
			cues++
		case "opening":
			if openings++; openings != cues {
				return fmt.Errorf("opening %d came after cue %d", openings, cues)
			}
			heardOf.Store(int64(openings))
		case "fault":
			faults++
		}
	}
	return nil
}

// How long a cue takes from the live side to a page, beside others of which a
// fifth do not read.
func BenchmarkCueToPage(b *testing.B) {
	for _, clients := range []int{1, 10, 100} {
		b.Run(fmt.Sprint(clients), func(b *testing.B) {
			s := serve(b, nil)
			var conns []*websocket.Conn
			for i := range clients {
				conn, _, err := s.dial(nil)
				require.NoError(b, err)
				defer conn.Close()
				if i > 0 && i%5 == 0 {
					continue // does not read
				}
				conns = append(conns, conn)
			}
			got := make(chan time.Duration, len(conns))
			var sent atomic.Int64
			for _, conn := range conns {
				go func() {
					for {
						_, text, err := conn.ReadMessage()
						if err != nil {
							return
						}
						if bytes.HasPrefix(text, []byte(`{"type":"cue"`)) {
							got <- time.Since(time.Unix(0, sent.Load()))
						}
					}
				}()
			}
			time.Sleep(100 * time.Millisecond) // past the hellos
			var all []time.Duration
			for b.Loop() {
				sent.Store(time.Now().UnixNano())
				s.hub.Publish(capture.Cue{Kind: capture.AtHalf}, 0)
				for range conns {
					all = append(all, <-got)
				}
			}
			slices.Sort(all)
			b.ReportMetric(float64(all[len(all)/2].Microseconds()), "p50-µs")
			b.ReportMetric(float64(all[len(all)*99/100].Microseconds()), "p99-µs")
		})
	}
}
