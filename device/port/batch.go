package port

import (
	"bytes"

	"lobescribe/device/measure"
)

// Batch is what some reads in a row gave, each with its time. It is handed on
// as one, since what costs is the handing on.
type Batch struct {
	bytes []byte // room for all of them
	used  int
	Reads []Stamped // each a piece of bytes
}

// Stamped is what one read gave, and when.
type Stamped struct {
	At    measure.Stamp
	Bytes []byte
	// Rested: the bytes came while the link was left alone between two readings, by At
	// and not at it.
	Rested bool
}

const (
	BatchBytes = 4096 // of one batch
	leastRoom  = 512  // for another read
)

// NewBatch returns an empty one.
func NewBatch() *Batch { return &Batch{bytes: make([]byte, BatchBytes)} }

// Empty makes room for new reads in place of what is held.
func (b *Batch) Empty() { b.used, b.Reads = 0, b.Reads[:0] }

// Free is where the next read goes.
func (b *Batch) Free() []byte { return b.bytes[b.used:] }

// Add takes what a read has put into Free.
func (b *Batch) Add(n int, at measure.Stamp) {
	b.Reads = append(b.Reads, Stamped{At: at, Bytes: b.bytes[b.used : b.used+n]})
	b.used += n
}

// AddRested is Add of what came while the link was left alone.
func (b *Batch) AddRested(n int, at measure.Stamp) {
	b.Add(n, at)
	b.Reads[len(b.Reads)-1].Rested = true
}

// NextRead as what Ripe holds for: until one read more than the first.
const NextRead measure.Stamp = 1

// Ripe reports whether the batch is to be handed on: the first read in it was
// hold or more before the last, or there is no room for another.
func (b *Batch) Ripe(hold measure.Stamp) bool {
	n := len(b.Reads)
	return n > 0 && b.Reads[n-1].At-b.Reads[0].At >= hold || len(b.Free()) < leastRoom
}

// EndsLine reports whether what was added last ends a line of text, as far as that
// can be told: by a line feed or, where none is to be seen, by a carriage return.
func (b *Batch) EndsLine() bool {
	if b.used == 0 {
		return false
	}
	end := byte('\r')
	if bytes.IndexByte(b.bytes[:b.used], '\n') >= 0 {
		end = '\n'
	}
	return b.bytes[b.used-1] == end
}

// Used is how many bytes the reads gave.
func (b *Batch) Used() int { return b.used }
