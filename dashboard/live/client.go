package live

import (
	"context"
	"errors"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/replay"
)

// Client is one page's end of the hub.
type Client struct {
	hub      *Hub
	prompt   bool     // every reading at once
	greeting []*frame // before the queue; the reader's alone
	ready    chan struct{}

	mu  sync.Mutex
	q   queue
	err error // why it was sent away
}

// greet prepares the hello, the replay under way and the strip.
func (c *Client) greet(hello Hello, past capture.Readings, replay *replay.State) error {
	first := []capture.Message{hello}
	if replay != nil {
		first = append(first, *replay)
	}
	for part := range batchesOf(past, stripBatch) {
		first = append(first, part)
	}
	for _, m := range first {
		f, err := newFrame(m, 0, 0)
		if err != nil {
			return err
		}
		c.greeting = append(c.greeting, f)
	}
	return nil
}

// put adds a frame. It returns how many readings had to make room for it, and
// whether the client is still with us.
func (c *Client) put(f *frame) (lost int, stays bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.err != nil {
		return 0, false
	}
	before := c.q.dropped
	if err := c.q.put(f); err != nil {
		c.endLocked(err)
		return 0, false
	}
	c.wake()
	return c.q.dropped - before, true
}

func (c *Client) wake() {
	select {
	case c.ready <- struct{}{}:
	default:
	}
}

func (c *Client) end(why error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.endLocked(why)
}

func (c *Client) endLocked(why error) {
	if c.err == nil {
		c.err = why
		c.q = queue{} // nobody will take it
	}
	c.wake()
}

// errQuiet says that there was nothing to say.
var errQuiet = errors.New("nothing to say")

// next returns the next frame and how many readings were lost before it. It
// waits until there is one. The error is errQuiet after so long without one,
// ctx's cause when it ends, or why the client is sent away.
func (c *Client) next(ctx context.Context, quiet time.Duration) (*frame, int, error) {
	if len(c.greeting) > 0 {
		f := c.greeting[0]
		c.greeting = c.greeting[1:]
		return f, 0, nil
	}
	var patience <-chan time.Time
	for {
		c.mu.Lock()
		if c.err != nil {
			c.mu.Unlock()
			return nil, 0, c.err
		}
		f, lost := c.q.take()
		c.mu.Unlock()
		if f != nil {
			return f, lost, nil
		}
		if patience == nil {
			patience = time.After(quiet)
		}
		select {
		case <-c.ready:
		case <-patience:
			return nil, 0, errQuiet
		case <-ctx.Done():
			return nil, 0, context.Cause(ctx)
		}
	}
}

// Leave takes the client off the hub.
func (c *Client) Leave() {
	c.hub.mu.Lock()
	c.hub.drop(c)
	c.hub.mu.Unlock()
	c.end(context.Canceled)
}
