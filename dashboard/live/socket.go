package live

import (
	"bufio"
	"context"
	"errors"
	"net"
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
	largestWord = 4 << 10          // bytes in a message from a client
	wordsPerSec = 10
	wordsBurst  = 40
	// Bytes are counted as well, on the connection: a message can be of pieces of
	// nothing without end, which are no words and have no length.
	bytesPerSec = 16 << 10
	bytesBurst  = 64 << 10
	// A page that hears nothing for two seconds says that the link is lost, so
	// it hears something every second.
	aliveEvery = time.Second
)

// Alive is said when nothing else was for a second.
type Alive struct{}

// Type returns "alive".
func (Alive) Type() string { return "alive" }

// Counted returns w with a connection that ends when more comes than a page has to
// say. The upgrade to a socket is made of it.
func Counted(w http.ResponseWriter) http.ResponseWriter { return counted{w} }

type counted struct{ http.ResponseWriter }

// Hijack takes the connection from the server.
func (c counted) Hijack() (net.Conn, *bufio.ReadWriter, error) {
	conn, rw, err := http.NewResponseController(c.ResponseWriter).Hijack()
	if err != nil {
		return nil, nil, err
	}
	return countedConn{conn, rate.NewLimiter(bytesPerSec, bytesBurst)}, rw, nil
}

type countedConn struct {
	net.Conn
	bytes *rate.Limiter
}

// Read fails once too much has come.
func (c countedConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p)
	if n > 0 && !c.bytes.AllowN(time.Now(), n) {
		return 0, errTalkative
	}
	return n, err
}

// Serve gives a client what the hub has for it until it is sent away, goes, stalls
// or talks too much, and tells it why. It closes the connection.
func Serve(conn *websocket.Conn, c *Client) {
	ctx, cancel := context.WithCancelCause(context.Background())
	defer cancel(nil)
	done := make(chan struct{})
	go func() {
		defer close(done)
		cancel(hear(conn))
	}()
	sayGoodbye(conn, talk(ctx, conn, c))
	conn.Close() // ends hear
	<-done
}

// talk writes until the client is sent away, goes, or stalls.
func talk(ctx context.Context, conn *websocket.Conn, c *Client) error {
	still, err := newFrame(Alive{}, 0, 0)
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
