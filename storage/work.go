package storage

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"go.etcd.io/bbolt"
)

const kindWork = "work"

// Work is a question that was put to a calculation about an engine, as it was
// typed: checking rods, clearances, a spring. Its answer is not kept, since it
// can be worked out again, and by a later version better.
type Work struct {
	ID     string `json:"id"`
	Rev    Rev    `json:"rev,omitempty"`
	Engine string `json:"engine"`
	// Valve is empty for what the whole engine has in common.
	Valve string    `json:"valve,omitempty"`
	Kind  WorkKind  `json:"kind"`
	At    time.Time `json:"at"`
	// Question is one JSON object in the form of the calculation's question.
	// The store does not look into it.
	Question json.RawMessage `json:"question"`
}

// WorkKind says of which calculation a Work is.
type WorkKind string

// The kinds of works.
const (
	WorkPushrod   WorkKind = "pushrod"
	WorkClearance WorkKind = "clearance"
	WorkSpring    WorkKind = "spring"
	WorkRocker    WorkKind = "rocker"
)

// WorkKinds returns the kinds of works.
func WorkKinds() []WorkKind {
	return []WorkKind{WorkPushrod, WorkClearance, WorkSpring, WorkRocker}
}

// MostQuestion bounds a question: a lift curve of a tenth of a degree is a
// third of it.
const MostQuestion = 1 << 20 // bytes

// Validate says which field is wrong and what it should be; the error is a
// [*FieldError].
func (w Work) Validate() error {
	bad := badField("work", w.ID)
	if !slug.MatchString(w.ID) {
		return bad("id", `must be of small letters, digits, "-", "_" and ".", beginning with a letter or digit, at most 64`)
	}
	if !slug.MatchString(w.Engine) {
		return bad("engine", "is %q; name the engine that it belongs to", w.Engine)
	}
	if !slices.Contains(WorkKinds(), w.Kind) {
		return bad("kind", "is %q; write pushrod, clearance, spring or rocker", w.Kind)
	}
	if len(w.Question) > MostQuestion {
		return bad("question", "is longer than %d kB; thin its curve out", MostQuestion>>10)
	}
	if q := bytes.TrimSpace(w.Question); len(q) == 0 || q[0] != '{' || !json.Valid(q) {
		return bad("question", "must be a JSON object, as the calculation takes it")
	}
	return nil
}

// PutWork stores a work. One with an empty ID is given one.
func (s *Store) PutWork(w Work) (Work, error) {
	named := w
	if named.ID == "" {
		named.ID = "new" // a refusal must not cost a number
	}
	if err := named.Validate(); err != nil {
		return w, err
	}
	if w.ID == "" {
		id, err := s.nextWork()
		if err != nil {
			return w, err
		}
		w.ID = id
	}
	was := w.Rev
	w.Rev = 0
	rev, err := s.putDoc(kindWork, w.ID, was, w)
	if err != nil {
		w.Rev = was
		return w, err
	}
	w.Rev = rev
	return w, nil
}

// nextWork returns a name that no work has. Numbers are shared with the trials;
// those that are taken are passed over, since a repaired store may not know any
// more how far the count had come.
func (s *Store) nextWork() (name string, err error) {
	err = s.update(OpDocument, func(tx *bbolt.Tx) error {
		docs := tx.Bucket([]byte(bucketDocs))
		for {
			n, err := docs.NextSequence()
			if err != nil {
				return err
			}
			// As wide as it ever gets, so that names sort by age.
			name = fmt.Sprintf("w%06d", n)
			if docs.Get(docKey(kindWork, name)) == nil {
				return nil
			}
		}
	})
	if err != nil {
		return "", fmt.Errorf("storing a work: %w", advise(err))
	}
	return name, nil
}

// Work returns a work; ErrNotFound when there is none of that name.
func (s *Store) Work(id string) (Work, error) {
	var w Work
	err := s.view(func(r rows) (err error) {
		w.Rev, err = readDoc(r, kindWork, id, &w)
		return err
	})
	return w, err
}

// Works returns the works of an engine ("" for all), by ID. Those that do not
// read are joined into the error, and the others are there.
func (s *Store) Works(engine string) ([]Work, error) {
	all, err := eachDoc(s, kindWork, func(w *Work, r Rev) { w.Rev = r })
	if engine != "" {
		all = slices.DeleteFunc(all, func(w Work) bool { return w.Engine != engine })
	}
	return all, err
}

// DeleteWork deletes a work at the revision that the caller has read.
func (s *Store) DeleteWork(id string, rev Rev) error { return s.deleteDoc(kindWork, id, rev) }
