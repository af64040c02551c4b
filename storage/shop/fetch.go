package shop

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"lobescribe/storage"
)

// Offer is an engine that the shop knows and a bench may go on with.
type Offer struct {
	Ref   Ref    `json:"ref"`
	Bench string `json:"bench"` // that spoke of it last
	Name  string `json:"name,omitempty"`
	Type  string `json:"type,omitempty"`
	// Local is what it is called in this bench's store; "" when it is not there.
	Local string    `json:"local,omitempty"`
	Last  time.Time `json:"last"`
}

// Fetched is what a bench has got.
type Fetched struct {
	Engine    string `json:"engine"` // its name in this bench's store
	Traces    int    `json:"traces"` // new ones
	Documents int    `json:"documents"`
	// Refused are messages that cannot be right.
	Refused int `json:"refused,omitempty"`
	// Kept counts what was left as it is here, since the shop has yet to hear
	// of a change to it.
	Kept int `json:"kept,omitempty"`
}

// FetchOptions says whose store fetches, and from where.
type FetchOptions struct {
	Store  *storage.Store
	Server Server
	Bench  string
	Log    *slog.Logger // Default: nowhere
}

// Offers lists the engines in the stream, by name.
func Offers(ctx context.Context, o FetchOptions) ([]Offer, error) {
	f, err := newFetcher(ctx, o)
	if err != nil {
		return nil, err
	}
	defer f.link.close()
	latest := map[Ref]Offer{}
	err = f.collect(ctx, true, []string{Prefix + "*.document.engine.>"}, func(m Message, h heard) error {
		d := m.Document
		var e storage.Engine
		if d.Gone || json.Unmarshal(d.Doc, &e) != nil {
			delete(latest, d.Ref)
			return nil
		}
		latest[d.Ref] = Offer{Ref: d.Ref, Bench: m.Bench, Name: e.Name, Type: e.Type, Last: h.at}
		return nil
	})
	if err != nil {
		return nil, err
	}
	list := []Offer{}
	for _, offer := range latest {
		if offer.Local, err = f.localName(offer.Ref); err != nil {
			return nil, err
		}
		list = append(list, offer)
	}
	slices.SortFunc(list, func(a, b Offer) int {
		return cmp.Or(cmp.Compare(a.Ref.Name, b.Ref.Name), cmp.Compare(a.Bench, b.Bench), cmp.Compare(a.Ref.Origin, b.Ref.Origin))
	})
	return list, nil
}

// Fetch brings an engine with its trials, works and traces into a bench's
// store, so that the bench can go on with it. What is there already is brought
// up to date, unless a change made here still waits in the outbox.
func Fetch(ctx context.Context, o FetchOptions, engine Ref) (Fetched, error) {
	f, err := newFetcher(ctx, o)
	if err != nil {
		return Fetched{}, err
	}
	defer f.link.close()
	var got Fetched
	said, err := f.about(ctx, engine)
	if err != nil {
		return got, err
	}
	if said.engine == nil {
		return got, fmt.Errorf("the shop knows no engine %s of that store (or it was deleted): `lobescribe shop engines` lists them", engine.Name)
	}
	own, err := f.ownTraces()
	if err != nil {
		return got, err
	}
	for _, s := range said.inOrder() {
		if err := f.take(ctx, s, own, &got); err != nil {
			return got, err
		}
	}
	got.Engine, err = f.localName(engine)
	return got, err
}

type fetcher struct {
	o    FetchOptions
	self storage.ShopSelf
	link *link
}

func newFetcher(ctx context.Context, o FetchOptions) (*fetcher, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	self, err := o.Store.JoinShop(o.Bench)
	if err != nil {
		return nil, err
	}
	l, err := dial(ctx, dialing{o.Server, o.Bench, fetchingPace(), o.Log})
	if err != nil {
		return nil, err
	}
	if _, err := l.stream(ctx, StreamOptions{}); err != nil {
		l.close()
		return nil, err
	}
	return &fetcher{o: o, self: self, link: l}, nil
}

// localName returns what an engine of the shop is called here; "" when it is
// not here.
func (f *fetcher) localName(r Ref) (string, error) {
	if r.Origin == f.self.Origin {
		return r.Name, nil
	}
	var name string
	_, err := f.o.Store.ShopBook(bookLocal+string(storage.ErrandEngine)+"/"+r.String(), &name)
	return name, err
}

// ownTraces returns the bench's own traces by key.
func (f *fetcher) ownTraces() (map[string]storage.ID, error) {
	list, err := f.o.Store.Traces(storage.Query{})
	if err != nil {
		return nil, err
	}
	own := map[string]storage.ID{}
	for _, t := range list {
		own[Key(f.self.Origin, t.ID, t.Started)] = t.ID
	}
	return own, nil
}

// saying is the last that was said of a thing.
type saying struct {
	m Message
	h heard
}

// about is the last that was said of an engine and of all that belongs to it.
type about struct {
	engine    *saying
	traces    map[string]saying
	documents map[string]saying // trials and works
}

// inOrder lists traces before the documents that name them.
func (a *about) inOrder() []saying {
	all := []saying{*a.engine}
	for _, table := range []map[string]saying{a.traces, a.documents} {
		var some []saying
		for _, s := range table {
			some = append(some, s)
		}
		slices.SortFunc(some, func(a, b saying) int { return cmp.Compare(a.h.seq, b.h.seq) })
		all = append(all, some...)
	}
	return all
}

