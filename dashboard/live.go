package dashboard

import (
	"context"
	"errors"
	"net/http"
	"time"

	"github.com/gorilla/websocket"
	"golang.org/x/time/rate"
)

// The socket's limits. A client has nothing to say on it; what it says is read
// only to see that it is there.
const (
	writeWait   = 5 * time.Second  // for one message to leave
	pingEvery   = 5 * time.Second  // and the answer is due before
	pongWait    = 15 * time.Second // this long after the last sign of life
	goodbyeWait = 300 * time.Millisecond
	largestWord = 4 << 10 // bytes in a message from a client
	wordsPerSec = 10
	wordsBurst  = 40
	// A page that hears nothing for two seconds says that the link is lost, so
	// it hears something every second.
	aliveEvery = time.Second
)

// alive is said when nothing else was for a second.
type alive struct{}

// Type returns "alive".
func (alive) Type() string { return "alive" }

func (s *Server) live(w http.ResponseWriter, r *http.Request) error {
	if !websocket.IsWebSocketUpgrade(r) {
		return &problem{status: http.StatusUpgradeRequired, says: "This address is a WebSocket; open it as one."}
	}
	join := s.hub.Join
	switch r.URL.Query().Get("delay") {
	case "":
	case "lowest":
		join = s.hub.JoinPrompt
	default:
		return &problem{status: http.StatusBadRequest, field: "delay", says: "delay can only be lowest, or left out."}
	}
	c, err := join()
	switch {
	case errors.Is(err, ErrFull), errors.Is(err, ErrClosed):
		return &problem{status: http.StatusServiceUnavailable, says: err.Error() + "."}
	case err != nil:
		return err
	}
	defer c.Leave()
	up := websocket.Upgrader{
		HandshakeTimeout: writeWait,
		ReadBufferSize:   1 << 10,
		WriteBufferSize:  4 << 10,
		WriteBufferPool:  &s.buffers,
		// The door has looked at Host and Origin, more closely than this could.
		CheckOrigin: func(*http.Request) bool { return true },
		Error: func(w http.ResponseWriter, _ *http.Request, status int, reason error) {
			fail(w, status, reason.Error(), "")
		},
	}
	// Before the connection is taken from the server, which waits only for
	// those it still has.
	s.sockets.Add(1)
	defer s.sockets.Done()
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		return nil // answered by Error
	}
	defer conn.Close()
	// A client that does not read would hold up the daemon's end for as long
	// as one write may take.
	stop := context.AfterFunc(s.closing, func() {
		time.Sleep(goodbyeWait)
		conn.NetConn().Close()
	})
	defer stop()

	ctx, cancel := context.WithCancelCause(context.Background())
	defer cancel(nil)
	done := make(chan struct{})
	go func() {
		defer close(done)
		cancel(hear(conn))
	}()
	err = s.talk(ctx, conn, c)
	sayGoodbye(conn, err)
	conn.Close() // ends hear
	<-done
	return nil
}

// talk writes until the client is sent away, goes, or stalls.
func (s *Server) talk(ctx context.Context, conn *websocket.Conn, c *Client) error {
	still, err := newFrame(alive{}, 0, 0)
	if err != nil {
		return err
	}
	pinged := time.Now()
	for {
		f, lost, err := c.next(ctx, aliveEvery)
		switch {
		case errors.Is(err, errQuiet):
			f = still
		case err != nil:
			return err
		}
		now := time.Now()
		if err := conn.SetWriteDeadline(now.Add(writeWait)); err != nil {
			return err
		}
		if lost > 0 {
			err = conn.WriteMessage(websocket.TextMessage, f.withLost(lost))
		} else {
			err = conn.WritePreparedMessage(f.prepared)
		}
		if err != nil {
			return err
		}
		if now.Sub(pinged) >= pingEvery {
			pinged = now
			if err := conn.WriteControl(websocket.PingMessage, nil, now.Add(writeWait)); err != nil {
				return err
			}
		}
	}
}

var errTalkative = errors.New("this page sends more than the socket takes")

// hear reads what the client sends, and returns when it is gone, silent for
// too long, or too loud.
func hear(conn *websocket.Conn) error {
	conn.SetReadLimit(largestWord)
	words := rate.NewLimiter(wordsPerSec, wordsBurst)
	if err := conn.SetReadDeadline(time.Now().Add(pongWait)); err != nil {
		return err
	}
	// Pongs are counted too: they cost as much to read as anything.
	conn.SetPongHandler(func(string) error {
		if !words.Allow() {
			return errTalkative
		}
		return conn.SetReadDeadline(time.Now().Add(pongWait))
	})
	answerPing := conn.PingHandler()
	conn.SetPingHandler(func(data string) error {
		if !words.Allow() {
			return errTalkative
		}
		return answerPing(data)
	})
	for {
		// Discarded, not kept: the limit is on what is read at all.
		if _, _, err := conn.NextReader(); err != nil {
			return err
		}
		if !words.Allow() {
			return errTalkative
		}
	}
}

// sayGoodbye tells the client why, if it still listens.
func sayGoodbye(conn *websocket.Conn, why error) {
	code := websocket.CloseNormalClosure
	switch {
	case errors.Is(why, ErrClosed):
		code = websocket.CloseGoingAway
	case errors.Is(why, errBehind):
		code = websocket.CloseTryAgainLater
	case errors.Is(why, errTalkative):
		code = websocket.ClosePolicyViolation
	default:
		return // it went by itself, or does not read
	}
	_ = conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, why.Error()), time.Now().Add(time.Second))
}
