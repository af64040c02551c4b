package live

import (
	"cmp"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"lobescribe/capture"
	"lobescribe/capture/keep"
	"lobescribe/capture/lift"
	"lobescribe/capture/replay"
)

// HubOptions bounds a hub. The zero value is what the daemon uses.
type HubOptions struct {
	Version string
	LAN     bool   // told to the page
	Units   string // until Settings are published; default "in"

	Clients int           // at once; default 128
	Every   time.Duration // the least time between two batches; default 1/60 s
	Strip   time.Duration // how much of the past a new client gets; default 15 s
	// StripReadings bounds the strip whatever the rate. Default 16384.
	StripReadings int
	// Waiting bounds what waits for one client: messages that must not be
	// lost (default 1024) and batches of readings (default 120, two seconds).
	Waiting, WaitingBatches int
	Log                     *slog.Logger // default: none
}

// Hub takes what the live side says and gives it to every client of the page.
// Publish never waits for anybody: each client has a bounded queue of its own,
// and the slow one pays.
//
// It also remembers what a new client must know at once, so that joining gives
// a snapshot and then every message after it, none twice and none missing.
type Hub struct {
	o HubOptions

	mu      sync.Mutex
	closed  bool
	clients map[*Client]struct{}
	prompt  int // clients that get every reading at once
	now     Hello
	replay  *replay.State
	strip   strip
	sources map[uint64]*source
	dropped uint64      // readings that slow clients did not get
	letGo   uint64      // clients that were too slow
	timer   *time.Timer // one flush for all sources; nil when none is due
}

// source collects readings and the newest state between two flushes: 0 for the
// live engine, a trace's number for its replay.
type source struct {
	id      uint64
	pending capture.Readings
	state   *capture.Position
	next    time.Time // when a batch may go out
	told    bool      // a state has gone out since the last one
}

// sent sets when the next batch may go out. One that was up to a quarter of a
// pace late makes the next one that much earlier: readings that come at this
// very pace would else wait a whole one for each that comes a moment early.
func (s *source) sent(every time.Duration) {
	if late := time.Now().Add(-every / 4); s.next.Before(late) {
		s.next = late
	}
	s.next = s.next.Add(every)
}

// NewHub returns a hub without clients. Close it when the server is done.
func NewHub(o HubOptions) *Hub {
	o.Units = cmp.Or(o.Units, "in")
	o.Clients = cmp.Or(o.Clients, 128)
	o.Every = cmp.Or(o.Every, time.Second/60)
	o.Strip = cmp.Or(o.Strip, 15*time.Second)
	o.StripReadings = cmp.Or(o.StripReadings, 16384)
	o.Waiting = cmp.Or(o.Waiting, 1024)
	o.WaitingBatches = cmp.Or(o.WaitingBatches, 120)
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return &Hub{
		o:       o,
		clients: make(map[*Client]struct{}),
		now:     Hello{Version: o.Version, LAN: o.LAN, Units: o.Units},
		strip:   strip{span: o.Strip.Microseconds(), most: o.StripReadings},
		sources: make(map[uint64]*source),
	}
}

// SetShop sets what hello says of the shop.
func (h *Hub) SetShop(role string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.now.Shop = role
}

// Publish gives m to every client. replayOf is the trace it is replayed from,
// 0 for the live engine. It never blocks on a client, and may be called from
// any goroutine; messages from one goroutine keep their order.
//
// Readings and states go out in batches: at once when the last batch is old
// enough, else with the next one; a client that has asked for the lowest delay
// gets each by itself. Everything else goes at once.
func (h *Hub) Publish(m capture.Message, replayOf uint64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.closed {
		return
	}
	switch v := m.(type) {
	case capture.Readings:
		h.readings(v, replayOf)
		return
	case capture.Position:
		if replayOf == 0 {
			h.now.Position = &v
		}
		if len(h.clients) == 0 {
			return // whoever joins gets it with the hello
		}
		if replayOf == 0 {
			h.sendTo(m, 0, promptly)
		}
		s := h.source(replayOf)
		s.state = &v
		h.due(s)
		return
	}
	h.remember(m, replayOf)
	// What was read before this is on the wire before it: a client draws the
	// strip up to a cue, then marks it there. An opening or a cue is rare
	// enough not to upset the pace.
	if s, ok := h.sources[replayOf]; ok && m.Type() != "device" {
		h.flush(s)
	}
	h.send(m, replayOf)
	h.agreed(m, replayOf)
	if r, ok := m.(replay.State); ok && r.Ended {
		delete(h.sources, r.Trace)
	}
}

// source is called with the lock held, like everything below.
func (h *Hub) source(id uint64) *source {
	s, ok := h.sources[id]
	if !ok {
		s = &source{id: id}
		h.sources[id] = s
	}
	return s
}

