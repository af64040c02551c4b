package storage

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"

	"go.etcd.io/bbolt"

	"lobescribe/storage/pages"
)

// schema is the layout that this program writes. Schema 1 is the first.
const schema = 2

// A migration takes a store from one schema to the next, in the transaction
// that it is given.
type migration struct {
	from int
	does string // one line for the log, in a person's words
	run  func(*bbolt.Tx) error
}

// migrations lists every step there ever was, oldest first.
func migrations() []migration {
	return []migration{
		{from: 1, does: "top dead centre of an engine is data, not a line of its notes", run: tdcAsData},
	}
}

// upgrade makes the buckets of a fresh store, refuses a newer one, and takes
// an older one through the migrations: all of them in one transaction, after
// a backup beside the file.
func (s *Store) upgrade(fresh bool, injected []migration) error {
	steps := migrations()
	target := schema
	if len(injected) > 0 {
		steps = injected
		target = injected[len(injected)-1].from + 1
	}
	if fresh {
		return s.create(target)
	}
	found, err := s.schema()
	if errors.Is(err, errNoSchema) && !s.readOnly && s.isEmpty() {
		// The power went between making the file and its first transaction.
		return s.create(target)
	}
	switch {
	case err != nil && s.holdsOurs():
		return fmt.Errorf("opening the store %s: %w (%w)", s.path, ErrDamaged, err)
	case err != nil:
		return fmt.Errorf("opening the store %s: %w: %w", s.path, ErrNotAStore, err)
	case found == target:
		return nil
	case found > target:
		return fmt.Errorf("opening the store %s: %w: its schema is %d, this program knows up to %d; install the newer lobescribe that wrote it", s.path, ErrNewer, found, target)
	case s.readOnly:
		return fmt.Errorf("opening the store %s: its schema is %d and has to be upgraded to %d before it can be read; start the daemon on it once", s.path, found, target)
	}
	backup, err := s.keepBackup(found)
	if err != nil {
		return fmt.Errorf("upgrading the store %s: no backup, so nothing was changed: %w", s.path, err)
	}
	err = s.update(OpOpen, func(tx *bbolt.Tx) error {
		at := found
		for _, step := range steps {
			if step.from != at {
				continue
			}
			if err := step.run(tx); err != nil {
				return fmt.Errorf("from schema %d to %d (%s): %w", at, at+1, step.does, err)
			}
			at++
		}
		if at != target {
			return fmt.Errorf("no way leads from schema %d to %d", at, target)
		}
		return putSchema(tx, target)
	})
	if err != nil {
		return fmt.Errorf("upgrading the store %s: %w; nothing was changed, and %s holds a copy", s.path, err, backup)
	}
	s.log.Info("store upgraded", "path", s.path, "from", found, "to", target, "backup", backup)
	return nil
}

// keepBackup makes a backup beside the file and returns its name. One that is
// there already, of an upgrade that failed, is never touched.
func (s *Store) keepBackup(found int) (string, error) {
	name := fmt.Sprintf("%s.schema%d.backup", s.path, found)
	for n := 2; ; n++ {
		_, err := s.BackupFile(context.Background(), name, false)
		if !errors.Is(err, ErrExists) || n > 100 {
			return name, err
		}
		name = fmt.Sprintf("%s.schema%d.backup-%d", s.path, found, n)
	}
}

func (s *Store) create(target int) error {
	err := s.update(OpOpen, func(tx *bbolt.Tx) error {
		for _, name := range allBuckets {
			if _, err := tx.CreateBucketIfNotExists([]byte(name)); err != nil {
				return err
			}
		}
		tx.OnCommit(func() { s.tally.Known = true })
		return putSchema(tx, target)
	})
	if err != nil {
		return fmt.Errorf("making the store %s: %w", s.path, advise(err))
	}
	return nil
}

// putSchema writes the schema twice: as it always was, and behind a checksum. A
// bit that flips must not make a store pass for one of a later program.
func putSchema(tx *bbolt.Tx, n int) error {
	b := tx.Bucket([]byte(bucketAbout))
	proof, err := seal(sealSchema, []byte(keyProof), n)
	if err != nil {
		return err
	}
	return errors.Join(b.Put([]byte(keySchema), []byte(strconv.Itoa(n))), b.Put([]byte(keyProof), proof))
}

var errNoSchema = errors.New("it is a database, but no lobescribe wrote it")

func (s *Store) schema() (int, error) {
	n := 0
	err := s.view(func(r rows) (err error) {
		n, err = readSchema(r)
		return err
	})
	return n, err
}

func readSchema(r rows) (int, error) {
	return schemaOf(r.get(bucketAbout, []byte(keySchema)), r.get(bucketAbout, []byte(keyProof)))
}

// schemaOf reads the schema; what stands behind a checksum rules. Stores of
// before it was written have no proof.
func schemaOf(plain, proof []byte) (n int, err error) {
	if unseal(sealSchema, []byte(keyProof), proof, &n) == nil {
		return n, nil
	}
	if plain == nil {
		return 0, errNoSchema
	}
	n, err = strconv.Atoi(string(plain))
	if err != nil || n < 1 {
		return 0, fmt.Errorf("its schema is given as %q", plain)
	}
	if proof != nil && n > schema {
		return 0, fmt.Errorf("its schema is given as %d, and the proof of it does not read", n)
	}
	return n, nil
}

// holdsOurs says whether anything in the file has one of our checksums.
func (s *Store) holdsOurs() bool {
	f, err := os.Open(s.path)
	if err != nil {
		return false
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return false
	}
	pf, _ := pages.Open(f, info.Size())
	return holdsOurs(pf)
}

// isEmpty says whether the database holds no bucket at all.
func (s *Store) isEmpty() bool {
	empty := true
	err := s.transact(s.db, false, func(tx *bbolt.Tx) error {
		return tx.ForEach(func([]byte, *bbolt.Bucket) error {
			empty = false
			return nil
		})
	})
	return err == nil && empty
}

// finishCutShort ends the traces that nobody ended, each in a transaction of
// its own so that a long list of them needs no long one.
func (s *Store) finishCutShort() error {
	var ids []ID
	err := s.view(func(r rows) error {
		r.ascend(bucketOpen, nil, func(k, _ []byte) bool {
			if id, ok := splitTraceKey(k); ok {
				ids = append(ids, id)
			}
			return true
		})
		return nil
	})
	if err != nil {
		return fmt.Errorf("opening the store %s: %w", s.path, err)
	}
	for _, id := range ids {
		if s.o.keep[id] != nil {
			continue
		}
		err := s.cutShort(id)
		if errors.Is(err, ErrDamaged) {
			return fmt.Errorf("keeping trace %s, which was cut short: %w", id, err)
		}
		if err != nil {
			// A full disk must not keep the bench from starting. All readings
			// are there, and the next opening tries again.
			s.log.Warn("a trace that was cut short could not be put in order", "trace", id, "error", err)
		}
	}
	return nil
}
