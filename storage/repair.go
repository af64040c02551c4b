package storage

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/storage/pages"
)

// Repair makes a sound store of a damaged one. Everything that still reads is
// taken into a new file, lists and indexes are made again, and the new file
// takes the old one's place; the damaged one stays beside it, untouched, under
// the name that is returned. The report is of the damaged file: what it says
// is lost is lost.
//
// A store that is whole is left alone, and aside is "". ErrInUse, ErrNewer and
// ErrNotAStore are as for Open.
func Repair(ctx context.Context, path string, o Options) (rep Report, aside string, err error) {
	rep, done, err := repair(ctx, path, o, knowledge{})
	if done == nil {
		return rep, "", err
	}
	return rep, filepath.Join(filepath.Dir(path), done.Kept), err
}

// knowledge is what is known of a hurt store besides what its file says.
type knowledge struct {
	why string // how it was found out; default: the first damage
	// tally is what was in it; default: the mark of the last orderly close tells.
	tally tally
	// live are the traces in the making, with how many readings were
	// acknowledged.
	live map[ID]*Writer
}

// less says that there is less in a store than is known to have been there.
func (k knowledge) less(is Report) bool {
	return k.tally.Known && (uint64(is.Traces) < k.tally.Traces || is.Readings < k.tally.Readings || uint64(is.Documents) < k.tally.Documents)
}

// repair is Repair; done is nil when nothing was hurt.
func repair(ctx context.Context, path string, o Options, know knowledge) (rep Report, done *Repaired, err error) {
	o.ReadOnly, o.Repair = true, false
	old, err := Open(path, o)
	if err != nil {
		return rep, nil, err
	}
	defer old.Close()
	if rep, err = old.Verify(ctx); err != nil || rep.Whole() && !know.less(rep) {
		return rep, nil, err
	}
	fail := func(err error) (Report, *Repaired, error) {
		return rep, nil, fmt.Errorf("repairing the store %s: %w; nothing was changed", path, advise(err))
	}
	tmp, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".repair-*")
	if err != nil {
		return fail(err)
	}
	tmp.Close()
	defer os.Remove(tmp.Name())
	aside := asideName(path)
	done = &Repaired{At: time.Now().Round(0), Kept: filepath.Base(aside)}
	done.ID = done.At.UTC().Format("20060102-150405.000000")
	if rep, err = old.copyWhole(ctx, tmp.Name(), rep, done, know, o.flushLate); err != nil {
		return fail(err)
	}
	rep.Repairs = append(rep.Repairs, *done)
	if err := putAside(path, aside); err != nil {
		return fail(err)
	}
	// An open file cannot be replaced on every system.
	if err := old.Close(); err != nil {
		return fail(err)
	}
	if err := os.Rename(tmp.Name(), path); err != nil {
		return fail(err)
	}
	_ = os.Remove(markName(path)) // what it says was there has been told
	if o.flushLate {
		return rep, done, nil
	}
	if err := syncFolder(filepath.Dir(path)); err != nil {
		return rep, done, fmt.Errorf("repairing the store %s: %w", path, err)
	}
	old.log.Warn("store repaired", "path", path, "damaged", aside, "hurt", len(rep.Damages),
		"lost_readings", done.LostReadings(), "lost_traces", done.LostTraces(), "exact", done.Exact)
	return rep, done, nil
}

// asideName is a name beside the store that no file has yet.
func asideName(path string) string {
	for n := 0; ; n++ {
		aside := fmt.Sprintf("%s.damaged-%s", path, time.Now().UTC().Format("20060102-150405"))
		if n > 0 {
			aside += fmt.Sprintf("-%d", n)
		}
		if _, err := os.Lstat(aside); err != nil || n >= 10_000 {
			return aside
		}
	}
}

// putAside gives the file a second name, so that path is never without one. A
// file system that knows no second names gets a copy.
func putAside(path, aside string) error {
	if os.Link(path, aside) == nil {
		return nil
	}
	return copyFile(path, aside)
}

func copyFile(from, to string) (err error) {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	if _, err := out.ReadFrom(in); err != nil {
		return err
	}
	return out.Sync()
}

// copied are the buckets whose rows are taken over; the others are made again.
var copied = []string{bucketHeads, bucketOpen, bucketChunks, bucketTail, bucketNotes, bucketFindings, bucketDocs,
	bucketOutbox, bucketErrands, bucketShop}

