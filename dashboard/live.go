package dashboard

import (
	"context"
	"errors"
	"lobescribe/dashboard/live"
	"net/http"
	"time"

	"github.com/gorilla/websocket"
)

// handshakeWait is how long the upgrade to a socket may take, goodbyeWait how long
// a client gets to hear why it is sent away.
const (
	handshakeWait = 5 * time.Second
	goodbyeWait   = 300 * time.Millisecond
)

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
	case errors.Is(err, live.ErrFull), errors.Is(err, live.ErrClosed):
		return &problem{status: http.StatusServiceUnavailable, says: err.Error() + "."}
	case err != nil:
		return err
	}
	defer c.Leave()
	up := websocket.Upgrader{
		HandshakeTimeout: handshakeWait,
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
	conn, err := up.Upgrade(live.Counted(w), r, nil)
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

	live.Serve(conn, c)
	return nil
}
