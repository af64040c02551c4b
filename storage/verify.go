package storage

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"

	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/pages"
)

// A Report says what Verify looked at and what is hurt.
type Report struct {
	Path      string `json:"path"`
	Bytes     int64  `json:"bytes"`
	Pages     uint64 `json:"pages"`
	FreePages int    `json:"free_pages"`
	Traces    int    `json:"traces"`
	// Readings are those that read.
	Readings  uint64 `json:"readings"`
	Chunks    int    `json:"chunks"`
	Documents int    `json:"documents"`
	// Damages is empty for a whole store.
	Damages []*Damage `json:"damages"`
	// Repairs are the records of repairs that nobody has dismissed.
	Repairs []Repaired `json:"repairs,omitempty"`
}

// Whole says that nothing is hurt.
func (r Report) Whole() bool { return len(r.Damages) == 0 }

// LostReadings counts the readings that do not read, as far as that is known.
func (r Report) LostReadings() (n uint64) {
	for _, d := range r.Damages {
		if d.Part == PartReadings && d.Count > 0 {
			n += uint64(d.Count)
		}
	}
	return n
}

// String tells the report in a person's words, one line a thing.
func (r Report) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: ", r.Path)
	if r.Whole() {
		b.WriteString("whole")
	} else if len(r.Damages) == 1 {
		b.WriteString("DAMAGED in one place")
	} else {
		fmt.Fprintf(&b, "DAMAGED in %d places", len(r.Damages))
	}
	fmt.Fprintf(&b, ". %d traces, %d readings and %d documents read", r.Traces, r.Readings, r.Documents)
	if n := r.LostReadings(); n > 0 {
		fmt.Fprintf(&b, "; at least %d readings are lost", n)
	}
	b.WriteString(".\n")
	for i, d := range r.Damages {
		if i == 50 {
			fmt.Fprintf(&b, "  and %d more\n", len(r.Damages)-i)
			break
		}
		fmt.Fprintf(&b, "  %s\n", d.Error())
	}
	for _, done := range r.Repairs {
		fmt.Fprintf(&b, "%s\n", done.Says())
	}
	return b.String()
}

// Verify reads the whole store, while recording goes on, and says what is
// hurt: every page and its place in the tree, every checksum, the order of the
// readings, holes between them, heads, notes, documents, and whether lists and
// indexes agree with what they were made of. The error is not for damage but
// for not getting through.
func (s *Store) Verify(ctx context.Context) (Report, error) {
	rep := Report{Path: s.path, Damages: []*Damage{}}
	db, err := s.enter()
	if err != nil {
		return rep, err
	}
	defer s.leave()
	if s.salvage != nil {
		rep.Damages = append(rep.Damages, s.salvage.hurts...)
		if metas := s.salvage.pf.Metas(); len(metas) > 0 {
			rep.Pages = metas[0].Pages
		}
		if info, err := s.salvage.file.Stat(); err == nil {
			rep.Bytes = info.Size()
		}
		return rep, rep.contents(ctx, s.salvage)
	}
	f, err := os.Open(s.path)
	if err != nil {
		return rep, fmt.Errorf("verifying the store %s: %w", s.path, err)
	}
	defer f.Close()
	look := func(tx *bbolt.Tx) error {
		pf, hurts, err := rep.structure(f, tx)
		if err != nil {
			return err
		}
		if len(hurts) == 0 {
			return rep.contents(ctx, boltRows{tx})
		}
		// The database must not be asked for hurt pages.
		sal, err := salvage(pf, hurts)
		if err != nil {
			return err
		}
		rep.Damages = append(rep.Damages, sal.hurts...)
		return rep.contents(ctx, sal)
	}
	for range 20 {
		rep = Report{Path: s.path, Damages: rep.Damages[:0]}
		if err = s.transact(db, false, look); !errors.Is(err, errTooLate) {
			break
		}
	}
	if err != nil {
		err = fmt.Errorf("verifying the store %s: %w", s.path, err)
	}
	return rep, err
}