// copyWhole writes what reads into a fresh store at path. Even when the pages
// are sound and only values are hurt, older writings of them may still lie
// loose; the report that comes back has been made again with those.
//
// The record of the repair goes into it as well.
func (s *Store) copyWhole(ctx context.Context, path string, rep Report, done *Repaired, know knowledge, unflushed bool) (_ Report, err error) {
	from := s.salvage
	if from == nil {
		f, err := os.Open(s.path)
		if err != nil {
			return rep, err
		}
		defer f.Close()
		pf, err := pages.Open(f, rep.Bytes)
		if err != nil {
			return rep, err
		}
		if from, err = salvage(pf, nil); err != nil {
			return rep, err
		}
		again := Report{Path: rep.Path, Bytes: rep.Bytes, Pages: rep.Pages, FreePages: rep.FreePages, Damages: []*Damage{}}
		if err := again.contents(ctx, from); err != nil {
			return rep, err
		}
		rep = again
	}
	to, err := Open(path, Options{flushLate: true})
	if err != nil {
		return rep, err
	}
	defer func() {
		if !unflushed {
			err = errors.Join(err, to.db.Sync())
		}
		err = errors.Join(err, to.Close())
	}()
	for _, bucket := range copied {
		if err := to.takeRows(ctx, from, bucket); err != nil {
			return rep, err
		}
	}
	for _, id := range traceIDs(from) {
		if err := ctx.Err(); err != nil {
			return rep, context.Cause(ctx)
		}
		if err := to.remake(from, id, rep); err != nil {
			return rep, err
		}
	}
	if err := to.forgetOrphans(); err != nil {
		return rep, err
	}
	if err := to.setSequences(from); err != nil {
		return rep, err
	}
	if err := to.tellAgain(); err != nil {
		return rep, err
	}
	return rep, to.putRecord(from, rep, done, know)
}

// putRecord works out what a repair has cost and writes it into the new store.
func (s *Store) putRecord(from *salvaged, rep Report, done *Repaired, know knowledge) error {
	was := censusOf(from)
	t := know.tally
	var making map[ID]uint64 // by the mark
	if mark := readMark(rep.Path); !t.Known && mark != nil {
		t = mark.Tally
		metas := from.pf.Metas()
		if len(metas) == 0 || metas[0].Tx != mark.Tx {
			t.Known = false // there may have been more since
		}
		if len(metas) == 0 || metas[0].Tx <= mark.Tx+1 { // whoever opened it since would have ended them
			making = mark.Making
		}
	}
	for id, n := range making {
		had := was[id]
		had.readings, had.known = max(had.readings, n), true
		was[id] = had
	}
	done.Exact = t.Known
	inMaking := uint64(0)
	for id, w := range know.live {
		h, n := w.acknowledged()
		was[id] = traceCount{n, true, h.Engine, h.Valve, h.Started}
	}
	for id := range was {
		_, live := know.live[id]
		_, marked := making[id]
		if live || marked || from.get(bucketOpen, traceKey(id)) != nil {
			inMaking++
			t.Readings += was[id].readings
			if !live && !marked {
				done.Exact = false // its last commits may be gone
			}
		}
		t.Newest = max(t.Newest, id)
	}
	done.Was = was.amount(countDocuments(from))
	done.Was.Traces = max(done.Was.Traces, t.Traces+inMaking)
	done.Was.Readings = max(done.Was.Readings, t.Readings)
	done.Was.Documents = max(done.Was.Documents, t.Documents)
	done.Why = know.why
	slices.Sort(from.older)
	done.Older = from.older[:min(len(from.older), mostLosses)]
	for _, d := range rep.Damages {
		if done.Why == "" {
			done.Why = d.Error()
		}
		switch {
		case d.Part != PartDocument:
		case isRepairKey([]byte(d.Name)):
			done.Exact = false // nothing tells any more all that it told
		default:
			done.Documents = append(done.Documents, d.Name)
		}
	}
	return s.update(OpOpen, func(tx *bbolt.Tx) error {
		r := boltRows{tx}
		is, told := censusOf(r), map[ID]bool{}
		for _, before := range repairsIn(r) {
			for _, l := range before.Losses {
				told[l.Trace] = told[l.Trace] || l.Left == 0 && is[l.Trace].readings == 0
			}
		}
		done.Left = is.amount(countDocuments(r))
		done.compare(was, is, t.Newest, told)
		if err := done.headsTell(tx, is); err != nil {
			return err
		}
		for _, l := range done.Losses { // by the mark, also what no page shows
			key := traceKey(l.Trace)
			if r.get(bucketFindings, key) == nil {
				continue
			}
			if err := forgetFindings(tx, l.Trace); err != nil {
				return err
			}
			if r.get(bucketSummaries, key) == nil {
				continue
			}
			if err := s.putSummary(tx, l.Trace); err != nil {
				return err
			}
		}
		return putRepaired(tx, *done)
	})
}

