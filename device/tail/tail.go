package tail

import (
	"sync"

	"lobescribe/device/measure"
)

// Chunk is what one read gave, and when.
type Chunk struct {
	At    measure.Stamp
	Bytes []byte
}

// Ring keeps the last received bytes with their times, always, so that any
// puzzle can be looked at afterwards. It is bounded by bytes, by reads and by
// age, and allocates once.
type Ring struct {
	mu    sync.Mutex
	bytes []byte // a circle
	heads []head // a circle
	first int    // of heads
	count int
	at    int // where the next byte goes
	used  int
}

type head struct {
	at   measure.Stamp
	size int
}

const (
	ringBytes  = 256 << 10
	ringChunks = 16 << 10
	ringAge    = 5 * 60 * measure.Second
)

// New returns one that is large enough for some minutes of any instrument.
func New() *Ring { return newRing(ringBytes, ringChunks) }

// newRing returns a ring of at most so many bytes and reads.
func newRing(bytes, chunks int) *Ring {
	return &Ring{bytes: make([]byte, bytes), heads: make([]head, chunks)}
}

// Add keeps a copy of b. Of more than fits, the end is kept.
func (r *Ring) Add(at measure.Stamp, b []byte) {
	if len(b) == 0 {
		return
	}
	r.mu.Lock()
	defer r.mu.Unlock()
	if len(b) > len(r.bytes) {
		b = b[len(b)-len(r.bytes):]
	}
	for r.count > 0 && (r.used+len(b) > len(r.bytes) || r.count == len(r.heads) || at-r.heads[r.first].at > ringAge) {
		r.used -= r.heads[r.first].size
		r.first = (r.first + 1) % len(r.heads)
		r.count--
	}
	n := copy(r.bytes[r.at:], b)
	copy(r.bytes, b[n:])
	r.at = (r.at + len(b)) % len(r.bytes)
	r.used += len(b)
	r.heads[(r.first+r.count)%len(r.heads)] = head{at, len(b)}
	r.count++
}

// Tail returns copies of what is kept, oldest first.
func (r *Ring) Tail() []Chunk {
	r.mu.Lock()
	defer r.mu.Unlock()
	out := make([]Chunk, 0, r.count)
	at := (r.at - r.used + len(r.bytes)) % len(r.bytes)
	for i := range r.count {
		h := r.heads[(r.first+i)%len(r.heads)]
		b := make([]byte, h.size)
		n := copy(b, r.bytes[at:])
		copy(b[n:], r.bytes)
		at = (at + h.size) % len(r.bytes)
		out = append(out, Chunk{h.at, b})
	}
	return out
}