// readings takes a batch. When nobody listens it only goes into the strip:
// that costs neither text nor a timer.
func (h *Hub) readings(m capture.Readings, replayOf uint64) {
	s := h.source(replayOf)
	if len(h.clients) == 0 && replayOf == 0 {
		h.flush(s)
		h.strip.add(m)
		return
	}
	if replayOf == 0 { // a replay is as fast as it likes, and thinned for all
		h.sendTo(m, 0, promptly)
	}
	s.add(m)
	h.due(s)
}

// due flushes s now or sees to it that somebody does. The state that belongs
// to a batch which has just gone follows it at once: held back, it would hold
// back the next batch.
func (h *Hub) due(s *source) {
	wait := time.Until(s.next)
	if wait <= 0 || len(s.pending.At) == 0 && !s.told {
		h.flush(s)
		return
	}
	if h.timer == nil {
		h.timer = time.AfterFunc(wait, h.tick)
	}
}

func (h *Hub) tick() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.timer = nil
	if h.closed {
		return
	}
	for _, s := range h.sources {
		if len(s.pending.At) > 0 || s.state != nil {
			h.due(s)
		}
	}
}

func (h *Hub) flush(s *source) {
	to := everybody
	if s.id == 0 {
		to = batched // the others have had it
	}
	if len(s.pending.At) > 0 {
		if s.id == 0 {
			h.strip.add(s.pending)
			h.sendTo(s.pending, 0, to)
		} else {
			h.send(thinned(s.pending, replayBatch), s.id)
		}
		s.pending = s.pending.Slice(0, 0)
		s.sent(h.o.Every)
		s.told = false
	}
	if s.state != nil {
		h.sendTo(*s.state, s.id, to)
		s.state = nil
		if s.told {
			s.sent(h.o.Every)
		}
		s.told = true
	}
}

// add appends a batch. Readings without a quantity beside some that have it get
// the last one known: the columns stay equally long.
func (s *source) add(m capture.Readings) {
	had := len(s.pending.At)
	s.pending.At = append(s.pending.At, m.At...)
	for i, q := range s.pending.Quantities() {
		more := *m.Quantities()[i]
		switch {
		case len(more) > 0:
			for len(*q) < had {
				*q = append(*q, more[0])
			}
			*q = append(*q, more...)
		case len(*q) > 0:
			for last := (*q)[len(*q)-1]; len(*q) < len(s.pending.At); {
				*q = append(*q, last)
			}
		}
	}
}

// pace says which clients a message is for.
type pace uint8

const (
	everybody pace = iota
	batched        // those who get readings and states in batches
	promptly       // those who get each by itself
)

func (h *Hub) send(m capture.Message, id uint64) { h.sendTo(m, id, everybody) }

// sendTo encodes m once, if anybody is there to hear it, and puts it into their
// queues.
func (h *Hub) sendTo(m capture.Message, id uint64, to pace) {
	if len(h.clients) == 0 || to == promptly && h.prompt == 0 || to == batched && h.prompt == len(h.clients) {
		return
	}
	var trace uint64
	if id != 0 {
		trace = id
	} else if h.now.Trace != nil {
		trace = h.now.Trace.ID
	}
	f, err := newFrame(m, id, trace)
	if err != nil {
		h.o.Log.Error("message not sent", "type", m.Type(), "err", err)
		return
	}
	for c := range h.clients {
		if to != everybody && c.prompt != (to == promptly) {
			continue
		}
		lost, stays := c.put(f)
		h.dropped += uint64(lost)
		if !stays {
			h.drop(c)
			h.letGo++
		}
	}
}

func (h *Hub) drop(c *Client) {
	if _, in := h.clients[c]; in && c.prompt {
		h.prompt--
	}
	delete(h.clients, c)
}

// openingsKept bounds what a hello tells of the trace under way.
const openingsKept = 500