// takeRows copies the rows of a bucket that read, some at a time so that no
// transaction is too large for memory.
func (s *Store) takeRows(ctx context.Context, r rows, bucket string) error {
	const most = 8 << 20
	type row struct{ k, v []byte }
	var batch []row
	size := 0
	flush := func() error {
		if len(batch) == 0 {
			return nil
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		err := s.update(OpOpen, func(tx *bbolt.Tx) error {
			b, err := tx.CreateBucketIfNotExists([]byte(bucket)) // the shop's are not there as a rule
			if err != nil {
				return err
			}
			b.FillPercent = 1
			for _, row := range batch {
				if err := b.Put(row.k, row.v); err != nil {
					return err
				}
			}
			return nil
		})
		batch, size = batch[:0], 0
		return err
	}
	var err error
	r.ascend(bucket, nil, func(k, v []byte) bool {
		if !rowReads(bucket, k, v) {
			return true
		}
		batch = append(batch, row{bytes.Clone(k), bytes.Clone(v)})
		if size += len(k) + len(v); size > most {
			err = flush()
		}
		return err == nil
	})
	if err != nil {
		return err
	}
	return flush()
}

// rowReads proves the checksum of a row.
func rowReads(bucket string, k, v []byte) bool {
	kind := map[string]byte{bucketHeads: sealHead, bucketNotes: sealNotes, bucketFindings: sealFindings, bucketDocs: sealDoc}[bucket]
	if kind != 0 {
		_, err := sealed(kind, k, v)
		return err == nil
	}
	if slices.Contains(shopBuckets, bucket) {
		return shopRowReads(bucket, k, v)
	}
	if bucket == bucketOpen {
		_, ok := splitTraceKey(k)
		return ok
	}
	return chunkReads(k, v)
}

// remake makes the head (where it is lost), the summary and the index of a
// trace that was taken over.
func (s *Store) remake(from rows, id ID, rep Report) error {
	return s.update(OpOpen, func(tx *bbolt.Tx) error {
		h, err := readHead(boltRows{tx}, id)
		if errors.Is(err, ErrNotFound) {
			if _, _, noted := lastOfTrace(boltRows{tx}, bucketNotes, id, math.MaxUint64); !noted {
				return nil // nothing was left of it
			}
		}
		if err != nil {
			// The old line knew most of what the head said.
			var sum Summary
			key := traceKey(id)
			if v := from.get(bucketSummaries, key); v == nil || unseal(sealSummary, key, v, &sum) != nil {
				sum = Summary{Source: "repaired"}
			}
			h = Head{Started: sum.Started, Engine: sum.Engine, Valve: sum.Valve, Trial: sum.Trial,
				Source: sum.Source, Remark: sum.Remark, CutShort: sum.CutShort}
		}
		for _, d := range rep.Damages {
			if d.Trace != id || d.Derived {
				continue
			}
			if d.Part == PartReadings && d.Count > 0 {
				h.Lost += uint64(d.Count)
			}
			if err := forgetFindings(tx, id); err != nil {
				return err
			}
		}
		if err := putHead(tx, id, nil, h); err != nil {
			return err
		}
		if (boltRows{tx}).get(bucketOpen, traceKey(id)) != nil {
			return nil // the next opening cuts it short
		}
		return s.putSummary(tx, id)
	})
}

// forgetFindings takes away what was found in a trace that is not what it was: of
// what is left something else is found.
func forgetFindings(tx *bbolt.Tx, id ID) error {
	return tx.Bucket([]byte(bucketFindings)).Delete(traceKey(id))
}

// setSequences lets numbers go on where they were, and never below what is
// there already.
func (s *Store) setSequences(was *salvaged) error {
	return s.update(OpOpen, func(tx *bbolt.Tx) error {
		most := map[string]uint64{}
		most[bucketHeads], most[bucketDocs] = was.sequences[bucketHeads], was.sequences[bucketDocs]
		if tx.Bucket([]byte(bucketOutbox)) != nil {
			most[bucketOutbox] = was.sequences[bucketOutbox]
		}
		r := boltRows{tx}
		newest := uint64(0)
		for _, id := range traceIDs(r) {
			newest = max(newest, uint64(id))
		}
		most[bucketHeads] = nextNumber(most[bucketHeads], newest) - 1
		r.ascend(bucketDocs, []byte(kindTrial+"/"), func(k, _ []byte) bool {
			var n uint64
			name, ok := strings.CutPrefix(string(k), kindTrial+"/")
			if _, err := fmt.Sscanf(name, "t%d", &n); ok && err == nil {
				most[bucketDocs] = max(most[bucketDocs], n)
			}
			return ok
		})
		for bucket, n := range most {
			if err := tx.Bucket([]byte(bucket)).SetSequence(n); err != nil {
				return err
			}
		}
		return nil
	})
}

// forgetOrphans takes away what was found in traces of which nothing else is left.
func (s *Store) forgetOrphans() error {
	return s.update(OpOpen, func(tx *bbolt.Tx) error {
		r := boltRows{tx}
		var orphans []ID
		r.ascend(bucketFindings, nil, func(k, _ []byte) bool {
			if id, ok := splitTraceKey(k); ok && r.get(bucketHeads, k) == nil {
				orphans = append(orphans, id)
			}
			return true
		})
		for _, id := range orphans {
			if err := forgetFindings(tx, id); err != nil {
				return err
			}
		}
		return nil
	})
}
