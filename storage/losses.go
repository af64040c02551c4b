package storage

import (
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"go.etcd.io/bbolt"
)

// kindRepair is the kind of document that records a repair.
const kindRepair = "repair"

func isRepairKey(k []byte) bool { return strings.HasPrefix(string(k), kindRepair+"/") }

// Amount is how much there was, or is left.
type Amount struct {
	Traces    uint64 `json:"traces"`
	Readings  uint64 `json:"readings"`
	Documents uint64 `json:"documents"`
}

// TraceLoss is what a repair could not save of one trace.
type TraceLoss struct {
	Trace   ID        `json:"trace"`
	Engine  string    `json:"engine,omitempty"`
	Valve   string    `json:"valve,omitempty"`
	Started time.Time `json:"started,omitzero"`
	// Lost readings of Of; both -1 when nothing tells how many there were. Left is
	// how many are.
	Lost int64  `json:"lost"`
	Of   int64  `json:"of"`
	Left uint64 `json:"left"`
}

// A Repaired is the record of one repair: what was found hurt, what was there
// and what is left. It stays in the store, and whoever shows the store shows it,
// until somebody dismisses it.
type Repaired struct {
	ID  string    `json:"id"`
	At  time.Time `json:"at"`
	Why string    `json:"why"`
	// Kept is the name of the hurt file, which is kept beside the store; "" when
	// there was nothing to keep.
	Kept string `json:"kept,omitempty"`
	// Was is how much there was, as far as that is known: by the mark of the last
	// orderly close, or by what the hurt file still says of itself. Exact is false
	// when there may have been more.
	Was   Amount `json:"was"`
	Exact bool   `json:"exact"`
	Left  Amount `json:"left"`
	// Losses name the traces that lack readings, or all of them; no more than
	// 1000.
	Losses    []TraceLoss `json:"losses,omitempty"`
	Documents []string    `json:"documents_hurt,omitempty"`
	// Older name the documents of which the last writing is lost and an earlier one
	// was found: it may not say what the last one did.
	Older     []string  `json:"documents_older,omitempty"`
	Dismissed time.Time `json:"dismissed,omitzero"`
	rev       Rev
}

const mostLosses = 1000

// LostReadings is how many readings are gone, at least.
func (r Repaired) LostReadings() uint64 {
	var named uint64
	for _, l := range r.Losses {
		named += uint64(max(l.Lost, 0))
	}
	return max(named, r.Was.Readings-min(r.Was.Readings, r.Left.Readings))
}

// LostTraces is how many traces are gone altogether, at least.
func (r Repaired) LostTraces() uint64 {
	var unknown uint64
	for _, l := range r.Losses {
		if l.Lost < 0 && l.Left == 0 {
			unknown++
		}
	}
	return max(unknown, r.Was.Traces-min(r.Was.Traces, r.Left.Traces))
}

// LostDocuments is how many documents are gone, at least.
func (r Repaired) LostDocuments() uint64 {
	return max(uint64(len(r.Documents)), r.Was.Documents-min(r.Was.Documents, r.Left.Documents))
}