// remember keeps what a new client must know.
func (h *Hub) remember(m capture.Message, replayOf uint64) {
	if r, ok := m.(replay.State); ok {
		h.replay, h.now.ReplayOf = &r, &r.Trace
		if r.Ended {
			h.replay, h.now.ReplayOf = nil, nil
		}
	}
	if replayOf != 0 {
		return
	}
	switch v := m.(type) {
	case keep.State:
		// Told apart by when they began: a trace that the disk refuses has no
		// number yet. One that had to wait may be kept after the next began.
		if h.now.Trace != nil && v.Began < h.now.Trace.Began {
			return
		}
		if t := h.now.Trace; t == nil || t.Began != v.Began || (t.ID != v.ID && t.ID != 0) {
			h.now.Openings, h.now.LeftOut, h.now.Agreement = nil, nil, nil
			h.now.Noted, h.now.Marks = nil, nil
		}
		h.now.Trace = &v
	case capture.Opened:
		if len(h.now.Openings) < openingsKept {
			h.now.Openings = append(h.now.Openings, v.Opening)
		}
	case FindingsOf:
		h.now.Findings = &v
	case LeftOut:
		if t := h.now.Trace; t != nil && t.ID == uint64(v.Trace) {
			h.now.LeftOut = v.List
		}
	case Noted:
		if t := h.now.Trace; t != nil && t.ID == uint64(v.Trace) {
			h.now.Noted = v.List
		}
	case Marked:
		h.marked(v)
	case ProofNow:
		h.now.Proof = &v
	case Selection:
		h.now.Bench = v
	case Settings:
		h.now.Units = v.Units
	case Simulated:
		h.now.Simulated = v.On
	case Repairs:
		h.now.Repairs = v.Repairs
	case Device:
		i, known := slices.BinarySearchFunc(h.now.Devices, v.ID, func(d Device, id string) int {
			// The indicator first: it is the one nobody can do without.
			return rank(d.ID) - rank(id)
		})
		// Replaced, never written into: a hello may be on its way out with the
		// old list.
		h.now.Devices = slices.Clone(h.now.Devices)
		if known {
			h.now.Devices[i] = v
		} else {
			h.now.Devices = slices.Insert(h.now.Devices, i, v)
		}
	}
}

// agreed tells after an opening, and after one was left out or taken back, how
// those that count agree.
func (h *Hub) agreed(m capture.Message, replayOf uint64) {
	if t := m.Type(); replayOf != 0 || t != (capture.Opened{}).Type() && t != (LeftOut{}).Type() {
		return
	}
	a := Agree(h.now.Openings, h.now.LeftOut)
	h.now.Agreement = &a
	h.send(a, 0)
}

func rank(id string) int {
	if id == Indicator {
		return 0
	}
	return 1
}

// Now returns the hello a client would get at this moment.
func (h *Hub) Now() Hello {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.hello()
}

func (h *Hub) hello() Hello {
	now := h.now
	now.Openings = append([]lift.Opening{}, h.now.Openings...) // [] in JSON, not null
	if now.Devices == nil {
		now.Devices = []Device{}
	}
	return now
}

// The errors of joining.
var (
	ErrFull   = errors.New("as many pages are open as this daemon serves; close one and try again")
	ErrClosed = errors.New("the daemon is stopping")
)

// promptBatches is how many batches for a client that wants each reading at
// once go into one for the others: 17 at 1000 readings a second.
const promptBatches = 17

// Join adds a client. Its first frames are the hello and the strip.
func (h *Hub) Join() (*Client, error) { return h.join(false) }

// JoinPrompt adds a client that gets every reading at once and not in batches:
// the lowest delay, at the cost of a message a reading.
func (h *Hub) JoinPrompt() (*Client, error) { return h.join(true) }

func (h *Hub) join(prompt bool) (*Client, error) {
	h.mu.Lock()
	if h.closed {
		h.mu.Unlock()
		return nil, ErrClosed
	}
	if len(h.clients) >= h.o.Clients {
		h.mu.Unlock()
		return nil, ErrFull
	}
	if s, ok := h.sources[0]; ok {
		h.flush(s) // into the strip, so that nothing falls between
	}
	waiting := h.o.WaitingBatches
	if prompt {
		waiting *= promptBatches
	}
	c := &Client{hub: h, prompt: prompt, ready: make(chan struct{}, 1), q: queue{
		maxLossless: h.o.Waiting, maxBatches: waiting, maxReadings: 1 << 16}}
	h.clients[c] = struct{}{}
	if prompt {
		h.prompt++
	}
	hello, past, replay := h.hello(), h.strip.copy(), h.replay
	h.mu.Unlock()

	// Written out of the lock: a burst of joiners must not hold up capture.
	// It is not part of the bounded queue either, so that it does not count
	// as falling behind.
	if err := c.greet(hello, past, replay); err != nil {
		c.Leave()
		return nil, fmt.Errorf("greeting a client: %w", err)
	}
	return c, nil
}

// Clients returns how many are connected.
func (h *Hub) Clients() int { return h.Counts().Clients }

// HubCounts is what a hub has counted since it was made.
type HubCounts struct {
	Clients int    // connected now
	Prompt  int    // of them, those who get every reading at once
	Dropped uint64 // readings that clients which fell behind did not get
	LetGo   uint64 // clients sent away because they fell too far behind
}

// Counts returns the counts as they stand.
func (h *Hub) Counts() HubCounts {
	h.mu.Lock()
	defer h.mu.Unlock()
	return HubCounts{Clients: len(h.clients), Prompt: h.prompt, Dropped: h.dropped, LetGo: h.letGo}
}

// Close sends every client away with ErrClosed and publishes no more.
func (h *Hub) Close() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.closed = true
	if h.timer != nil {
		h.timer.Stop()
		h.timer = nil
	}
	for c := range h.clients {
		c.end(ErrClosed)
	}
	clear(h.clients)
	h.prompt = 0
}
