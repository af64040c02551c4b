package device

import (
	"lobescribe/device/measure"
)

// batch is what some reads in a row gave, each with its time. It is handed on
// as one, since what costs is the handing on.
type batch struct {
	bytes []byte // room for all of them
	used  int
	reads []stamped // each a piece of bytes
}

// stamped is what one read gave, and when.
type stamped struct {
	at    measure.Stamp
	bytes []byte
}

const (
	batchBytes = 4096
	leastRoom  = 512 // for another read
)

func newBatch() *batch { return &batch{bytes: make([]byte, batchBytes)} }

// empty makes room for new reads in place of what is held.
func (b *batch) empty() { b.used, b.reads = 0, b.reads[:0] }

// free is where the next read goes.
func (b *batch) free() []byte { return b.bytes[b.used:] }

// add takes what a read has put into free.
func (b *batch) add(n int, at measure.Stamp) {
	b.reads = append(b.reads, stamped{at, b.bytes[b.used : b.used+n]})
	b.used += n
}

// ripe reports whether the batch is to be handed on: the first read in it was
// hold or more before the last, or there is no room for another.
func (b *batch) ripe(hold measure.Stamp) bool {
	n := len(b.reads)
	return n > 0 && b.reads[n-1].at-b.reads[0].at >= hold || len(b.free()) < leastRoom
}
