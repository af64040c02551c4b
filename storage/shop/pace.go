package shop

import (
	"context"
	"net"

	"golang.org/x/time/rate"
)

// pace is how fast a connection is read. The client holds what the server has started
// to say, and so a server that is not ours, or no more, could fill the memory of the
// bench that records, and keep its processor busy. Read slowly, it has a minute for
// that: a connection whose pings are not answered meanwhile is let go of (pingEvery,
// twice). How large a message may be, [sizes] sees to.
type pace struct {
	perSecond rate.Limit // bytes; 0: as they come
	burst     int        // bytes
}

// A bench that tells what was recorded gets answers of a hundred bytes; one that
// goes on with an engine of the shop reads what was recorded of it. The shop itself
// reads everything, and records nothing that could suffer.
func tellingPace() pace  { return pace{256 << 10, 4 << 20} }
func fetchingPace() pace { return pace{2 << 20, 16 << 20} }

// on returns the connection, read at that pace as long as ctx lasts.
func (p pace) on(ctx context.Context, c net.Conn) net.Conn {
	limit := rate.NewLimiter(rate.Inf, 1<<20)
	if p.perSecond > 0 {
		limit = rate.NewLimiter(p.perSecond, p.burst)
	}
	ctx, stop := context.WithCancel(ctx)
	return &pacedConn{Conn: c, ctx: ctx, stop: stop, bytes: limit}
}

type pacedConn struct {
	net.Conn
	ctx   context.Context
	stop  context.CancelFunc // of whoever waits
	bytes *rate.Limiter
	sizes sizes
}

// Close closes the connection, and ends a Read that waits.
func (c *pacedConn) Close() error {
	c.stop()
	return c.Conn.Close()
}

// Read waits after what it has read, so that the next comes later.
func (c *pacedConn) Read(p []byte) (int, error) {
	n, err := c.Conn.Read(p[:min(len(p), c.bytes.Burst())])
	if n > 0 {
		if late := c.bytes.WaitN(c.ctx, n); late != nil {
			return 0, late
		}
		if wrong := c.sizes.see(p[:n]); wrong != nil {
			return 0, wrong
		}
	}
	return n, err
}
