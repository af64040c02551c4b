package port

import (
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
	b.Reads = append(b.Reads, Stamped{at, b.bytes[b.used : b.used+n]})
	b.used += n
}

// Ripe reports whether the batch is to be handed on: the first read in it was
// hold or more before the last, or there is no room for another.
func (b *Batch) Ripe(hold measure.Stamp) bool {
	n := len(b.Reads)
	return n > 0 && b.Reads[n-1].At-b.Reads[0].At >= hold || len(b.Free()) < leastRoom
}

// Used is how many bytes the reads gave.
func (b *Batch) Used() int { return b.used }
