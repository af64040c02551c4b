package chunk

import (
	"encoding/binary"
	"errors"
	"lobescribe/device/measure"
	"math/bits"
	"slices"
)

// blockLen is how many steps share a rule. Long enough that the rule's own
// byte or two do not count, short enough to follow a hand that stops and goes.
const blockLen = 128

// The rules of a block, two bits of its head; the other six are the Rice
// parameter, or allBase.
const (
	byValue  = iota // value = last value before the block + base + rest
	byStep          // step = base + rest
	byChange        // step = step before + rest
)

const allBase = 63 // every rest is zero and is not written

var errColumn = errors.New("a column does not decode")

// appendColumn appends the values to dst. It uses scratch as working memory.
func appendColumn(dst []byte, values []int64, scratch *scratch) []byte {
	if len(values) == 0 {
		return binary.AppendUvarint(dst, 0)
	}
	w := bitWriter{buf: scratch.column[:0]}
	w.buf = binary.AppendVarint(w.buf, values[0])
	steps := scratch.steps[:0]
	var g uint64
	for i, v := range values[1:] {
		s := v - values[i]
		steps = append(steps, s)
		if g != 1 {
			g = measure.CommonDivisor(g, magnitude(s))
		}
	}
	scratch.steps = steps
	w.buf = binary.AppendUvarint(w.buf, g)
	if g > 1 {
		for i, s := range steps {
			steps[i] = divide(s, g)
		}
	}
	var before int64
	for len(steps) > 0 && g != 0 {
		n := min(blockLen, len(steps))
		before = w.putBlock(steps[:n], before)
		steps = steps[n:]
	}
	w.flush()
	scratch.column = w.buf
	dst = binary.AppendUvarint(dst, uint64(len(w.buf)))
	return append(dst, w.buf...)
}

// putBlock writes one block by the cheapest rule and returns its last step.
func (w *bitWriter) putBlock(steps []int64, before int64) int64 {
	var rests [3][blockLen]uint64
	var mean [2]int64
	var value, sum int64
	for _, s := range steps {
		value += s
		sum += value
	}
	n := int64(len(steps))
	mean[byValue], mean[byStep] = sum/n, value/n
	last := before
	value = 0
	for i, s := range steps {
		value += s
		rests[byValue][i] = zigzag(value - mean[byValue])
		rests[byStep][i] = zigzag(s - mean[byStep])
		rests[byChange][i] = zigzag(s - last)
		last = s
	}
	best, bestK, bestCost := byValue, uint(0), ^uint64(0)
	for rule := range rests {
		k, cost := bestRice(rests[rule][:n])
		if rule != byChange {
			cost += 8 * uint64(len(binary.AppendVarint(nil, mean[rule])))
		}
		if cost < bestCost {
			best, bestK, bestCost = rule, k, cost
		}
	}
	w.put(uint64(bestK)<<2|uint64(best), 8)
	if best != byChange {
		var b [binary.MaxVarintLen64]byte
		for _, c := range b[:binary.PutVarint(b[:], mean[best])] {
			w.put(uint64(c), 8)
		}
	}
	if bestK != allBase {
		for _, r := range rests[best][:n] {
			w.putRice(r, bestK)
		}
	}
	return last
}

// bestRice returns the cheapest Rice parameter for rests and its cost in bits.
func bestRice(rests []uint64) (k uint, cost uint64) {
	var hi, sum uint64 // a sum of up to 128 numbers of 64 bits
	for _, r := range rests {
		var carry uint64
		sum, carry = bits.Add64(sum, r, 0)
		hi += carry
	}
	if sum|hi == 0 {
		return allBase, 0
	}
	mean, _ := bits.Div64(hi, sum, uint64(len(rests)))
	around := bits.Len64(mean)
	cost = ^uint64(0)
	for c := max(around-2, 0); c <= min(around+1, 62); c++ {
		var total uint64
		for _, r := range rests {
			total += riceBits(r, uint(c))
		}
		if total < cost {
			k, cost = uint(c), total
		}
	}
	return k, cost
}

// readColumn takes one column of n values off b into dst[:n] and returns the
// rest of b.
func readColumn(dst []int64, n int, b []byte) ([]int64, []byte, error) {
	dst = dst[:0]
	size, used := binary.Uvarint(b)
	if used <= 0 || size > uint64(len(b)-used) {
		return dst, nil, errColumn
	}
	col, rest := b[used:used+int(size)], b[used+int(size):]
	if n == 0 {
		if size != 0 {
			return dst, nil, errColumn
		}
		return dst, rest, nil
	}
	value, used := binary.Varint(col)
	if used <= 0 {
		return dst, nil, errColumn
	}
	col = col[used:]
	g, used := binary.Uvarint(col)
	if used <= 0 {
		return dst, nil, errColumn
	}
	r := bitReader{b: col[used:]}
	dst = append(slices.Grow(dst, n), value)
	if g == 0 {
		for len(dst) < n {
			dst = append(dst, value)
		}
	}
	var before int64
	for len(dst) < n && !r.short {
		dst, before = r.takeBlock(dst, min(blockLen, n-len(dst)), before, int64(g))
	}
	if r.short || uint(len(r.b))*8-r.at >= 8 {
		return dst, nil, errColumn
	}
	return dst, rest, nil
}

func (r *bitReader) takeBlock(dst []int64, n int, before, g int64) ([]int64, int64) {
	head := r.take(8)
	rule, k := head&3, uint(head>>2)
	var base int64
	if rule != byChange {
		var u uint64
		for shift := uint(0); ; shift += 7 {
			c := r.take(8)
			if shift < 64 {
				u |= c & 0x7f << shift
			}
			if c < 0x80 || r.short {
				break
			}
		}
		base = unzigzag(u)
	}
	var rests [blockLen]int64
	if k != allBase {
		r.takeRests(rests[:n], k)
	}
	value := dst[len(dst)-1]
	switch rule {
	case byValue:
		start, last := value, int64(0) // last: in steps since start
		for _, rest := range rests[:n] {
			v := base + rest
			before, last = v-last, v
			dst = append(dst, start+v*g)
		}
	case byStep:
		for _, rest := range rests[:n] {
			before = base + rest
			value += before * g
			dst = append(dst, value)
		}
	case byChange:
		for _, rest := range rests[:n] {
			before += rest
			value += before * g
			dst = append(dst, value)
		}
	default:
		r.short = true
	}
	return dst, before
}

func magnitude(v int64) uint64 {
	if v < 0 {
		return -uint64(v)
	}
	return uint64(v)
}

// divide returns v / g, g a divisor of v (also of the least int64).
func divide(v int64, g uint64) int64 {
	q := magnitude(v) / g
	if v < 0 {
		return -int64(q)
	}
	return int64(q)
}