// Says tells the record in a person's words.
func (r Repaired) Says() string {
	var b strings.Builder
	fmt.Fprintf(&b, "The store was found hurt on %s and was repaired. ", r.At.Local().Format("2 January 2006 15:04"))
	readings, traces, documents := r.LostReadings(), r.LostTraces(), r.LostDocuments()
	var lost []string
	for _, l := range []struct {
		n    uint64
		what string
	}{{readings, "readings"}, {traces, "whole traces"}, {documents, "engines, trials or settings"}} {
		if l.n > 0 {
			lost = append(lost, fmt.Sprintf("%d %s", l.n, l.what))
		}
	}
	switch {
	case len(lost) > 0 && r.Exact:
		fmt.Fprintf(&b, "Lost: %s.", strings.Join(lost, ", "))
	case len(lost) > 0:
		fmt.Fprintf(&b, "Lost: at least %s.", strings.Join(lost, ", "))
	case r.Exact:
		b.WriteString("Nothing is lost.")
	default:
		b.WriteString("Nothing is known to be lost, but nothing tells for certain how much there was.")
	}
	fmt.Fprintf(&b, " Left: %d traces with %d readings", r.Left.Traces, r.Left.Readings)
	if r.Was.Traces+r.Was.Readings > 0 {
		fmt.Fprintf(&b, " of %d with %d", r.Was.Traces, r.Was.Readings)
	}
	b.WriteString(".")
	for i, l := range r.Losses {
		if i == 10 {
			fmt.Fprintf(&b, " And %d more.", len(r.Losses)-i)
			break
		}
		b.WriteString(" " + l.says())
	}
	if n := len(r.Older); n > 0 {
		names := strings.Join(r.Older[:min(n, 10)], ", ")
		if n > 10 {
			names += fmt.Sprintf(" and %d more", n-10)
		}
		fmt.Fprintf(&b, " Of %s an earlier writing was taken: look whether that is as you left it.", names)
	}
	if r.Kept != "" {
		fmt.Fprintf(&b, " The damaged file is saved as %s.", r.Kept)
	}
	return b.String()
}

func (l TraceLoss) says() string {
	name := "Trace " + l.Trace.String()
	if of := strings.TrimSpace(l.Valve + " " + l.Engine); of != "" {
		name += " (" + of + ")"
	}
	switch {
	case l.Lost < 0 && l.Left == 0:
		return name + " is gone; nothing tells how many readings it had."
	case l.Lost < 0:
		return fmt.Sprintf("%s has %d readings left; nothing tells how many there were.", name, l.Left)
	case l.Lost == l.Of:
		return fmt.Sprintf("%s is gone, with %d readings.", name, l.Of)
	}
	return fmt.Sprintf("%s lacks %d readings of %d.", name, l.Lost, l.Of)
}

// Repairs returns the records of all repairs, oldest first; with open only those
// that nobody has dismissed.
func (s *Store) Repairs(open bool) ([]Repaired, error) {
	all, err := eachDoc(s, kindRepair, func(r *Repaired, rev Rev) { r.rev = rev })
	if open {
		all = slices.DeleteFunc(all, func(r Repaired) bool { return !r.Dismissed.IsZero() })
	}
	return all, err
}

// repairsIn returns the records of repairs that read.
func repairsIn(r rows) (all []Repaired) {
	r.ascend(bucketDocs, []byte(kindRepair+"/"), func(k, _ []byte) bool {
		name, ok := strings.CutPrefix(string(k), kindRepair+"/")
		if !ok {
			return false
		}
		var one Repaired
		if rev, err := readDoc(r, kindRepair, name, &one); err == nil {
			one.rev = rev
			all = append(all, one)
		}
		return true
	})
	return all
}

// DismissRepair notes that somebody has read the record of a repair.
func (s *Store) DismissRepair(id string, at time.Time) error {
	var r Repaired
	err := s.view(func(rs rows) (err error) {
		r.rev, err = readDoc(rs, kindRepair, id, &r)
		return err
	})
	if err != nil || !r.Dismissed.IsZero() {
		return err
	}
	r.Dismissed = at
	_, err = s.putDoc(kindRepair, id, r.rev, r)
	return err
}

// putRepaired writes the record of a repair, in place of what it said before.
func putRepaired(tx *bbolt.Tx, r Repaired) error {
	key := docKey(kindRepair, r.ID)
	doc, err := json.Marshal(r)
	if err != nil {
		return err
	}
	v, err := seal(sealDoc, key, storedDoc{r.rev + 1, doc})
	if err != nil {
		return err
	}
	return tx.Bucket([]byte(bucketDocs)).Put(key, v)
}

// A census is how many readings each trace has, or should have.
type census map[ID]traceCount