func (f *fetcher) about(ctx context.Context, engine Ref) (*about, error) {
	a := &about{traces: map[string]saying{}, documents: map[string]saying{}}
	is := func(r *Ref) bool { return r != nil && *r == engine }
	err := f.collect(ctx, true, []string{Prefix + "*.trace.>", Prefix + "*.document.>"}, func(m Message, h heard) error {
		h.data = nil // it is decoded
		s := saying{m, h}
		if m.Trace != nil {
			if delete(a.traces, m.Trace.Key); is(m.Trace.Engine) {
				a.traces[m.Trace.Key] = s
			}
			return nil
		}
		d := m.Document
		if d.Kind == storage.ErrandEngine {
			if d.Ref == engine {
				if a.engine = &s; d.Gone {
					a.engine = nil
				}
			}
			return nil
		}
		key := string(d.Kind) + "/" + d.Ref.String()
		_, had := a.documents[key]
		if delete(a.documents, key); is(d.Engine) || d.Gone && had {
			a.documents[key] = s
		}
		return nil
	})
	return a, err
}

// take brings one thing up to date.
func (f *fetcher) take(ctx context.Context, s saying, own map[string]storage.ID, got *Fetched) error {
	if s.m.Origin == f.self.Origin {
		return nil // said here
	}
	var parts []*Part
	if t := s.m.Trace; t != nil {
		known, err := f.o.Store.ShopBook(bookTrace+t.Key, new(knownTrace))
		if err != nil {
			return err
		}
		if _, mine := own[t.Key]; !known && !mine {
			err := f.collect(ctx, false, []string{Prefix + "*.readings." + t.Key}, func(m Message, _ heard) error {
				parts = append(parts, m.Part)
				return nil
			})
			if err != nil {
				return err
			}
		}
	}
	before := *got
	err := f.o.Store.Receive(func(in *storage.Intake) error {
		a := applier{in: in, names: visitor{f.self.Origin}, own: own}
		kept, err := f.pending(a, s.m)
		if err != nil || kept {
			got.Kept++
			return err
		}
		held := 0
		for _, p := range parts {
			grown, err := a.part(p, held)
			if err != nil {
				return err
			}
			held += grown
		}
		if s.m.Trace == nil {
			got.Documents++
			return a.document(s.m, s.h.at)
		}
		fresh, _, err := a.trace(s.m, s.h.at)
		if fresh {
			got.Traces++
		}
		return err
	})
	if refusal(err) != "" {
		f.o.Log.Warn("a message of the shop's stream is refused", "bench", s.m.Bench, "sequence", s.h.seq, "error", err)
		*got = before
		got.Refused++
		return nil
	}
	return err
}

// pending says whether the shop has yet to hear of a change made here.
func (f *fetcher) pending(a applier, m Message) (bool, error) {
	if m.Trace != nil {
		k, err := a.known(m.Trace.Key)
		if err != nil || k == nil {
			return false, err
		}
		return a.in.IsPending(storage.ErrandTrace, k.ID.String()), nil
	}
	d := m.Document
	name, mine := a.names.mine(d.Ref)
	if !mine {
		if ok, err := a.in.Book(bookLocal+string(d.Kind)+"/"+d.Ref.String(), &name); err != nil || !ok {
			return false, err
		}
	}
	return a.in.IsPending(d.Kind, name), nil
}

// collect reads what the stream holds now of some subjects, in its order: the
// last of each subject, or all. What a reader would refuse is passed over.
func (f *fetcher) collect(ctx context.Context, last bool, subjects []string, each func(Message, heard) error) error {
	policy := jetstream.DeliverAllPolicy
	if last {
		policy = jetstream.DeliverLastPerSubjectPolicy
	}
	var cons jetstream.Consumer
	err := f.link.ask(ctx, askPatience, func(ctx context.Context) (err error) {
		cons, err = f.link.js.CreateConsumer(ctx, StreamName, jetstream.ConsumerConfig{FilterSubjects: subjects, DeliverPolicy: policy,
			AckPolicy: jetstream.AckNonePolicy, MemoryStorage: true, InactiveThreshold: time.Minute, Replicas: 1})
		return err
	})
	if err != nil {
		return fmt.Errorf("reading the stream %s: %w", StreamName, err)
	}
	for left := cons.CachedInfo().NumPending; left > 0; {
		batch, err := cons.Fetch(int(min(left, batchMessages)), jetstream.FetchMaxWait(askPatience))
		if err != nil {
			return fmt.Errorf("reading the stream %s: %w", StreamName, err)
		}
		n := 0
		for msg := range batch.Messages() {
			n++
			meta, err := msg.Metadata()
			if err != nil {
				return err
			}
			h := heard{subject: msg.Subject(), data: msg.Data(), seq: meta.Sequence.Stream, at: meta.Timestamp.UTC()}
			m, _, err := h.open()
			if err != nil {
				f.o.Log.Warn("a message of the shop's stream is passed over", "sequence", h.seq, "error", err)
				continue
			}
			if err := each(m, h); err != nil {
				return err
			}
		}
		if err := errors.Join(batch.Error(), ctx.Err()); err != nil || n == 0 {
			return fmt.Errorf("the stream %s broke off with %d messages to come; try again (%w)", StreamName, left, cmp.Or(err, context.DeadlineExceeded))
		}
		left -= uint64(n)
	}
	return nil
}

// visitor names the documents of other benches on a bench that goes on with
// them.
type visitor struct{ origin string }

func (v visitor) mine(r Ref) (string, bool) { return r.Name, r.Origin == v.origin }

func (v visitor) propose(in *storage.Intake, kind storage.ErrandKind, r Ref, bench string, n int) (string, error) {
	if kind != storage.ErrandEngine {
		return in.NewName(kind)
	}
	name := r.Name
	if n > 1 {
		name = fit(bench+"."+r.Name, n-1)
	}
	if in.HasDocument(kind, name) {
		return "", nil
	}
	return name, nil
}
