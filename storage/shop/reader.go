package shop

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"lobescribe/storage"
)

// ReaderOptions says what a reader reads, and into which store.
type ReaderOptions struct {
	// Store is the reader's own: nobody else writes into it.
	Store  *storage.Store
	Server Server
	// Stream says how the stream is made where it is not there.
	Stream StreamOptions
	// Log gets when the server goes and comes, and what is refused. Default:
	// nowhere.
	Log *slog.Logger
	// Clock is the wall clock. Default: time.Now.
	Clock func() time.Time
}

// ReaderState is how far a reader has come.
type ReaderState struct {
	Server    string `json:"server"`
	Connected bool   `json:"connected"`
	// Applied is the place in the stream up to which the store is made;
	// Behind is how much is known to come after it.
	Applied uint64 `json:"applied"`
	Behind  uint64 `json:"behind"`
	// Says is what stands in the way, and what to do.
	Says string `json:"says,omitempty"`
}

// Reader makes a store of the stream.
type Reader struct {
	o ReaderOptions

	mu   sync.Mutex
	st   ReaderState
	link *link // nil while there is none
}

// ErrBench: the store is a bench's own, and no record of a shop can be made in
// it.
var ErrBench = errors.New("this store is a bench's own")

// bookRecord marks a store as the record of a shop.
const bookRecord = "record"

// IsRecord says whether a store is the record of a shop, which is made of the
// stream and of nothing else: no bench may write into it.
func IsRecord(s *storage.Store) (yes bool, err error) {
	_, err = s.ShopBook(bookRecord, &yes)
	return yes, err
}

// claim makes an empty store the record of a shop.
func claim(s *storage.Store) error {
	if yes, err := IsRecord(s); yes || err != nil {
		return err
	}
	_, joined, err := s.ShopSelf()
	if err != nil {
		return err
	}
	traces, err := s.Traces(storage.Query{Limit: 1})
	if err != nil {
		return err
	}
	engines, err := s.Engines()
	if err != nil {
		return err
	}
	if joined || len(traces)+len(engines) > 0 {
		return ErrBench
	}
	return s.Receive(func(in *storage.Intake) error { return in.SetBook(bookRecord, true) })
}

