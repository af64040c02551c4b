package storage

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"strings"

	"go.etcd.io/bbolt"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// OpReceive takes in what other benches recorded.
const OpReceive Op = "receive"

// The beginnings of the keys in the shop's bucket that are not JSON behind a
// seal: readings that wait for the rest of their trace, which are chunks with a
// checksum of their own, and messages that were applied.
const (
	bookPart = "part/"
	bookSeen = "seen/"
)

// An Intake is one transaction that takes in what other benches recorded: the
// documents and traces, and the book in which whoever takes them in keeps how
// far it has come. It bypasses the outbox, since the shop knows all of it.
type Intake struct {
	tx *bbolt.Tx
	s  *Store
}

// Receive runs fn in one transaction: when it returns nil, all of what fn did
// is on disk, and otherwise none.
func (s *Store) Receive(fn func(*Intake) error) error {
	err := s.update(OpReceive, func(tx *bbolt.Tx) error {
		if err := makeShopBuckets(tx); err != nil {
			return err
		}
		return fn(&Intake{tx: tx, s: s})
	})
	if err != nil {
		return fmt.Errorf("taking in the shop's record: %w", advise(err))
	}
	return nil
}

// ShopBook reads an entry of the book; false when there is none.
func (s *Store) ShopBook(key string, v any) (ok bool, err error) {
	err = s.view(func(r rows) error {
		ok, err = readBook(r, key, v)
		return err
	})
	return ok, err
}

// ShopBooks yields the entries of the book whose keys begin with prefix, as
// JSON, in order of the keys.
func (s *Store) ShopBooks(prefix string, yield func(rest string, v json.RawMessage) error) error {
	return s.view(func(r rows) (err error) {
		r.ascend(bucketShop, []byte(prefix), func(k, v []byte) bool {
			rest, ok := strings.CutPrefix(string(k), prefix)
			if !ok {
				return false
			}
			var payload json.RawMessage
			if payload, err = sealed(sealBook, k, v); err == nil {
				err = yield(rest, bytes.Clone(payload))
			}
			return err == nil
		})
		return err
	})
}

func readBook(r rows, key string, v any) (bool, error) {
	raw := r.get(bucketShop, []byte(key))
	if raw == nil {
		return false, nil
	}
	if err := unseal(sealBook, []byte(key), raw, v); err != nil {
		return false, &Damage{Part: PartShop, Name: key, Why: err.Error()}
	}
	return true, nil
}

// Book reads an entry of the book; false when there is none.
func (in *Intake) Book(key string, v any) (bool, error) { return readBook(boltRows{in.tx}, key, v) }

// SetBook writes an entry of the book.
func (in *Intake) SetBook(key string, v any) error {
	raw, err := seal(sealBook, []byte(key), v)
	if err != nil {
		return err
	}
	return in.tx.Bucket([]byte(bucketShop)).Put([]byte(key), raw)
}

// DropBook deletes an entry of the book.
func (in *Intake) DropBook(key string) error {
	return in.tx.Bucket([]byte(bucketShop)).Delete([]byte(key))
}

// Seen says whether a message was applied before, and marks it as applied.
func (in *Intake) Seen(message string, at uint64) (bool, error) {
	b := in.tx.Bucket([]byte(bucketShop))
	key := []byte(bookSeen + message)
	if b.Get(key) != nil {
		return true, nil
	}
	return false, b.Put(key, binary.BigEndian.AppendUint64(nil, at))
}

func partKey(trace string, first uint64) []byte {
	return binary.BigEndian.AppendUint64([]byte(bookPart+trace+"/"), first)
}

// HoldPart keeps a chunk until the rest of its trace is there. It returns by
// how many bytes what is held has grown.
func (in *Intake) HoldPart(trace string, first uint64, raw []byte) (int, error) {
	b := in.tx.Bucket([]byte(bucketShop))
	key := partKey(trace, first)
	return len(raw) - len(b.Get(key)), b.Put(key, raw)
}

// DropParts lets go of what is held of a trace and returns how many bytes that
// was.
func (in *Intake) DropParts(trace string) (int, error) {
	prefix := []byte(bookPart + trace + "/")
	c := in.tx.Bucket([]byte(bucketShop)).Cursor()
	size := 0
	var keys [][]byte
	for k, v := c.Seek(prefix); k != nil && bytes.HasPrefix(k, prefix); k, v = c.Next() {
		keys = append(keys, bytes.Clone(k))
		size += len(v)
	}
	for _, k := range keys {
		if err := in.tx.Bucket([]byte(bucketShop)).Delete(k); err != nil {
			return 0, err
		}
	}
	return size, nil
}

// Part returns the chunk that is held of a trace from reading first on; nil
// when there is none. It is valid until the transaction ends.
func (in *Intake) Part(trace string, first uint64) []byte {
	return in.tx.Bucket([]byte(bucketShop)).Get(partKey(trace, first))
}

// HeldTrace is a trace whose readings are held in parts.
type HeldTrace struct {
	Key      string // under which the parts are held
	Readings uint64
	Head     Head
	Notes    []measure.Note
	Findings *lift.Findings // nil when there are none
}

// What can be wrong with the parts that are held.
var (
	// ErrNotWhole: parts of the trace are missing.
	ErrNotWhole = errors.New("parts of the trace are missing")
	// ErrTooMany: there are more readings than the trace has.
	ErrTooMany = errors.New("there are too many readings")
)

