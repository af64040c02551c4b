package storage

import (
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"go.etcd.io/bbolt"
)

// Rev is the revision of a document. It is in the document: read one, change
// it, put it back, and a change that somebody else made in between is not lost
// but refused with ErrStale. A new document has revision 0.
type Rev uint64

// The kinds of documents, which are the beginnings of their keys.
const (
	kindEngine = "engine"
	kindTrial  = "trial"
	kindBench  = "bench"
)

func docKey(kind, name string) []byte { return []byte(kind + "/" + name) }

// storedDoc is what stands in a document's value.
type storedDoc struct {
	Rev Rev             `json:"rev"`
	Doc json.RawMessage `json:"doc"`
}

func readDoc(r rows, kind, name string, v any) (Rev, error) {
	key := docKey(kind, name)
	raw := r.get(bucketDocs, key)
	if raw == nil {
		return 0, fmt.Errorf("%s %q: %w", kind, name, ErrNotFound)
	}
	var d storedDoc
	err := unseal(sealDoc, key, raw, &d)
	if err == nil {
		err = json.Unmarshal(d.Doc, v)
	}
	if err != nil {
		return 0, &Damage{Part: PartDocument, Name: string(key), Why: err.Error()}
	}
	return d.Rev, nil
}

// putDoc stores v when the stored revision is was (0: nothing is stored) and
// returns the new revision. A stored document that does not read any more
// stands in nobody's way.
func (s *Store) putDoc(kind, name string, was Rev, v any) (Rev, error) {
	now := was + 1
	err := s.update(OpDocument, func(tx *bbolt.Tx) error {
		key := docKey(kind, name)
		docs := tx.Bucket([]byte(bucketDocs))
		var old storedDoc
		if raw := docs.Get(key); raw != nil && unseal(sealDoc, key, raw, &old) == nil {
			if old.Rev != was {
				if was == 0 {
					return ErrExists
				}
				return fmt.Errorf("%w: it is at revision %d, the change was made to %d; read it again", ErrStale, old.Rev, was)
			}
		} else if raw == nil && was != 0 {
			return fmt.Errorf("%w: it was deleted", ErrStale)
		}
		doc, err := keepUnknown(old.Doc, v)
		if err != nil {
			return err
		}
		sealed, err := seal(sealDoc, key, storedDoc{now, doc})
		if err != nil {
			return err
		}
		s.countDoc(tx, key, 1)
		if err := docs.Put(key, sealed); err != nil || !told(kind) {
			return err
		}
		return s.enqueue(tx, ErrandKind(kind), name, false)
	})
	if err != nil {
		return 0, fmt.Errorf("storing %s %q: %w", kind, name, advise(err))
	}
	return now, nil
}

func (s *Store) deleteDoc(kind, name string, was Rev) error {
	err := s.update(OpDocument, func(tx *bbolt.Tx) error {
		key := docKey(kind, name)
		docs := tx.Bucket([]byte(bucketDocs))
		raw := docs.Get(key)
		if raw == nil {
			return ErrNotFound
		}
		var old storedDoc
		if unseal(sealDoc, key, raw, &old) == nil && old.Rev != was {
			return fmt.Errorf("%w: it is at revision %d, not %d; read it again", ErrStale, old.Rev, was)
		}
		s.countDoc(tx, key, 0)
		if kind == kindTrial {
			if err := s.dropPhotographs(tx, name); err != nil {
				return err
			}
		}
		if err := docs.Delete(key); err != nil || !told(kind) {
			return err
		}
		return s.enqueue(tx, ErrandKind(kind), name, false)
	})
	if err != nil {
		return fmt.Errorf("deleting %s %q: %w", kind, name, advise(err))
	}
	return nil
}

// eachDoc reads every document of a kind; those that do not read are joined
// into the error, and the others are there.
func eachDoc[T any](s *Store, kind string, set func(*T, Rev)) ([]T, error) {
	return eachDocOf(s, kind, "", set)
}

// eachDocOf is eachDoc for those whose name begins with of.
func eachDocOf[T any](s *Store, kind, of string, set func(*T, Rev)) ([]T, error) {
	out := []T{}
	var errs []error
	err := s.view(func(r rows) error {
		prefix := kind + "/"
		r.ascend(bucketDocs, []byte(prefix+of), func(k, _ []byte) bool {
			name, ok := strings.CutPrefix(string(k), prefix)
			if !ok || !strings.HasPrefix(name, of) {
				return false
			}
			var v T
			rev, err := readDoc(r, kind, name, &v)
			if err != nil {
				errs = append(errs, err)
				return true
			}
			set(&v, rev)
			out = append(out, v)
			return true
		})
		return nil
	})
	if len(errs) > 0 {
		s.alarm() // whoever tends the store takes them out, and records the loss
	}
	return out, errors.Join(append(errs, err)...)
}

