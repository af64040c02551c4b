package shop

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"time"

	"lobescribe/device/measure"
	"lobescribe/storage"
	"lobescribe/storage/chunk"
)

// applier writes messages into a store, in one transaction: of a reader, which
// takes in everything, or of a bench that goes on with an engine of another.
type applier struct {
	in    *storage.Intake
	names naming
	// own holds the bench's own traces by key; nil for a reader.
	own map[string]storage.ID
}

// naming chooses what a document of the shop is called in this store.
type naming interface {
	// mine returns the local name of what was made in this store; false for
	// what comes from elsewhere.
	mine(Ref) (string, bool)
	// propose returns the n-th name, from 1 on, that a document might have; ""
	// for one that something else has.
	propose(in *storage.Intake, kind storage.ErrandKind, r Ref, bench string, n int) (string, error)
}

// What the book knows of a trace and an engine of the shop.
type (
	knownTrace struct {
		ID     storage.ID `json:"id"`
		Bench  string     `json:"bench"` // on which it was recorded
		Digest string     `json:"digest"`
	}
	// EngineEntry is what the shop knows of an engine besides its document.
	EngineEntry struct {
		Ref     Ref       `json:"ref"`
		Benches []string  `json:"benches"` // that had to do with it, the first one first
		Last    time.Time `json:"last"`    // when the stream heard of it last
		Gone    bool      `json:"gone,omitempty"`
	}
)

const (
	bookEngine = "engine/" // local name -> EngineEntry
	bookWait   = "wait/"   // key -> Message of a trace whose parts are missing
	bookWant   = "want/"   // key/local trial -> true: the trial names the trace
	bookKeys   = "keys/"   // local trial -> keys of its traces
)

// mostHeld bounds the readings that are held for one bench's unfinished trace.
const mostHeld = 128 << 20 // bytes

// local returns what a document of the shop is called here, and gives it a name
// when it has none yet.
func (a applier) local(kind storage.ErrandKind, r Ref, bench string) (string, error) {
	if name, ok := a.names.mine(r); ok {
		return name, nil
	}
	key := bookLocal + string(kind) + "/" + r.String()
	var name string
	if ok, err := a.in.Book(key, &name); err != nil || ok {
		return name, err
	}
	for n := 1; ; n++ {
		var err error
		if name, err = a.names.propose(a.in, kind, r, bench, n); err != nil {
			return "", err
		}
		var other Ref
		taken, err := a.in.Book(bookCopy+string(kind)+"/"+name, &other)
		if err != nil {
			return "", err
		}
		if !taken && name != "" {
			break
		}
	}
	return name, errors.Join(a.in.SetBook(key, name), a.in.SetBook(bookCopy+string(kind)+"/"+name, r))
}

// part holds a part of a trace until the rest is there. It returns by how many
// bytes what is held has grown.
func (a applier) part(p *Part, held int) (int, error) {
	h, err := chunk.Peek(p.Chunk)
	switch {
	case err != nil:
		return 0, fmt.Errorf("%w: %w", ErrMeaning, err)
	case h.Trace != 0 || h.First != p.First || h.Count != p.Count:
		return 0, fmt.Errorf("%w: its readings are not the part that it says", ErrMeaning)
	case p.First+uint64(p.Count) > MostReadings:
		return 0, fmt.Errorf("%w: a trace of more than %d readings", ErrMeaning, uint64(MostReadings))
	case held+len(p.Chunk) > mostHeld:
		return 0, fmt.Errorf("%w: more than %d MB of unfinished traces", ErrMeaning, mostHeld>>20)
	}
	if known, err := a.known(p.Key); err != nil || known != nil {
		return 0, err // said before
	}
	return a.in.HoldPart(p.Key, p.First, p.Chunk)
}

func (a applier) known(key string) (*knownTrace, error) {
	var k knownTrace
	if ok, err := a.in.Book(bookTrace+key, &k); err != nil || ok {
		return &k, err
	}
	if id, ok := a.own[key]; ok {
		return &knownTrace{ID: id}, nil
	}
	return nil, nil
}

