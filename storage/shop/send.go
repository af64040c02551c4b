package shop

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"

	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/chunk"
)

// The book of a store: where what is elsewhere is here, and the other way.
const (
	bookCopy  = "copy/"  // kind/local name -> Ref, or trace/number -> key
	bookLocal = "local/" // kind/origin/name -> local name
	bookTrace = "trace/" // key -> known trace
)

// refOf returns how the shop calls a document of a store; nil for a name that
// no document can have.
func refOf(s *storage.Store, self storage.ShopSelf, kind storage.ErrandKind, name string) (*Ref, error) {
	if !docName.MatchString(name) {
		return nil, nil
	}
	var r Ref
	ok, err := s.ShopBook(bookCopy+string(kind)+"/"+name, &r)
	if err != nil {
		return nil, err
	}
	if !ok {
		r = Ref{Origin: self.Origin, Name: name}
	}
	return &r, nil
}

// keyOf returns how the shop calls a trace of a store.
func keyOf(s *storage.Store, self storage.ShopSelf, id storage.ID) (string, error) {
	var key string
	ok, err := s.ShopBook(bookCopy+"trace/"+id.String(), &key)
	if err != nil || ok {
		return key, err
	}
	h, err := s.Head(id)
	if err != nil {
		return "", err
	}
	return Key(self.Origin, id, h.Started), nil
}

// sendTrace sends the readings of a trace in parts, where the shop does not
// have them, and then the trace.
func (p *Publisher) sendTrace(ctx context.Context, e storage.Errand) error {
	id, err := e.Trace()
	if err != nil {
		return unsendable{err}
	}
	s := p.o.Store
	key, err := keyOf(s, p.self, id)
	var hurt *storage.Damage
	switch {
	case errors.Is(err, storage.ErrNotFound):
		return nil
	case errors.As(err, &hurt):
		return unsendable{fmt.Errorf("%w; repair the store: `lobescribe verify --repair`", err)}
	case err != nil:
		return err
	}
	d := newDigest()
	var readings []measure.Reading
	var dec chunk.Decoder
	for part, err := range cut(whole(s, id)) {
		if err != nil {
			return err
		}
		part.Key = key
		if readings, _, err = dec.Append(readings[:0], part.Chunk); err != nil {
			return err
		}
		d.add(readings)
		if e.Readings {
			if err := p.sendPart(ctx, part); err != nil {
				return err
			}
		}
	}
	t, err := p.trace(id, key)
	if err != nil {
		return err
	}
	t.Readings, t.Digest = d.n, d.sum()
	err = p.send(ctx, Message{Number: e.Number, Trace: t})
	if large := (tooLarge{}); errors.As(err, &large) && t.Findings != nil {
		t.Findings = nil // they can be worked out again from the readings
		err = p.send(ctx, Message{Number: e.Number, Trace: t})
	}
	return never(err)
}

// whole yields all readings of a trace. What damage has cost is left out: the
// store tells of it, and whoever reads should be told.
func whole(s *storage.Store, id storage.ID) iter.Seq2[[]measure.Reading, error] {
	return func(yield func([]measure.Reading, error) bool) {
		from, until := storage.All()
		for batch, err := range s.Readings(id, from, until) {
			var hurt *storage.Damage
			if errors.As(err, &hurt) {
				continue
			}
			if !yield(batch, err) {
				return
			}
		}
	}
}

// sendPart sends a part, in halves where the server takes no more at once.
func (p *Publisher) sendPart(ctx context.Context, part Part) error {
	err := p.send(ctx, Message{Part: &part})
	large := tooLarge{}
	if !errors.As(err, &large) || part.Count < 2 {
		return never(err)
	}
	a, b, err := halve(part)
	if err != nil {
		return err
	}
	if err := p.sendPart(ctx, a); err != nil {
		return err
	}
	return p.sendPart(ctx, b)
}

// trace gathers all of a trace but its readings.
func (p *Publisher) trace(id storage.ID, key string) (*Trace, error) {
	s := p.o.Store
	h, err := s.Head(id)
	if err != nil {
		return nil, err
	}
	t := &Trace{Key: key, Head: h}
	if t.Engine, err = refOf(s, p.self, storage.ErrandEngine, h.Engine); err != nil {
		return nil, err
	}
	if t.Trial, err = refOf(s, p.self, storage.ErrandTrial, h.Trial); err != nil {
		return nil, err
	}
	var hurt *storage.Damage
	if t.Notes, err = s.Notes(id); err != nil && !errors.As(err, &hurt) {
		return nil, err
	}
	f, err := s.Findings(id)
	switch {
	case err == nil:
		t.Findings = &f
	case !errors.Is(err, storage.ErrNotFound) && !errors.As(err, &hurt):
		return nil, err
	}
	return t, nil
}

// sendDocument sends a document as it stands, or that it is gone.
func (p *Publisher) sendDocument(ctx context.Context, e storage.Errand) error {
	s := p.o.Store
	ref, err := refOf(s, p.self, e.Kind, e.Name)
	if err != nil {
		return err
	}
	if ref == nil {
		return unsendable{fmt.Errorf("%q is not a name of a document", e.Name)}
	}
	d := &Document{Kind: e.Kind, Ref: *ref}
	doc, rev, err := s.DocumentJSON(e.Kind, e.Name)
	var hurt *storage.Damage
	switch {
	case errors.Is(err, storage.ErrNotFound):
		d.Gone = true
		return never(p.send(ctx, Message{Number: e.Number, Document: d}))
	case errors.As(err, &hurt):
		return unsendable{err}
	case err != nil:
		return err
	}
	d.Doc, d.Rev = doc, rev
	if err := p.belongings(d); err != nil {
		return err
	}
	return never(p.send(ctx, Message{Number: e.Number, Document: d}))
}

// belongings says, in the shop's names, to which engine and traces a trial or a
// work belongs.
func (p *Publisher) belongings(d *Document) (err error) {
	if d.Kind == storage.ErrandEngine {
		return nil
	}
	var of struct {
		Engine string       `json:"engine"`
		Traces []storage.ID `json:"traces"`
	}
	if err := json.Unmarshal(d.Doc, &of); err != nil {
		return unsendable{err}
	}
	if d.Engine, err = refOf(p.o.Store, p.self, storage.ErrandEngine, of.Engine); err != nil {
		return err
	}
	for _, id := range of.Traces {
		key, err := keyOf(p.o.Store, p.self, id)
		var hurt *storage.Damage
		if errors.Is(err, storage.ErrNotFound) || errors.As(err, &hurt) {
			continue
		}
		if err != nil {
			return err
		}
		d.Traces = append(d.Traces, key)
	}
	return nil
}