// PutEngine stores an engine that Validate accepts, and returns it with its
// new revision.
func (s *Store) PutEngine(e Engine) (Engine, error) {
	if err := e.Validate(); err != nil {
		return e, err
	}
	was := e.Rev
	e.Rev = 0
	rev, err := s.putDoc(kindEngine, e.ID, was, e)
	if err != nil {
		e.Rev = was
		return e, err
	}
	e.Rev = rev
	return e, nil
}

// Engine returns an engine; ErrNotFound when there is none of that name.
func (s *Store) Engine(id string) (Engine, error) {
	var e Engine
	err := s.view(func(r rows) (err error) {
		e.Rev, err = readDoc(r, kindEngine, id, &e)
		return err
	})
	return e, err
}

// Engines returns all engines, by ID.
func (s *Store) Engines() ([]Engine, error) {
	return eachDoc(s, kindEngine, func(e *Engine, r Rev) { e.Rev = r })
}

// DeleteEngine deletes an engine at the revision that the caller has read. Its
// traces, trials and works stay.
func (s *Store) DeleteEngine(id string, rev Rev) error { return s.deleteDoc(kindEngine, id, rev) }

// PutTrial stores a trial. One with an empty ID is given one.
func (s *Store) PutTrial(t Trial) (Trial, error) {
	if t.ID == "" {
		id, err := s.nextTrial()
		if err != nil {
			return t, err
		}
		t.ID = id
	}
	if err := t.Validate(); err != nil {
		return t, err
	}
	was := t.Rev
	t.Rev = 0
	rev, err := s.putDoc(kindTrial, t.ID, was, t)
	if err != nil {
		t.Rev = was
		return t, err
	}
	t.Rev = rev
	return t, nil
}

// nextTrial returns a name that no trial has had.
func (s *Store) nextTrial() (string, error) {
	var name string
	err := s.update(OpDocument, func(tx *bbolt.Tx) error {
		docs := tx.Bucket([]byte(bucketDocs))
		for {
			n, err := docs.NextSequence()
			if err != nil {
				return err
			}
			// As wide as it ever gets, so that names sort by age.
			name = fmt.Sprintf("t%06d", n)
			if docs.Get(docKey(kindTrial, name)) == nil {
				return nil // as a rule: nothing proves the count
			}
		}
	})
	if err != nil {
		return "", fmt.Errorf("storing a trial: %w", advise(err))
	}
	return name, nil
}

// Trial returns a trial; ErrNotFound when there is none of that name.
func (s *Store) Trial(id string) (Trial, error) {
	var t Trial
	err := s.view(func(r rows) (err error) {
		t.Rev, err = readDoc(r, kindTrial, id, &t)
		return err
	})
	return t, err
}

// Trials returns the trials of an engine ("" for all), by ID.
func (s *Store) Trials(engine string) ([]Trial, error) {
	all, err := eachDoc(s, kindTrial, func(t *Trial, r Rev) { t.Rev = r })
	out := all[:0]
	for _, t := range all {
		if engine == "" || t.Engine == engine {
			out = append(out, t)
		}
	}
	return out, err
}

// DeleteTrial deletes a trial at the revision that the caller has read.
func (s *Store) DeleteTrial(id string, rev Rev) error { return s.deleteDoc(kindTrial, id, rev) }

// Bench returns what the bench is set to; the zero Bench when nothing was set.
func (s *Store) Bench() (Bench, error) {
	var b Bench
	err := s.view(func(r rows) (err error) {
		b.Rev, err = readDoc(r, kindBench, "", &b)
		return err
	})
	var hurt *Damage
	if errors.As(err, &hurt) {
		// A bench must start all the same; whoever tends the store records the loss.
		s.log.Warn("what the bench was set to does not read, and is chosen again", "error", err)
		s.alarm()
		return Bench{}, nil
	}
	if errors.Is(err, ErrNotFound) {
		return Bench{}, nil
	}
	return b, err
}

// PutBench stores what the bench is set to.
func (s *Store) PutBench(b Bench) (Bench, error) {
	was := b.Rev
	b.Rev = 0
	rev, err := s.putDoc(kindBench, "", was, b)
	if err != nil {
		b.Rev = was
		return b, err
	}
	b.Rev = rev
	return b, nil
}