// trace applies what is said of a trace. fresh is true for one that appears
// now; freed is how many bytes of parts it let go of. A trace whose parts are
// missing waits for them.
func (a applier) trace(m Message, at time.Time) (fresh bool, freed int, err error) {
	t := m.Trace
	known, err := a.known(t.Key)
	if err != nil {
		return false, 0, err
	}
	h := t.Head
	if h.Engine, err = a.engineOf(t.Engine, h.Engine, m.Bench, at); err != nil {
		return false, 0, err
	}
	if t.Trial != nil {
		if h.Trial, err = a.local(storage.ErrandTrial, *t.Trial, m.Bench); err != nil {
			return false, 0, err
		}
	}
	if known != nil {
		if known.Digest != "" && known.Digest != t.Digest {
			return false, 0, fmt.Errorf("%w: other readings under the name of a trace that is there", ErrMeaning)
		}
		return false, 0, a.in.AmendTrace(known.ID, h.Engine, h.Valve, h.Trial, h.Remark, t.Findings)
	}
	h.Source = "shop:" + m.Bench
	d := newDigest()
	wrong := fmt.Errorf("%w: the readings are not those that it was sent for", ErrMeaning)
	if t.Readings == 0 && d.sum() != t.Digest {
		return false, 0, wrong
	}
	id, err := a.in.AddTrace(storage.HeldTrace{Key: t.Key, Readings: t.Readings, Head: h, Notes: t.Notes, Findings: t.Findings},
		func(rs []measure.Reading) error {
			if d.add(rs); d.n == t.Readings && d.sum() != t.Digest {
				return wrong
			}
			return nil
		})
	switch {
	case errors.Is(err, storage.ErrNotWhole):
		return false, 0, a.in.SetBook(bookWait+t.Key, m)
	case errors.Is(err, wrong), errors.Is(err, chunk.ErrDamaged), errors.Is(err, storage.ErrOrder), errors.Is(err, storage.ErrTooMany):
		freed, dropErr := a.in.DropParts(t.Key)
		return false, freed, errors.Join(fmt.Errorf("%w: %w", ErrMeaning, err), dropErr)
	case err != nil:
		return false, 0, err
	}
	if freed, err = a.in.DropParts(t.Key); err != nil {
		return false, 0, err
	}
	err = errors.Join(
		a.in.SetBook(bookTrace+t.Key, knownTrace{ID: id, Bench: m.Bench, Digest: t.Digest}),
		a.in.SetBook(bookCopy+"trace/"+id.String(), t.Key),
		a.in.DropBook(bookWait+t.Key))
	if err != nil {
		return false, 0, err
	}
	return true, freed, a.link(t.Key)
}

// engineOf returns the local name of an engine that a trace, trial or work is
// of, and notes that the bench had to do with it. An engine under a name that no
// document can have keeps it.
func (a applier) engineOf(r *Ref, name, bench string, at time.Time) (string, error) {
	if r == nil {
		return name, nil
	}
	local, err := a.local(storage.ErrandEngine, *r, bench)
	if err != nil {
		return "", err
	}
	return local, a.heard(local, *r, bench, at, nil)
}

// heard notes that a bench had to do with an engine.
func (a applier) heard(local string, r Ref, bench string, at time.Time, gone *bool) error {
	var e EngineEntry
	if _, err := a.in.Book(bookEngine+local, &e); err != nil {
		return err
	}
	e.Ref, e.Last = r, at
	if !slices.Contains(e.Benches, bench) {
		e.Benches = append(e.Benches, bench)
	}
	if gone != nil {
		e.Gone = *gone
	}
	return a.in.SetBook(bookEngine+local, e)
}

