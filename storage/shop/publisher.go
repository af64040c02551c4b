package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"lobescribe/storage"
)

// PublisherOptions says what a publisher carries, and where to.
type PublisherOptions struct {
	Store  *storage.Store
	Server Server
	Bench  string
	// Log gets when the server goes and comes, and what cannot be sent.
	// Default: nowhere.
	Log *slog.Logger
	// Settle is how long a new errand waits for what belongs to it: the
	// findings are worked out just after the trace ends. Default: 2 s.
	Settle time.Duration
	// Clock is the wall clock. Default: time.Now.
	Clock func() time.Time
	// Pause waits, or until ctx ends or early receives. Default: a timer.
	Pause func(ctx context.Context, d time.Duration, early <-chan struct{})
}

// State is how the carrying of the outbox stands.
type State struct {
	Bench  string `json:"bench"`
	Server string `json:"server"`
	// Connected: the last thing that was tried went through, and the server has
	// not gone since. CutOff is since when it is not so.
	Connected bool       `json:"connected"`
	CutOff    *time.Time `json:"cut_off_since,omitempty"`
	// Waiting are the errands in the outbox; the oldest has waited since Since.
	Waiting int        `json:"waiting"`
	Since   *time.Time `json:"since,omitempty"`
	// Sent are the errands that were ever sent, the last one at Last.
	Sent uint64     `json:"sent"`
	Last *time.Time `json:"last_sent,omitempty"`
	// Aside are errands that can never be sent as they are, and why.
	Aside []string `json:"set_aside,omitempty"`
	// Says is what stands in the way, and what to do; Next is when it is tried
	// again.
	Says string     `json:"says,omitempty"`
	Next *time.Time `json:"next_try,omitempty"`
}

// Publisher carries the outbox of a store to the stream. Run it in a goroutine
// of its own: it only ever reads what is finished, and nobody waits for it.
type Publisher struct {
	o    PublisherOptions
	self storage.ShopSelf

	mu        sync.Mutex
	link      *link // written by Run only
	connected bool
	cutOff    time.Time // since when nothing went through
	says      string
	next      time.Time
}

// The pauses between attempts that fail, each with a third more or less.
const (
	firstPause = time.Second
	mostPause  = 5 * time.Minute
)

// NewPublisher joins the store to the shop and returns its publisher.
func NewPublisher(o PublisherOptions) (*Publisher, error) {
	if err := CheckBench(o.Bench); err != nil {
		return nil, err
	}
	if err := o.Server.CheckFiles(); err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Settle == 0 {
		o.Settle = 2 * time.Second
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if o.Pause == nil {
		o.Pause = pause
	}
	self, err := o.Store.JoinShop(o.Bench)
	if err != nil {
		return nil, err
	}
	return &Publisher{o: o, self: self}, nil
}

func pause(ctx context.Context, d time.Duration, early <-chan struct{}) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-early:
	case <-ctx.Done():
	}
}

// State returns how the carrying stands.
func (p *Publisher) State() (State, error) {
	st, err := StoredState(p.o.Store)
	p.mu.Lock()
	defer p.mu.Unlock()
	st.Server, st.Connected, st.Says = p.o.Server.String(), p.connected, p.says
	cutOff := p.cutOff
	if p.link != nil && p.connected {
		cutOff = p.link.lostSince()
		st.Connected = cutOff.IsZero() && !p.link.nc.IsClosed()
	}
	if !cutOff.IsZero() {
		st.CutOff = &cutOff
	}
	if !p.next.IsZero() {
		next := p.next
		st.Next = &next
	}
	return st, err
}

// StoredState returns what a store knows of its outbox when nobody carries it.
func StoredState(s *storage.Store) (State, error) {
	var st State
	self, _, err := s.ShopSelf()
	if err != nil {
		return st, err
	}
	st.Bench = self.Bench
	var since time.Time
	if st.Waiting, since, err = s.Waiting(); err != nil {
		return st, err
	}
	if !since.IsZero() {
		st.Since = &since
	}
	sent, err := s.Sent()
	if err != nil {
		return st, err
	}
	if st.Sent = sent.Errands; sent.Errands > 0 {
		st.Last = &sent.Last
	}
	err = s.ShopBooks(bookAside, func(name string, v json.RawMessage) error {
		var why string
		if err := json.Unmarshal(v, &why); err != nil {
			return err
		}
		st.Aside = append(st.Aside, name+": "+why)
		return nil
	})
	return st, err
}

// bookAside is where errands stand that can never be sent.
const bookAside = "aside/"

// Run carries the outbox until ctx ends.
func (p *Publisher) Run(ctx context.Context) {
	defer p.hangUp()
	wait := firstPause
	for ctx.Err() == nil {
		idle, err := p.step(ctx)
		switch {
		case ctx.Err() != nil:
			return
		case err != nil:
			d := wait*2/3 + rand.N(wait*2/3)
			p.complain(err, d)
			p.o.Pause(ctx, d, p.back())
			wait = min(2*wait, mostPause)
			continue
		}
		wait = firstPause
		p.tell(true, "", time.Time{})
		if !idle {
			continue
		}
		select {
		case <-ctx.Done():
		case <-p.back(): // and if it is gone for good, it is asked again
		case <-p.o.Store.Errands():
			p.o.Pause(ctx, p.o.Settle, nil)
		}
	}
}

