package storage

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/storage/picture"
)

const kindPhotograph = "photograph"

// Photograph is a picture of a trial's rocker with what was marked in it. It goes
// with its trial.
type Photograph struct {
	// ID is the trial's with a number behind it.
	ID    string    `json:"id"`
	Rev   Rev       `json:"rev,omitempty"`
	Trial string    `json:"trial"`
	At    time.Time `json:"at"`
	// JPEG is a picture that package picture made; Width and Height are its own.
	JPEG   []byte `json:"jpeg,omitempty"`
	Width  int    `json:"width_px"`
	Height int    `json:"height_px"`
	// Marks is one JSON object as the calculation of photographs takes it. The
	// store does not look into it.
	Marks json.RawMessage `json:"marks,omitempty"`
}

// What a trial may have.
const (
	MostPhotographs = 20
	mostMarks       = 32 << 10 // bytes
)

// Validate says which field is wrong; the error is a [*FieldError].
func (p Photograph) Validate() error {
	bad := badField("photograph", p.ID)
	if !slug.MatchString(p.ID) || !strings.HasPrefix(p.ID, p.Trial+".") || !slug.MatchString(p.Trial) {
		return bad("id", "must be its trial's with a number behind it")
	}
	if len(p.JPEG) == 0 || len(p.JPEG) > picture.MostBytes {
		return bad("jpeg", "has %d kB; a picture has up to 1024", len(p.JPEG)>>10)
	}
	if len(p.Marks) > mostMarks || len(p.Marks) > 0 && !json.Valid(p.Marks) {
		return bad("marks", "must be a JSON object of at most %d kB", mostMarks>>10)
	}
	return nil
}

// Small is the picture with at most so many pixels a side, as JPEG.
func (p Photograph) Small(side int) ([]byte, error) { return picture.Small(p.JPEG, side) }

func photographsOf(trial string) string { return trial + "." }

// PutPhotograph stores a photograph of a trial that is there. One with an empty ID
// is given one.
func (s *Store) PutPhotograph(p Photograph) (Photograph, error) {
	if _, err := s.Trial(p.Trial); err != nil {
		return p, err
	}
	had, err := s.Photographs(p.Trial)
	if err != nil {
		return p, err
	}
	if p.ID == "" {
		if len(had) >= MostPhotographs {
			return p, badField("photograph", p.Trial)("trial", "has %d photographs already; delete one that is not needed", len(had))
		}
		next := 1
		for _, h := range had {
			var n int
			if _, err := fmt.Sscanf(strings.TrimPrefix(h.ID, photographsOf(p.Trial)), "%d", &n); err == nil {
				next = max(next, n+1)
			}
		}
		p.ID = fmt.Sprintf("%s%03d", photographsOf(p.Trial), next)
	}
	if err := p.Validate(); err != nil {
		return p, err
	}
	was := p.Rev
	p.Rev = 0
	rev, err := s.putDoc(kindPhotograph, p.ID, was, p)
	if err != nil {
		p.Rev = was
		return p, err
	}
	p.Rev = rev
	return p, nil
}

// Photograph returns one; ErrNotFound when there is none of that name.
func (s *Store) Photograph(id string) (Photograph, error) {
	var p Photograph
	err := s.view(func(r rows) (err error) {
		p.Rev, err = readDoc(r, kindPhotograph, id, &p)
		return err
	})
	return p, err
}

// Photographs returns those of a trial, by age.
func (s *Store) Photographs(trial string) ([]Photograph, error) {
	return eachDocOf(s, kindPhotograph, photographsOf(trial), func(p *Photograph, r Rev) { p.Rev = r })
}

// DeletePhotograph deletes one at the revision that the caller has read.
func (s *Store) DeletePhotograph(id string, rev Rev) error {
	return s.deleteDoc(kindPhotograph, id, rev)
}

// dropPhotographs deletes those of a trial within the transaction that deletes it.
func (s *Store) dropPhotographs(tx *bbolt.Tx, trial string) error {
	docs := tx.Bucket([]byte(bucketDocs))
	prefix := string(docKey(kindPhotograph, photographsOf(trial)))
	var keys [][]byte
	c := docs.Cursor()
	for k, _ := c.Seek([]byte(prefix)); strings.HasPrefix(string(k), prefix); k, _ = c.Next() {
		keys = append(keys, slices.Clone(k))
	}
	for _, k := range keys {
		s.countDoc(tx, k, 0)
		if err := docs.Delete(k); err != nil {
			return err
		}
	}
	return nil
}