// structure walks the tree that the transaction sees, by way of the file.
func (r *Report) structure(f *os.File, tx *bbolt.Tx) (*pages.File, []*pages.Hurt, error) {
	buckets := map[string]bool{}
	pf, w, err := walkOf(f, tx, func(it pages.Item) bool { buckets[it.Bucket] = true; return true })
	if err == nil && len(w.Hurts) == 0 {
		w.Hurts = missingBuckets(buckets)
	}
	switch {
	case errors.Is(err, pages.ErrNoMeta):
		return pf, []*pages.Hurt{{Why: err.Error()}}, nil
	case err != nil:
		return nil, nil, err
	}
	r.Bytes = pf.Size()
	if len(pf.Metas()) < 2 {
		r.add(&Damage{Part: PartPages, Why: oneHead})
	}
	r.Pages, r.FreePages = w.Meta().Pages, w.Free
	return pf, w.Hurts, nil
}

// walkOf walks the tree that the transaction sees, by way of the file: item is
// as for pages.File.Walk.
func walkOf(f *os.File, tx *bbolt.Tx, item func(pages.Item) bool) (*pages.File, *pages.Walk, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, nil, err
	}
	pf, err := pages.Open(f, info.Size())
	if err != nil {
		return pf, nil, err
	}
	for _, m := range pf.Metas() {
		if m.Tx == uint64(tx.ID()) {
			return pf, pf.Walk(m, item), nil
		}
	}
	// Two commits since the transaction began have written over its head page;
	// the next look will be in time.
	return nil, nil, errTooLate
}

// oneHead is also what a power cut leaves that tore the last head page; the
// next opening for writing puts it right.
const oneHead = "one of its two head pages does not read: what was written last may be missing"

var errTooLate = errors.New("the store changed too fast to be looked at; try again")

// VerifyFile verifies a store that is not open, damaged or not. ErrInUse says
// that it is: ask whoever has it.
func VerifyFile(ctx context.Context, path string) (Report, error) {
	s, err := Open(path, Options{ReadOnly: true})
	if err != nil {
		return Report{Path: path}, err
	}
	defer s.Close()
	return s.Verify(ctx)
}

// contents checks every row.
func (r *Report) contents(ctx context.Context, rs rows) error {
	r.about(rs)
	r.keys(rs)
	wanted := map[string]bool{} // index keys
	for _, id := range traceIDs(rs) {
		if err := ctx.Err(); err != nil {
			return context.Cause(ctx)
		}
		r.Traces++
		for _, k := range r.trace(rs, id) {
			wanted[string(k)] = true
		}
	}
	rs.ascend(bucketIndex, nil, func(k, _ []byte) bool {
		if !wanted[string(k)] {
			r.add(&Damage{Part: PartIndex, Derived: true, Why: fmt.Sprintf("entry %q points nowhere", k)})
		}
		delete(wanted, string(k))
		return true
	})
	for k := range wanted {
		id, _ := splitTraceKey([]byte(k)[max(len(k)-8, 0):])
		r.add(&Damage{Part: PartIndex, Trace: id, Derived: true, Why: fmt.Sprintf("entry %q is missing", k)})
	}
	r.documents(rs)
	r.shop(rs)
	return nil
}

// about checks what the store says of itself.
func (r *Report) about(rs rows) {
	n, err := readSchema(rs)
	plain, proof := rs.get(bucketAbout, []byte(keySchema)), rs.get(bucketAbout, []byte(keyProof))
	if err == nil && proof != nil && (string(plain) != fmt.Sprint(n) || unseal(sealSchema, []byte(keyProof), proof, &n) != nil) {
		err = fmt.Errorf("its schema is given as %q, which its proof does not say", plain)
	}
	if err != nil {
		r.add(&Damage{Part: PartHead, Why: "what it says of itself: " + err.Error()})
	}
}

// documents checks every document.
func (r *Report) documents(rs rows) {
	rs.ascend(bucketDocs, nil, func(k, v []byte) bool {
		if err := checkDoc(k, v); err != nil {
			r.add(&Damage{Part: PartDocument, Name: string(k), Why: err.Error()})
		} else if !isRepairKey(k) {
			r.Documents++
		}
		return true
	})
	for _, done := range repairsIn(rs) {
		if done.Dismissed.IsZero() {
			r.Repairs = append(r.Repairs, done)
		}
	}
}