type traceCount struct {
	readings      uint64
	known         bool // the count is what the trace had, not only what reads of it
	engine, valve string
	started       time.Time
}

// censusOf counts what is in a store; in a hurt one also what its lines in the
// lists say was.
func censusOf(r rows) census {
	c := census{}
	for _, id := range traceIDs(r) {
		e := measureExtent(r, id)
		n := traceCount{readings: e.readings}
		if h, err := readHead(r, id); err == nil {
			n.engine, n.valve, n.started = h.Engine, h.Valve, h.Started
		} else if errors.Is(err, ErrNotFound) {
			continue
		}
		c[id] = n
	}
	r.ascend(bucketSummaries, nil, func(k, v []byte) bool {
		var sum Summary
		if unseal(sealSummary, k, v, &sum) == nil {
			had := c[sum.ID]
			ended := r.get(bucketOpen, k) == nil // else a repair made the line, of what there was
			c[sum.ID] = traceCount{max(had.readings, sum.Readings), ended, sum.Engine, sum.Valve, sum.Started}
		}
		return true
	})
	return c
}

func (c census) amount(documents uint64) Amount {
	a := Amount{Traces: uint64(len(c)), Documents: documents}
	for _, n := range c {
		a.Readings += n.readings
	}
	return a
}

// compare fills in what of the traces of was is not in is. newest is the
// highest number that a trace has had; told are those that earlier repairs have
// told of.
func (r *Repaired) compare(was, is census, newest ID, told map[ID]bool) {
	r.Losses = nil
	all := r.Exact && r.Left.Readings >= r.Was.Readings
	for id, n := range was {
		left, there := is[id]
		l := TraceLoss{Trace: id, Engine: n.engine, Valve: n.valve, Started: n.started, Left: left.readings}
		switch {
		case n.readings > left.readings:
			l.Lost, l.Of = int64(n.readings-left.readings), int64(n.readings)
			r.Losses = append(r.Losses, l)
		case !n.known && !all, !there && !told[id]:
			l.Lost, l.Of = -1, -1
			r.Losses = append(r.Losses, l)
		}
		newest = max(newest, id)
	}
	for id := range is {
		newest = max(newest, id)
	}
	for id := ID(1); id <= newest && len(r.Losses) < mostLosses; id++ {
		_, there := is[id]
		_, had := was[id]
		if !there && !had && !told[id] {
			r.Losses = append(r.Losses, TraceLoss{Trace: id, Lost: -1, Of: -1})
		}
	}
	r.sortLosses()
}

func (r *Repaired) sortLosses() {
	slices.SortFunc(r.Losses, func(a, b TraceLoss) int { return int(int64(a.Trace) - int64(b.Trace)) })
	r.Losses = r.Losses[:min(len(r.Losses), mostLosses)]
}

// headsTell sees to it that the heads of traces know what was lost of them, and adds
// what they know and no record tells: the record of a repair can be hurt as well.
func (r *Repaired) headsTell(tx *bbolt.Tx, is census) error {
	named := map[ID]bool{}
	for _, before := range repairsIn(boltRows{tx}) {
		for _, l := range before.Losses {
			named[l.Trace] = true
		}
	}
	for _, l := range r.Losses {
		named[l.Trace] = true
		h, err := readHead(boltRows{tx}, l.Trace)
		if err != nil || l.Lost <= 0 || h.Lost >= uint64(l.Lost) {
			continue
		}
		h.Lost = uint64(l.Lost)
		if err := rewriteHead(tx, l.Trace, h); err != nil {
			return err
		}
	}
	for id, n := range is {
		h, err := readHead(boltRows{tx}, id)
		if err == nil && h.Lost > 0 && !named[id] {
			r.Losses = append(r.Losses, TraceLoss{Trace: id, Engine: h.Engine, Valve: h.Valve, Started: h.Started,
				Lost: int64(h.Lost), Of: int64(n.readings + h.Lost), Left: n.readings})
		}
	}
	r.sortLosses()
	return nil
}
