package storage

import (
	"crypto/rand"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"go.etcd.io/bbolt"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// A bench that has joined a shop keeps an outbox: what the shop has yet to hear
// of. An errand is written in the transaction that makes the thing it speaks
// of, so that nothing is forgotten by a power cut, and it is a reference and no
// copy, so that weeks without a network cost a few bytes each. A store that has
// not joined has none of these buckets and pays nothing.
const (
	bucketOutbox  = "outbox"  // number -> Errand, oldest first
	bucketErrands = "errands" // what/name -> its number in the outbox
	bucketShop    = "shop"    // what else a store knows of the shop; see Intake
)

// shopBuckets are made when a store first has to do with a shop.
var shopBuckets = []string{bucketOutbox, bucketErrands, bucketShop}

const (
	sealErrand = 'o'
	sealBook   = 'b'
)

// SourceDemo is the Source of traces that a simulator turned. The shop does not
// hear of them.
const SourceDemo = "demo"

// ErrandKind says what an errand is about.
type ErrandKind string

// What the shop hears of.
const (
	ErrandTrace  ErrandKind = "trace"
	ErrandEngine ErrandKind = kindEngine
	ErrandTrial  ErrandKind = kindTrial
	ErrandWork   ErrandKind = kindWork
)

// Errand is one thing that the shop has yet to hear of. There is at most one
// for each thing: what changes again goes to the end of the queue.
type Errand struct {
	Number uint64     `json:"-"`
	Kind   ErrandKind `json:"kind"`
	// Name is the document's ID or the trace's number.
	Name string `json:"name"`
	// Readings: the shop does not have the trace's readings yet.
	Readings bool      `json:"readings,omitempty"`
	Since    time.Time `json:"since"`
}

// Trace returns the number of the trace that the errand is about.
func (e Errand) Trace() (ID, error) { return ParseID(e.Name) }

// ShopSelf is how a store is known to the shop.
type ShopSelf struct {
	// Origin names the store itself, whatever its bench is called: 16
	// hexadecimal digits, drawn once.
	Origin string `json:"origin"`
	Bench  string `json:"bench"`
}

const bookSelf = "self"

// JoinShop gives the store an outbox under the name of its bench, and puts all
// that is in the store into it when that is new. Joining again under another
// name changes the name only: what the shop has heard, it keeps.
func (s *Store) JoinShop(bench string) (ShopSelf, error) {
	var self ShopSelf
	err := s.update(OpDocument, func(tx *bbolt.Tx) error {
		if err := makeShopBuckets(tx); err != nil {
			return err
		}
		in := &Intake{tx: tx, s: s}
		had, err := in.Book(bookSelf, &self)
		if err != nil {
			return err
		}
		if had && self.Bench == bench {
			return nil
		}
		self.Bench = bench
		if !had {
			var b [8]byte
			if _, err := rand.Read(b[:]); err != nil {
				return err
			}
			self.Origin = hex.EncodeToString(b[:])
		}
		if err := in.SetBook(bookSelf, self); err != nil || had {
			return err
		}
		return s.enqueueAll(tx)
	})
	if err != nil {
		return self, fmt.Errorf("joining the shop: %w", advise(err))
	}
	return self, nil
}

func makeShopBuckets(tx *bbolt.Tx) error {
	for _, name := range shopBuckets {
		if _, err := tx.CreateBucketIfNotExists([]byte(name)); err != nil {
			return err
		}
	}
	return nil
}

// ShopSelf returns how the store is known to the shop; false when it has never
// joined one.
func (s *Store) ShopSelf() (self ShopSelf, joined bool, err error) {
	err = s.view(func(r rows) error {
		joined, err = readBook(r, bookSelf, &self)
		return err
	})
	return self, joined, err
}

// enqueueAll puts everything that is in the store into the outbox.
func (s *Store) enqueueAll(tx *bbolt.Tx) error {
	r := boltRows{tx}
	type ref struct {
		kind ErrandKind
		name string
	}
	var refs []ref
	r.ascend(bucketDocs, nil, func(k, _ []byte) bool {
		kind, name, _ := strings.Cut(string(k), "/")
		if told(kind) {
			refs = append(refs, ref{ErrandKind(kind), name})
		}
		return true
	})
	for _, id := range traceIDs(r) {
		if r.get(bucketOpen, traceKey(id)) == nil {
			refs = append(refs, ref{ErrandTrace, id.String()})
		}
	}
	for _, ref := range refs {
		if err := s.enqueue(tx, ref.kind, ref.name, true); err != nil {
			return err
		}
	}
	return nil
}

// told says whether the shop hears of documents of a kind. What the bench is
// set to is nobody else's business.
func told(kind string) bool { return kind == kindEngine || kind == kindTrial || kind == kindWork }

// enqueue puts an errand at the end of the outbox, in the transaction that
// makes what it speaks of. Without an outbox it does nothing.
func (s *Store) enqueue(tx *bbolt.Tx, kind ErrandKind, name string, readings bool) error {
	out, refs := tx.Bucket([]byte(bucketOutbox)), tx.Bucket([]byte(bucketErrands))
	if out == nil || refs == nil {
		return nil
	}
	if kind == ErrandTrace {
		id, err := ParseID(name)
		if err != nil {
			return err
		}
		if h, err := readHead(boltRows{tx}, id); err == nil && h.Source == SourceDemo {
			return nil
		}
	}
	ref := docKey(string(kind), name)
	e := Errand{Kind: kind, Name: name, Readings: readings, Since: time.Now().UTC().Truncate(time.Millisecond)}
	if key := refs.Get(ref); key != nil {
		if old, err := readErrand(key, out.Get(key)); err == nil {
			e.Readings = e.Readings || old.Readings
			e.Since = old.Since
		}
		if err := out.Delete(key); err != nil {
			return err
		}
	}
	taken := uint64(0)
	if k, _ := out.Cursor().Last(); len(k) == 8 {
		taken = binary.BigEndian.Uint64(k)
	}
	n := max(out.Sequence(), taken) + 1 // nothing proves the count
	if err := out.SetSequence(n); err != nil {
		return err
	}
	key := binary.BigEndian.AppendUint64(nil, n)
	v, err := seal(sealErrand, key, e)
	if err != nil {
		return err
	}
	tx.OnCommit(s.poke)
	return errors.Join(out.Put(key, v), refs.Put(ref, key))
}

func readErrand(key, v []byte) (Errand, error) {
	var e Errand
	if len(key) != 8 {
		return e, errSealBroken
	}
	err := unseal(sealErrand, key, v, &e)
	e.Number = binary.BigEndian.Uint64(key)
	return e, err
}

// poke tells whoever carries the outbox that there is something in it.
func (s *Store) poke() {
	select {
	case s.errands <- struct{}{}:
	default:
	}
}

// Errands tells that the outbox may have something new: one value, however much
// it is. It is for one listener.
func (s *Store) Errands() <-chan struct{} { return s.errands }

// NextErrand returns the oldest errand; false when the outbox is empty. One
// that does not read any more is passed over, and Verify tells of it.
func (s *Store) NextErrand() (e Errand, ok bool, err error) {
	err = s.view(func(r rows) error {
		r.ascend(bucketOutbox, nil, func(k, v []byte) bool {
			var bad error
			if e, bad = readErrand(k, v); bad != nil {
				return true
			}
			ok = true
			return false
		})
		return nil
	})
	return e, ok, err
}

// Sent is what has left the outbox so far.
type Sent struct {
	Errands uint64    `json:"errands"`
	Last    time.Time `json:"last"`
}

const bookSent = "sent"

// Sent returns what has left the outbox so far.
func (s *Store) Sent() (sent Sent, err error) {
	_, err = s.ShopBook(bookSent, &sent)
	return sent, err
}

// ErrandDone takes an errand that was sent at a time out of the outbox, unless
// what it speaks of has changed since it was read: then it stands at the end of
// the queue again.
func (s *Store) ErrandDone(e Errand, at time.Time) error {
	err := s.update(OpDocument, func(tx *bbolt.Tx) error {
		out, refs := tx.Bucket([]byte(bucketOutbox)), tx.Bucket([]byte(bucketErrands))
		if out == nil || refs == nil {
			return nil
		}
		key := binary.BigEndian.AppendUint64(nil, e.Number)
		if out.Get(key) == nil {
			return nil
		}
		in := &Intake{tx: tx, s: s}
		var sent Sent
		if _, err := in.Book(bookSent, &sent); err != nil {
			sent = Sent{} // a count that is hurt must not stop the outbox
		}
		sent.Errands, sent.Last = sent.Errands+1, at.UTC()
		return errors.Join(in.SetBook(bookSent, sent), out.Delete(key), refs.Delete(docKey(string(e.Kind), e.Name)))
	})
	if err != nil {
		return fmt.Errorf("clearing the outbox: %w", advise(err))
	}
	return nil
}

// Waiting counts the errands, and says since when the oldest of them waits.
func (s *Store) Waiting() (n int, since time.Time, err error) {
	err = s.view(func(r rows) error {
		r.ascend(bucketOutbox, nil, func(k, v []byte) bool {
			n++
			if e, err := readErrand(k, v); err == nil && (since.IsZero() || e.Since.Before(since)) {
				since = e.Since
			}
			return true
		})
		return nil
	})
	return n, since, err
}

// Pending says whether the shop has yet to hear of a thing.
func (s *Store) Pending(kind ErrandKind, name string) (yes bool, err error) {
	err = s.view(func(r rows) error {
		yes = r.get(bucketErrands, docKey(string(kind), name)) != nil
		return nil
	})
	return yes, err
}

// DocumentJSON returns a document as it is stored, with whatever a later
// version wrote into it; ErrNotFound when there is none of that name.
func (s *Store) DocumentJSON(kind ErrandKind, name string) (doc json.RawMessage, rev Rev, err error) {
	err = s.view(func(r rows) error {
		rev, err = readDoc(r, string(kind), name, &doc)
		return err
	})
	return doc, rev, err
}

// All returns the whole span of a trace, for Readings.
func All() (from, until measure.Stamp) { return minStamp, maxStamp }

// shopRowReads proves the checksum of a row of the shop's buckets.
func shopRowReads(bucket string, k, v []byte) bool {
	switch {
	case bucket == bucketErrands:
		return len(v) == 8
	case bucket == bucketOutbox:
		_, err := readErrand(k, v)
		return err == nil
	case strings.HasPrefix(string(k), bookPart):
		_, err := chunk.Peek(v)
		return err == nil
	case strings.HasPrefix(string(k), bookSeen):
		return len(v) == 8
	}
	_, err := sealed(sealBook, k, v)
	return err == nil
}

// shop checks what the store keeps for the shop.
func (r *Report) shop(rs rows) {
	for _, bucket := range shopBuckets {
		rs.ascend(bucket, nil, func(k, v []byte) bool {
			if !shopRowReads(bucket, k, v) {
				r.add(&Damage{Part: PartShop, Name: bucket + " " + printable(k), Derived: bucket == bucketErrands, Why: errSealBroken.Error()})
			}
			return true
		})
	}
}

func printable(k []byte) string {
	if len(k) == 8 {
		return fmt.Sprint(binary.BigEndian.Uint64(k))
	}
	return string(k)
}

// tellAgain lets the shop hear of everything once more: damage may have cost an
// errand, and telling twice is harmless.
func (s *Store) tellAgain() error {
	if _, joined, err := s.ShopSelf(); err != nil || !joined {
		return err
	}
	return s.update(OpOpen, func(tx *bbolt.Tx) error {
		if err := makeShopBuckets(tx); err != nil {
			return err
		}
		return s.enqueueAll(tx)
	})
}