// step carries one errand; idle is true when there was none. The server is
// asked even then, so that whoever looks knows whether the bench is heard.
func (p *Publisher) step(ctx context.Context) (idle bool, err error) {
	if err := p.connect(ctx); err != nil {
		return false, err
	}
	e, ok, err := p.o.Store.NextErrand()
	if err != nil || !ok {
		return true, err
	}
	return false, p.carry(ctx, e)
}

// connect sees to it that there is a connection, though it may be lost just now.
func (p *Publisher) connect(ctx context.Context) error {
	if p.link != nil && !p.link.nc.IsClosed() {
		return nil
	}
	p.hangUp()
	l, err := dial(ctx, dialing{p.o.Server, p.o.Bench, tellingPace(), p.o.Log})
	if err != nil {
		return err
	}
	if _, err := l.stream(ctx, StreamOptions{}); err != nil {
		l.close()
		return err
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.link = l
	return nil
}

func (p *Publisher) hangUp() {
	p.mu.Lock()
	l := p.link
	p.link = nil
	p.mu.Unlock()
	if l != nil {
		l.close()
	}
}

// back receives when the server is there again; nil while there never was one.
func (p *Publisher) back() <-chan struct{} {
	if p.link == nil {
		return nil
	}
	return p.link.back
}

func (p *Publisher) tell(connected bool, says string, next time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.connected, p.says, p.next = connected, says, next
	switch {
	case connected:
		p.cutOff = time.Time{}
	case p.cutOff.IsZero():
		p.cutOff = p.o.Clock()
	}
}

// complain says that nothing goes through: loudly when no waiting mends it, and
// once, however often it is tried.
func (p *Publisher) complain(err error, again time.Duration) {
	p.mu.Lock()
	said := p.says
	p.mu.Unlock()
	p.tell(false, err.Error(), p.o.Clock().Add(again))
	level := slog.LevelWarn
	switch {
	case said == err.Error():
		level = slog.LevelDebug
	case errors.Is(err, ErrForbidden), errors.Is(err, ErrLockedOut):
		level = slog.LevelError
	}
	p.o.Log.Log(context.Background(), level, "the shop was not told; what is recorded waits in the outbox", "error", err, "again", again)
}

// unsendable is an error that no waiting mends.
type unsendable struct{ error }

// carry sends an errand, and takes it out of the outbox when the stream has
// acknowledged all of it.
func (p *Publisher) carry(ctx context.Context, e storage.Errand) error {
	if err := p.connect(ctx); err != nil {
		return err
	}
	var err error
	if e.Kind == storage.ErrandTrace {
		err = p.sendTrace(ctx, e)
	} else {
		err = p.sendDocument(ctx, e)
	}
	if never := (unsendable{}); errors.As(err, &never) {
		p.o.Log.Error("a record cannot be sent to the shop and is set aside", "kind", string(e.Kind), "name", e.Name, "error", err)
		err = p.o.Store.Receive(func(in *storage.Intake) error {
			return in.SetBook(bookAside+string(e.Kind)+" "+e.Name, never.Error())
		})
	}
	if err != nil {
		return err
	}
	return p.o.Store.ErrandDone(e, p.o.Clock())
}

// send says one message and waits for the stream's acknowledgement.
func (p *Publisher) send(ctx context.Context, m Message) error {
	m.Bench, m.Origin = p.self.Bench, p.self.Origin
	frame, id, err := Encode(m)
	if err != nil {
		return unsendable{err}
	}
	if most := p.link.nc.MaxPayload(); int64(len(frame))+headerRoom > most {
		return tooLarge{len(frame), most}
	}
	msg := nats.NewMsg(m.Subject())
	msg.Data = frame
	err = p.link.ask(ctx, publishPatience, func(ctx context.Context) error {
		_, err := p.link.js.PublishMsg(ctx, msg, jetstream.WithMsgID(id), jetstream.WithExpectStream(StreamName))
		return err
	})
	var api *jetstream.APIError
	switch {
	case err == nil:
		return nil
	case errors.Is(err, nats.ErrMaxPayload), errors.As(err, &api) && api.ErrorCode == 10054: // the stream's own limit
		return tooLarge{len(frame), 0}
	case errors.Is(err, jetstream.ErrNoStreamResponse), errors.Is(err, nats.ErrNoResponders):
		return fmt.Errorf("the shop's server takes nothing just now (it is starting, or most of its nodes are down, or the stream %s is gone): %w", StreamName, err)
	}
	return fmt.Errorf("telling the shop: %w", err)
}

// publishPatience is for an acknowledgement. When the node that should give it
// dies none ever comes, and saying it again is harmless.
const publishPatience = 5 * time.Second

// headerRoom is what the headers of a message take, generously.
const headerRoom = 1 << 10

// tooLarge: the server takes no message of this size.
type tooLarge struct {
	size int
	most int64
}

func (t tooLarge) Error() string {
	return fmt.Sprintf("a message of %d bytes is more than the shop's server takes (%d): raise its max_payload", t.size, t.most)
}

// never makes an error that is about size one that no waiting mends.
func never(err error) error {
	if large := (tooLarge{}); errors.As(err, &large) {
		return unsendable{err}
	}
	return err
}
