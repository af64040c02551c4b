package storage

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"

	"lobescribe/storage/pages"
)

// examine proves the pages of the locked file before the database may map
// them, or, with later, finds that Close left them so. For a damaged store it
// fails with ErrDamaged, or, when the store is opened for reading, sets
// s.salvage.
func (s *Store) examine(f *os.File, later bool) error {
	info, err := f.Stat()
	if err != nil {
		return fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	pf, err := pages.Open(f, info.Size())
	if err != nil && !pf.LooksLikeOne() && !holdsOurs(pf) {
		return fmt.Errorf("opening the store %s: %w: it is something else; name another file, or move it away", s.path, ErrNotAStore)
	}
	if err == nil && later && s.asClosed(pf, info) {
		s.unproved = true
		return nil
	}
	var hurts []*pages.Hurt
	if err != nil {
		hurts = []*pages.Hurt{{Why: err.Error()}}
	} else {
		about, buckets := map[string][]byte{}, map[string]bool{}
		hurts = pf.Walk(pf.Metas()[0], func(it pages.Item) bool {
			buckets[it.Bucket] = true
			if it.Bucket == bucketAbout && it.Key != nil {
				about[string(it.Key)], _ = pf.Value(it)
			}
			return true
		}).Hurts
		if len(hurts) == 0 && (anyOurs(buckets) || holdsOurs(pf)) {
			hurts = missingBuckets(buckets)
		}
		if mark := readMark(s.path); len(pf.Metas()) < 2 && mark != nil && pf.Metas()[0].Tx < mark.Tx {
			hurts = append(hurts, &pages.Hurt{Why: fmt.Sprintf("the head page that was written last does not read, so that the file shows the state before (%d for %d)", pf.Metas()[0].Tx, mark.Tx)})
		}
		if _, err := schemaOf(about[keySchema], about[keyProof]); err != nil && len(hurts) == 0 && holdsOurs(pf) {
			hurts = []*pages.Hurt{{Bucket: bucketAbout, Why: err.Error()}}
		}
	}
	if len(hurts) == 0 {
		s.tornHead = len(pf.Metas()) < 2
		return nil
	}
	if !s.readOnly {
		return fmt.Errorf("opening the store %s: %w (%w); repair it: what still reads is taken into a new store, and the damaged file is kept beside it", s.path, ErrDamaged, hurts[0])
	}
	if s.salvage, err = salvage(pf, hurts); err != nil {
		return fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	s.salvage.file = f
	s.hurt = s.salvage.hurts
	if n, err := readSchema(s.salvage); err == nil && n > schema {
		return fmt.Errorf("opening the store %s: %w: its schema is %d, this program knows up to %d", s.path, ErrNewer, n, schema)
	}
	s.log.Warn("store is damaged and open for reading", "path", s.path, "hurt", len(hurts))
	return nil
}

// anyOurs says whether one of the buckets has a name that a store's have. Where
// none has, and nothing has our checksum, it is the database of another
// program: whole, and no store. See upgrade, which refuses it.
func anyOurs(there map[string]bool) bool {
	return slices.ContainsFunc(allBuckets, func(name string) bool { return there[name] })
}

// missingBuckets says which buckets are not there, of a store that has any: a
// name that is hurt is in order among its neighbours.
func missingBuckets(there map[string]bool) (hurts []*pages.Hurt) {
	for _, name := range allBuckets {
		if len(there) > 0 && !there[name] {
			hurts = append(hurts, &pages.Hurt{Bucket: name, Why: "the bucket is missing"})
		}
	}
	return hurts
}

// holdsOurs says whether anything in the file has one of our checksums.
func holdsOurs(pf *pages.File) bool {
	found := false
	pf.Loose(func(it pages.Item) bool {
		_, _, found = ours(pf, it)
		return !found
	})
	return found
}

// checkPages proves the pages of a copy.
func checkPages(r io.ReaderAt, size int64) error {
	pf, err := pages.Open(r, size)
	if err != nil {
		return err
	}
	var errs []error
	for _, h := range pf.Walk(pf.Metas()[0], nil).Hurts {
		errs = append(errs, h)
	}
	return errors.Join(errs...)
}
