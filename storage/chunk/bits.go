package chunk

import (
	"encoding/binary"
	"math/bits"
)

// bitWriter appends numbers of any width to buf, low bits first.
type bitWriter struct {
	buf  []byte
	acc  uint64
	used uint // bits of acc that are taken, always under 64
}

// put appends the low n bits of v; n is at most 64, and v has no higher bits.
func (w *bitWriter) put(v uint64, n uint) {
	w.acc |= v << w.used
	if w.used+n < 64 {
		w.used += n
		return
	}
	w.buf = binary.LittleEndian.AppendUint64(w.buf, w.acc)
	took := 64 - w.used
	w.acc = 0
	if took < 64 {
		w.acc = v >> took
	}
	w.used = n - took
}

// flush writes what is left over, filled up with zeros to a whole byte.
func (w *bitWriter) flush() {
	for n := uint(0); n < w.used; n += 8 {
		w.buf = append(w.buf, byte(w.acc>>n))
	}
	w.acc, w.used = 0, 0
}

// bitReader takes numbers off b. Reading past the end sets short and gives
// zeros, so that a loop needs to look only once.
type bitReader struct {
	b     []byte
	at    uint // in bits
	short bool
}

// peek returns the next bits, at least 56 of them true (zeros past the end).
func (r *bitReader) peek() uint64 {
	i := r.at >> 3
	if i+8 <= uint(len(r.b)) {
		return binary.LittleEndian.Uint64(r.b[i:]) >> (r.at & 7)
	}
	var v uint64
	for n := uint(0); i < uint(len(r.b)); i, n = i+1, n+8 {
		v |= uint64(r.b[i]) << n
	}
	return v >> (r.at & 7)
}

func (r *bitReader) skip(n uint) {
	r.at += n
	if r.at > uint(len(r.b))*8 {
		r.short = true
	}
}

// take returns the next n bits, n at most 64.
func (r *bitReader) take(n uint) uint64 {
	if n > 56 {
		low := r.take(32)
		return low | r.take(n-32)<<32
	}
	v := r.peek() & (1<<n - 1)
	r.skip(n)
	return v
}

// escape is the number of ones that says: the number follows whole, in 64
// bits. It must fit into one peek with its closing zero.
const escape = 24

// putRice writes v in Rice code of parameter k: v>>k ones, a zero, k bits.
func (w *bitWriter) putRice(v uint64, k uint) {
	q := v >> k
	if q >= escape {
		w.put(1<<escape-1, escape)
		w.put(v, 64)
		return
	}
	w.put(1<<q-1, uint(q)+1)
	w.put(v&(1<<k-1), k)
}

func (r *bitReader) takeRice(k uint) uint64 {
	v := r.peek()
	q := uint(bits.TrailingZeros64(^v))
	if q >= escape {
		r.skip(escape)
		return r.take(64)
	}
	// A short number is the rule and comes out of the same look.
	if n := q + 1 + k; n <= 56 {
		r.skip(n)
		return uint64(q)<<k | v>>(q+1)&(1<<k-1)
	}
	r.skip(q + 1)
	return uint64(q)<<k | r.take(k)
}

// takeRests fills dst with numbers of either sign. Short codes well inside the
// bytes, which nearly all are, are taken without a call.
func (r *bitReader) takeRests(dst []int64, k uint) {
	for i := range dst {
		if at := r.at >> 3; at+8 <= uint(len(r.b)) {
			v := binary.LittleEndian.Uint64(r.b[at:]) >> (r.at & 7)
			q := uint(bits.TrailingZeros64(^v))
			if n := q + 1 + k; q < escape && n <= 56 {
				r.at += n
				dst[i] = unzigzag(uint64(q)<<k | v>>(q+1)&(1<<k-1))
				continue
			}
		}
		dst[i] = unzigzag(r.takeRice(k))
	}
}

// riceBits is what putRice takes for v.
func riceBits(v uint64, k uint) uint64 {
	if q := v >> k; q < escape {
		return q + 1 + uint64(k)
	}
	return escape + 64
}

// zigzag folds signed numbers so that small ones of either sign stay small.
func zigzag(v int64) uint64   { return uint64(v)<<1 ^ uint64(v>>63) }
func unzigzag(u uint64) int64 { return int64(u>>1) ^ -int64(u&1) }