// document puts a document in place of what was said of it before.
func (a applier) document(m Message, at time.Time) error {
	d := m.Document
	local, err := a.local(d.Kind, d.Ref, m.Bench)
	if err != nil {
		return err
	}
	if d.Kind == storage.ErrandEngine {
		if err := a.heard(local, d.Ref, m.Bench, at, &d.Gone); err != nil {
			return err
		}
	}
	if d.Gone {
		return a.in.DropDocument(d.Kind, local)
	}
	doc, err := a.rename(d, local, m.Bench, at)
	if err != nil {
		return err
	}
	if err := a.in.PutDocument(d.Kind, local, d.Rev, doc, d.Doc); err != nil {
		return err
	}
	if d.Kind != storage.ErrandTrial {
		return nil
	}
	var before []string
	if _, err := a.in.Book(bookKeys+local, &before); err != nil {
		return err
	}
	for _, key := range before {
		if err := a.in.DropBook(bookWant + key + "/" + local); err != nil {
			return err
		}
	}
	for _, key := range d.Traces {
		if err := a.in.SetBook(bookWant+key+"/"+local, true); err != nil {
			return err
		}
	}
	return errors.Join(a.in.SetBook(bookKeys+local, d.Traces), a.relink(local))
}

// rename reads a document and puts the names of this store into it.
func (a applier) rename(d *Document, local, bench string, at time.Time) (any, error) {
	bad := func(err error) (any, error) { return nil, fmt.Errorf("%w: %w", ErrMeaning, err) }
	switch d.Kind {
	case storage.ErrandEngine:
		var e storage.Engine
		if err := json.Unmarshal(d.Doc, &e); err != nil {
			return bad(err)
		}
		e.ID, e.Rev = local, 0
		if err := e.Validate(); err != nil {
			return bad(err)
		}
		return e, nil
	case storage.ErrandTrial:
		var t storage.Trial
		if err := json.Unmarshal(d.Doc, &t); err != nil {
			return bad(err)
		}
		engine, err := a.engineOf(d.Engine, t.Engine, bench, at)
		if err != nil {
			return nil, err
		}
		t.ID, t.Rev, t.Engine, t.Traces = local, 0, engine, nil
		if err := t.Validate(); err != nil {
			return bad(err)
		}
		return t, nil
	}
	var w storage.Work
	if err := json.Unmarshal(d.Doc, &w); err != nil {
		return bad(err)
	}
	engine, err := a.engineOf(d.Engine, w.Engine, bench, at)
	if err != nil {
		return nil, err
	}
	w.ID, w.Rev, w.Engine = local, 0, engine
	if err := w.Validate(); err != nil {
		return bad(err)
	}
	return w, nil
}

// link tells the trials that name a trace that it is there.
func (a applier) link(key string) error {
	for _, local := range a.in.Books(bookWant + key + "/") {
		if err := a.relink(local); err != nil {
			return err
		}
	}
	return nil
}

// relink writes the numbers of its traces into a trial: of those that are
// there.
func (a applier) relink(local string) error {
	raw, rev, err := a.in.DocumentJSON(storage.ErrandTrial, local)
	if errors.Is(err, storage.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	var t storage.Trial
	if err := json.Unmarshal(raw, &t); err != nil {
		return err
	}
	var keys []string
	if _, err := a.in.Book(bookKeys+local, &keys); err != nil {
		return err
	}
	t.Traces = nil
	for _, key := range keys {
		known, err := a.known(key)
		if err != nil {
			return err
		}
		if known != nil {
			t.Traces = append(t.Traces, known.ID)
		}
	}
	return a.in.PutDocument(storage.ErrandTrial, local, rev, t, raw)
}

// fit makes a name of its parts that a document can have.
func fit(text string, n int) string {
	if n > 1 {
		text += "-" + strconv.Itoa(n)
	}
	if len(text) > 64 {
		text = text[:51] + "-" + ID([]byte(text))[:12]
	}
	return text
}

// everyone names the documents of a reader: by the bench that spoke of them
// first.
type everyone struct{}

func (everyone) mine(Ref) (string, bool) { return "", false }

func (everyone) propose(_ *storage.Intake, _ storage.ErrandKind, r Ref, bench string, n int) (string, error) {
	return fit(bench+"."+r.Name, n), nil
}
