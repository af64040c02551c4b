package storage

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
)

// A rescue file is a small store beside the store, for what the store takes no
// more: see ErrLost. TakeIn takes it in when the store is well again.

// OpenRescue makes a rescue file for the store at path.
func OpenRescue(path string, o Options) (*Store, error) {
	for n := 0; ; n++ {
		name := fmt.Sprintf("%s.rescue-%s", path, time.Now().UTC().Format("20060102-150405"))
		if n > 0 {
			name += fmt.Sprintf("-%d", n)
		}
		if _, err := os.Lstat(name); err == nil && n < 10_000 {
			continue
		}
		o.ReadOnly, o.Repair, o.ProveLater = false, false, false
		return Open(name, o)
	}
}

// keyTaken is where a store notes which traces of a rescue file it has taken in.
func keyTaken(name string, id ID) []byte { return fmt.Appendf(nil, "rescued/%s/%s", name, id) }

// TakeIn takes the traces of all rescue files beside the store into it, each
// once however often it is tried, and takes the files away that are in. It
// returns which traces came. What does not read of them is logged, and such a
// file stays.
func (s *Store) TakeIn(ctx context.Context) (traces []ID, err error) {
	names, err := filepath.Glob(globbed(s.path) + ".rescue-*")
	if err != nil {
		return nil, err
	}
	slices.Sort(names)
	var errs []error
	for _, name := range names {
		if filepath.Ext(name) == ".closed" || isBeside(name) {
			continue
		}
		came, err := s.takeIn(ctx, name)
		traces = append(traces, came...)
		if err != nil {
			errs = append(errs, fmt.Errorf("taking in %s: %w", name, err))
			continue
		}
		s.log.Warn("a rescue file was taken in", "file", name, "traces", len(came))
	}
	return traces, errors.Join(errs...)
}

// isBeside tells what lies beside a rescue file from the file.
func isBeside(name string) bool {
	for _, pattern := range []string{"*.damaged-*", "*.repair-*", "*.backup*"} {
		if ok, _ := filepath.Match(pattern, filepath.Base(name)); ok {
			return true
		}
	}
	return false
}

// globbed takes the meaning from what a pattern gives one to.
func globbed(path string) string {
	var out []rune
	for _, c := range path {
		if c == '*' || c == '?' || c == '[' {
			out = append(out, '[', c, ']')
			continue
		}
		out = append(out, c)
	}
	return string(out)
}

func (s *Store) takeIn(ctx context.Context, name string) (traces []ID, err error) {
	from, err := Open(name, Options{Log: s.log, Repair: true})
	if err != nil {
		return nil, err
	}
	defer from.Close()
	repairs, err := from.Repairs(true)
	if err != nil {
		return nil, err
	}
	list, err := from.Traces(Query{})
	if err != nil {
		return nil, err
	}
	for _, sum := range slices.Backward(list) {
		if ctx.Err() != nil {
			return traces, context.Cause(ctx)
		}
		as, err := s.takeTrace(from, filepath.Base(name), sum.ID)
		if err != nil {
			return traces, err
		}
		if as != 0 {
			traces = append(traces, as)
		}
	}
	if err := from.Close(); err != nil {
		return traces, err
	}
	if len(repairs) > 0 {
		return traces, fmt.Errorf("all that still read is in, and the file stays. %s", repairs[0].Says())
	}
	return traces, errors.Join(os.Remove(name), removeIfThere(markName(name)))
}

func removeIfThere(name string) error {
	if err := os.Remove(name); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

// takeTrace copies one trace in one transaction and returns its number here; 0
// when that was done before.
func (s *Store) takeTrace(from *Store, file string, id ID) (as ID, err error) {
	key := keyTaken(file, id)
	before := false
	err = s.view(func(r rows) error {
		before = r.get(bucketAbout, key) != nil
		return nil
	})
	if err != nil || before {
		return 0, err
	}
	h, err := from.Head(id)
	if err != nil {
		return 0, err
	}
	notes, err := from.Notes(id)
	if err != nil {
		return 0, err
	}
	err = s.update(OpReceive, func(tx *bbolt.Tx) error {
		var err error
		if as, err = s.nextTrace(tx); err != nil {
			return err
		}
		w := Writer{s: s, id: as, head: h}
		if err := w.copyReadings(tx, from, id); err != nil {
			return err
		}
		if err := errors.Join(w.putNotes(tx, notes), putHead(tx, w.id, nil, h), s.finish(tx, w.id, h, 0)); err != nil {
			return err
		}
		return tx.Bucket([]byte(bucketAbout)).Put(key, []byte(w.id.String()))
	})
	if err != nil {
		return 0, advise(err)
	}
	return as, nil
}

// copyReadings puts the readings of another store's trace into this one.
func (w *Writer) copyReadings(tx *bbolt.Tx, from *Store, id ID) error {
	var rest []measure.Reading
	put := func(all bool) error {
		for len(rest) >= mergeReadings || all && len(rest) > 0 {
			n := min(len(rest), mergeReadings)
			if err := w.putChunk(tx, bucketChunks, w.next, rest[:n]); err != nil {
				return err
			}
			w.next += uint64(n)
			rest = slices.Delete(rest, 0, n)
		}
		return nil
	}
	for batch, err := range from.Readings(id, minStamp, maxStamp) {
		var hole *Damage
		if errors.As(err, &hole) && hole.Hole {
			continue // the record of its repair tells
		}
		if err != nil {
			return err
		}
		if err := w.check(batch); err != nil {
			return err
		}
		rest = append(rest, batch...)
		if n := len(rest); n > 0 {
			w.last = rest[n-1].At
		}
		if err := put(false); err != nil {
			return err
		}
	}
	return put(true)
}