// keys looks for rows whose keys are none: nothing that goes by trace and
// number comes across them.
func (r *Report) keys(rs rows) {
	for _, bucket := range allBuckets {
		isKey, ok := keyForms[bucket]
		if !ok {
			continue
		}
		rs.ascend(bucket, nil, func(k, _ []byte) bool {
			if !isKey(k) {
				r.add(&Damage{Part: PartPages, Name: bucket, Why: fmt.Sprintf("a row in %q has a key that is none: %.32x", bucket, k)})
			}
			return true
		})
	}
}

func (r *Report) add(d *Damage) { r.Damages = append(r.Damages, d) }

// traceIDs lists every trace that any bucket knows, in order.
func traceIDs(rs rows) []ID {
	var ids []ID
	seen := map[ID]bool{}
	rs.ascend(bucketHeads, nil, func(k, _ []byte) bool {
		if id, ok := splitTraceKey(k); ok {
			ids = append(ids, id)
			seen[id] = true
		}
		return true
	})
	for _, bucket := range []string{bucketChunks, bucketTail, bucketNotes} {
		rs.ascend(bucket, nil, func(k, _ []byte) bool {
			if id, _, ok := splitSpanKey(k); ok && !seen[id] {
				ids = append(ids, id)
				seen[id] = true
			}
			return true
		})
	}
	return ids
}

// trace checks one trace and returns the index keys that it should have.
func (r *Report) trace(rs rows, id ID) [][]byte {
	h, err := readHead(rs, id)
	r.join(err)
	fetch := func(next uint64) (fetched, error) {
		f := fetchNext(rs, id, next)
		if f.raw != nil {
			r.Chunks++
		}
		return f, nil
	}
	last, n := measure.Stamp(math.MinInt64), uint64(0)
	for batch, err := range readings(id, fetch, minStamp, maxStamp) {
		r.join(err)
		for _, x := range batch {
			if x.At < last {
				r.add(&Damage{Trace: id, Part: PartReadings, First: n, Why: fmt.Sprintf("reading %d is of %s, the one before of %s", n, x.At, last)})
				break
			}
			last = x.At
			n++
		}
		r.Readings += uint64(len(batch))
	}
	_, errs := readNotes(rs, id)
	r.join(errs...)
	if _, err := readFindings(rs, id); !errors.Is(err, ErrNotFound) {
		r.join(err)
	}
	r.summary(rs, id)
	return indexKeys(id, h.Engine, h.Valve)
}

func (r *Report) join(errs ...error) {
	for _, err := range errs {
		var d *Damage
		if errors.As(err, &d) {
			r.add(d)
		}
	}
}

// summary checks that the stored line is what would be made now.
func (r *Report) summary(rs rows, id ID) {
	key := traceKey(id)
	if rs.get(bucketOpen, key) != nil {
		return // it is made when the trace ends; a repair may have made one of what there was
	}
	v := rs.get(bucketSummaries, key)
	if v == nil {
		r.add(&Damage{Trace: id, Part: PartSummary, Derived: true, Why: "it is missing"})
		return
	}
	payload, err := sealed(sealSummary, key, v)
	if err != nil {
		r.add(&Damage{Trace: id, Part: PartSummary, Derived: true, Why: err.Error()})
		return
	}
	for _, d := range r.Damages {
		if d.Trace == id {
			return // the line remembers what was lost, and so differs
		}
	}
	if now, err := json.Marshal(summarise(rs, id)); err != nil || !bytes.Equal(now, payload) {
		r.add(&Damage{Trace: id, Part: PartSummary, Derived: true, Why: "it does not agree with the trace"})
	}
}

func checkDoc(key, v []byte) error {
	var d storedDoc
	if err := unseal(sealDoc, key, v, &d); err != nil {
		return err
	}
	kind, _, _ := strings.Cut(string(key), "/")
	switch kind {
	case kindEngine:
		return json.Unmarshal(d.Doc, new(Engine))
	case kindTrial:
		return json.Unmarshal(d.Doc, new(Trial))
	case kindWork:
		return json.Unmarshal(d.Doc, new(Work))
	case kindPhotograph:
		return json.Unmarshal(d.Doc, new(Photograph))
	case kindBench:
		return json.Unmarshal(d.Doc, new(Bench))
	case kindIndicator:
		return json.Unmarshal(d.Doc, new(Indicator))
	}
	return nil // of a later version
}