// NewReader returns a reader. Run it.
func NewReader(o ReaderOptions) (*Reader, error) {
	if err := o.Server.CheckFiles(); err != nil {
		return nil, err
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Clock == nil {
		o.Clock = time.Now
	}
	if err := claim(o.Store); err != nil {
		return nil, err
	}
	var c cursor
	if _, err := o.Store.ShopBook(bookCursor, &c); err != nil {
		return nil, err
	}
	r := &Reader{o: o}
	r.st = ReaderState{Server: o.Server.String(), Applied: c.Applied}
	return r, nil
}

// State returns how far the reader has come.
func (r *Reader) State() ReaderState {
	r.mu.Lock()
	defer r.mu.Unlock()
	st := r.st
	if st.Connected && (r.link == nil || !r.link.lostSince().IsZero()) {
		st.Connected, st.Says = false, "The shop's server is gone; it is tried again and again."
	}
	return st
}

func (r *Reader) tell(change func(*ReaderState)) {
	r.mu.Lock()
	defer r.mu.Unlock()
	change(&r.st)
}

// cursor is how far a store has come, and of which stream.
type cursor struct {
	Stream  time.Time `json:"stream"` // when it was made
	Applied uint64    `json:"applied"`
	Version int       `json:"version"` // of the messages that were understood
	// Missing counts messages that the stream no longer had.
	Missing uint64 `json:"missing,omitempty"`
}

const bookCursor = "cursor"

// What makes Run end: the record has to be made again in an empty store.
var (
	// ErrOtherStream: the store was made of another stream.
	ErrOtherStream = errors.New("the stream is not the one that this record was made of")
	// ErrOlderRecord: the store was made by a program that understood less of
	// the stream.
	ErrOlderRecord = errors.New("this program understands more of the stream than the one that made this record")
)

// Run reads until ctx ends, and returns nil then; or until the store turns out
// to be no record of this stream.
func (r *Reader) Run(ctx context.Context) error {
	wait := firstPause
	for ctx.Err() == nil {
		began := r.o.Clock()
		err := r.follow(ctx)
		if ctx.Err() != nil {
			return nil
		}
		if errors.Is(err, ErrOtherStream) || errors.Is(err, ErrOlderRecord) {
			r.tell(func(st *ReaderState) { st.Connected, st.Says = false, err.Error() })
			return err
		}
		if r.o.Clock().Sub(began) > mostPause {
			wait = firstPause
		}
		d := wait*2/3 + rand.N(wait*2/3)
		r.complain(ctx, err, d)
		pause(ctx, d, nil)
		wait = min(2*wait, 30*time.Second) // somebody may be looking at the page
	}
	return nil
}

// complain says that the stream is not being read: loudly when no waiting mends
// it, and once, however often it is tried.
func (r *Reader) complain(ctx context.Context, err error, again time.Duration) {
	said := r.State().Says
	r.tell(func(st *ReaderState) { st.Connected, st.Says = false, err.Error() })
	level := slog.LevelWarn
	switch {
	case said == err.Error():
		level = slog.LevelDebug
	case errors.Is(err, ErrForbidden), errors.Is(err, ErrLockedOut):
		level = slog.LevelError
	}
	r.o.Log.Log(ctx, level, "the shop's stream is not being read", "error", err, "again", again)
}

// The most that is applied in one transaction.
const (
	batchMessages = 256
	batchBytes    = 8 << 20
)

// follow applies the stream from where the store stands, until something goes
// wrong.
func (r *Reader) follow(ctx context.Context) error {
	l, err := dial(ctx, dialing{r.o.Server, "shop", pace{}, r.o.Log})
	if err != nil {
		return err
	}
	defer l.close()
	r.mu.Lock()
	r.link = l
	r.mu.Unlock()
	stream, err := l.stream(ctx, r.o.Stream)
	if err != nil {
		return err
	}
	c, err := r.begin(stream.CachedInfo())
	if err != nil {
		return err
	}
	messages, err := l.messages(ctx, jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: c.Applied + 1})
	if err != nil {
		return err
	}
	defer messages.Stop()
	r.tell(func(st *ReaderState) { st.Connected, st.Says = true, "" })
	for {
		batch, err := nextBatch(ctx, messages)
		if len(batch) > 0 {
			if err := r.apply(batch, &c); err != nil {
				return err
			}
		}
		if err != nil {
			return fmt.Errorf("reading the stream %s: %w", StreamName, err)
		}
	}
}