// AddTrace makes a trace of the parts that are held. Each batch of readings is
// shown to seen on the way. After an error, which may be seen's, the transaction
// is as it was before the call. The parts stay until they are dropped.
func (in *Intake) AddTrace(t HeldTrace, seen func([]measure.Reading) error) (_ ID, err error) {
	heads := in.tx.Bucket([]byte(bucketHeads))
	id := in.s.unusedTrace(in.tx)
	defer func() {
		if err != nil {
			err = errors.Join(err, wipe(in.tx, bucketChunks, id, 0))
		}
	}()
	w := Writer{s: in.s, id: id, head: t.Head}
	var dec chunk.Decoder
	var batch []measure.Reading
	for w.next < t.Readings {
		raw := in.Part(t.Key, w.next)
		if raw == nil {
			return 0, ErrNotWhole
		}
		if batch, _, err = dec.Append(batch[:0], raw); err != nil {
			return 0, err
		}
		if w.next+uint64(len(batch)) > t.Readings {
			return 0, fmt.Errorf("%w: the trace has %d", ErrTooMany, t.Readings)
		}
		if err := w.check(batch); err != nil {
			return 0, err
		}
		if err := seen(batch); err != nil {
			return 0, err
		}
		if err := w.putChunk(in.tx, bucketChunks, w.next, batch); err != nil {
			return 0, err
		}
		w.next += uint64(len(batch))
		w.last = batch[len(batch)-1].At
	}
	if err := w.putNotes(in.tx, t.Notes); err != nil {
		return 0, err
	}
	if err := putHead(in.tx, id, nil, t.Head); err != nil {
		return 0, err
	}
	if err := in.settle(id, t.Findings); err != nil {
		return 0, err
	}
	return id, heads.SetSequence(uint64(id))
}

// AmendTrace says again what a trace is of and what was found in it. Its
// readings, and when and with what it was recorded, stay as they are.
func (in *Intake) AmendTrace(id ID, engine, valve, trial, remark string, f *lift.Findings) error {
	h, err := readHead(boltRows{in.tx}, id)
	if err != nil {
		return err
	}
	h.Engine, h.Valve, h.Trial, h.Remark = engine, valve, trial, remark
	if err := rewriteHead(in.tx, id, h); err != nil {
		return err
	}
	return in.settle(id, f)
}

// settle writes the findings of a trace and its line in the lists.
func (in *Intake) settle(id ID, f *lift.Findings) error {
	if f != nil {
		key := traceKey(id)
		v, err := seal(sealFindings, key, f)
		if err != nil {
			return err
		}
		if err := in.tx.Bucket([]byte(bucketFindings)).Put(key, v); err != nil {
			return err
		}
	}
	return in.s.putSummary(in.tx, id)
}

// PutDocument stores a document in place of what was there, whatever its
// revision. raw is its JSON as the bench that made it had it: what v's type
// does not know is kept from there.
func (in *Intake) PutDocument(kind ErrandKind, name string, rev Rev, v any, raw json.RawMessage) error {
	if kind == ErrandEngine {
		raw, _ = tdcOutOfNotes(raw) // from a bench of an earlier version
	}
	doc, err := keepUnknown(raw, v)
	if err != nil {
		return err
	}
	key := docKey(string(kind), name)
	sealed, err := seal(sealDoc, key, storedDoc{rev, doc})
	if err != nil {
		return err
	}
	in.s.countDoc(in.tx, key, 1)
	return in.tx.Bucket([]byte(bucketDocs)).Put(key, sealed)
}

// DropDocument deletes a document, if there is one.
func (in *Intake) DropDocument(kind ErrandKind, name string) error {
	in.s.countDoc(in.tx, docKey(string(kind), name), 0)
	return in.tx.Bucket([]byte(bucketDocs)).Delete(docKey(string(kind), name))
}

// HasDocument says whether there is a document of that name.
func (in *Intake) HasDocument(kind ErrandKind, name string) bool {
	return in.tx.Bucket([]byte(bucketDocs)).Get(docKey(string(kind), name)) != nil
}

// IsPending says whether the shop has yet to hear of a thing in this store.
func (in *Intake) IsPending(kind ErrandKind, name string) bool {
	return in.tx.Bucket([]byte(bucketErrands)).Get(docKey(string(kind), name)) != nil
}

// NewName returns a name that no trial or work of this store has: a letter and
// a number.
func (in *Intake) NewName(kind ErrandKind) (string, error) {
	docs := in.tx.Bucket([]byte(bucketDocs))
	for {
		n, err := docs.NextSequence()
		if err != nil {
			return "", err
		}
		// As wide as it ever gets, so that names sort by age.
		name := fmt.Sprintf("%c%06d", kind[0], n)
		if !in.HasDocument(kind, name) {
			return name, nil
		}
	}
}

// DocumentJSON returns a document as it is stored; ErrNotFound when there is
// none of that name.
func (in *Intake) DocumentJSON(kind ErrandKind, name string) (doc json.RawMessage, rev Rev, err error) {
	rev, err = readDoc(boltRows{in.tx}, string(kind), name, &doc)
	return doc, rev, err
}

// Books returns what comes after prefix in the keys of the book that begin with
// it, in order.
func (in *Intake) Books(prefix string) []string {
	var rest []string
	boltRows{in.tx}.ascend(bucketShop, []byte(prefix), func(k, _ []byte) bool {
		r, ok := strings.CutPrefix(string(k), prefix)
		if ok {
			rest = append(rest, r)
		}
		return ok
	})
	return rest
}