// messages begins to read the stream in order.
func (l *link) messages(ctx context.Context, o jetstream.OrderedConsumerConfig) (m jetstream.MessagesContext, err error) {
	err = l.ask(ctx, askPatience, func(ctx context.Context) error {
		cons, err := l.js.OrderedConsumer(ctx, StreamName, o)
		if err != nil {
			return err
		}
		m, err = cons.Messages(jetstream.PullMaxMessages(batchMessages))
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("reading the stream %s: %w", StreamName, err)
	}
	return m, nil
}

// begin looks whether the store was made of this stream.
func (r *Reader) begin(info *jetstream.StreamInfo) (cursor, error) {
	var c cursor
	had, err := r.o.Store.ShopBook(bookCursor, &c)
	if err != nil {
		return c, err
	}
	switch {
	case !had:
		c = cursor{Stream: info.Created, Version: frameVersion}
	case !c.Stream.Equal(info.Created), c.Applied > info.State.LastSeq:
		return c, fmt.Errorf("%w: it was made on %s", ErrOtherStream, info.Created.Local().Format(time.DateTime))
	case c.Version < frameVersion:
		return c, ErrOlderRecord
	}
	if first := info.State.FirstSeq; first > c.Applied+1 {
		c.Missing += first - c.Applied - 1
		c.Applied = first - 1
	}
	return c, nil
}

// nextBatch waits for a message and takes what comes right behind it.
func nextBatch(ctx context.Context, m jetstream.MessagesContext) (batch []jetstream.Msg, err error) {
	first, err := m.Next(jetstream.NextContext(ctx))
	if err != nil {
		return nil, err
	}
	batch = append(batch, first)
	size := len(first.Data())
	for len(batch) < batchMessages && size < batchBytes {
		msg, err := m.Next(jetstream.NextMaxWait(10 * time.Millisecond))
		if errors.Is(err, nats.ErrTimeout) {
			return batch, nil
		}
		if err != nil {
			return batch, err
		}
		batch = append(batch, msg)
		size += len(msg.Data())
	}
	return batch, nil
}

// apply writes a batch and how far that brings the store, in one transaction.
func (r *Reader) apply(batch []jetstream.Msg, c *cursor) error {
	next := *c
	var behind uint64
	err := r.o.Store.Receive(func(in *storage.Intake) error {
		next = *c
		for _, msg := range batch {
			meta, err := msg.Metadata()
			if err != nil {
				return err
			}
			if meta.Sequence.Stream <= next.Applied {
				continue
			}
			if gap := meta.Sequence.Stream - next.Applied - 1; gap > 0 {
				next.Missing += gap
			}
			next.Applied, behind = meta.Sequence.Stream, meta.NumPending
			e := heard{subject: msg.Subject(), data: msg.Data(), seq: meta.Sequence.Stream, at: meta.Timestamp.UTC()}
			if err := r.one(in, e); err != nil {
				return err
			}
		}
		return in.SetBook(bookCursor, next)
	})
	if err != nil {
		return err
	}
	*c = next
	r.tell(func(st *ReaderState) { st.Applied, st.Behind = next.Applied, behind })
	return nil
}

// heard is a message as it came from the stream.
type heard struct {
	subject string
	data    []byte
	seq     uint64
	at      time.Time // when the stream took it
}

// words returns the bench and the kind that the subject names.
func (h heard) words() (bench string, kind Kind) {
	rest, _ := strings.CutPrefix(h.subject, Prefix)
	bench, rest, _ = strings.Cut(rest, ".")
	k, _, _ := strings.Cut(rest, ".")
	return bench, Kind(k)
}

// open decodes a message and checks that it was said where it belongs.
func (h heard) open() (Message, string, error) {
	m, id, err := Decode(h.data)
	if err != nil {
		return m, id, err
	}
	if bench, _ := h.words(); bench != m.Bench {
		return m, id, fmt.Errorf("%w: %s said it, and it claims to be %s", ErrName, bench, m.Bench)
	}
	if m.Subject() != h.subject {
		return m, id, fmt.Errorf("%w: it was said as %s and is %s", ErrMeaning, h.subject, m.Subject())
	}
	return m, id, nil
}

// one applies one message, or counts why not. Its error is the store's.
func (r *Reader) one(in *storage.Intake, h heard) error {
	bench, _ := h.words()
	b, err := readBench(in, bench)
	if err != nil {
		return err
	}
	b.saw(h.at)
	m, id, err := h.open()
	if err == nil {
		var repeat bool
		if repeat, err = in.Seen(id, h.seq); err != nil {
			return err
		}
		if repeat {
			b.Repeats++
			return b.write(in)
		}
		err = r.do(in, m, h, b)
	}
	if kind := refusal(err); kind != "" {
		r.o.Log.Warn("a message of the shop's stream is refused", "bench", bench, "sequence", h.seq, "error", err)
		b.Refused++
		if err := refuse(in, kind, Refused{Sequence: h.seq, Bench: bench, Why: err.Error()}); err != nil {
			return err
		}
		err = nil
	}
	return errors.Join(err, b.write(in))
}

// do does what a message says.
func (r *Reader) do(in *storage.Intake, m Message, h heard, b *BenchEntry) error {
	a := applier{in: in, names: everyone{}}
	switch {
	case m.Part != nil:
		grown, err := a.part(m.Part, b.Held)
		b.Held += grown
		if err != nil {
			return err
		}
		var waiting Message
		if ok, err := in.Book(bookWait+m.Part.Key, &waiting); err != nil || !ok {
			return err
		}
		return r.trace(a, waiting, h, b)
	case m.Trace != nil:
		return r.trace(a, m, h, b)
	}
	b.Documents++
	return a.document(m, h.at)
}

func (r *Reader) trace(a applier, m Message, h heard, b *BenchEntry) error {
	fresh, freed, err := a.trace(m, h.at)
	b.Held -= freed
	if fresh {
		b.Traces++
		b.Readings += m.Trace.Readings
	}
	return err
}
