package chunk

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"

	"lobescribe/device/measure"
)

// MaxReadings is the most that one chunk holds.
const MaxReadings = 1 << 16

const (
	version    = 2
	fixedBytes = 8
)

// Head is what a chunk says of itself.
type Head struct {
	Trace uint64
	First uint64 // position of its first reading in the trace
	Count int    // 1 to MaxReadings
	// From and Until are the times of the first and the last reading.
	From, Until measure.Stamp
	Has         measure.Has // every quantity that occurs
}

// What can be wrong with a chunk, for callers that tell the two apart.
var (
	// ErrNotAChunk: the bytes do not begin as a chunk does.
	ErrNotAChunk = errors.New("not a chunk of readings")
	// ErrDamaged: it is a chunk, and its checksum or its coding is broken.
	ErrDamaged = errors.New("chunk is damaged")
	// ErrNewer: it is a chunk of a later version of the format.
	ErrNewer = errors.New("chunk was written by a newer version")
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// scratch is working memory that lasts from column to column.
type scratch struct {
	values, steps []int64
	column        []byte
}

// An Encoder packs chunks and keeps its working memory from one to the next.
// The zero value is ready. It is not safe for concurrent use.
type Encoder struct{ s scratch }

// Append packs readings, which begin at position first of the trace, and
// appends the chunk to dst. A quantity that a reading does not have is not
// stored and comes back as zero.
//
// It panics for no readings, more than MaxReadings, or a quantity that the
// format does not know: those are mistakes of the caller.
func (e *Encoder) Append(dst []byte, trace, first uint64, readings []measure.Reading) []byte {
	n := len(readings)
	if n == 0 || n > MaxReadings {
		panic(fmt.Sprintf("chunk: %d readings in a chunk (1 to %d)", n, MaxReadings))
	}
	var has measure.Has
	for i := range readings {
		has |= readings[i].Has
	}
	if has&^measure.HasAll != 0 {
		panic(fmt.Sprintf("chunk: quantity %#x is not known", has))
	}
	start := len(dst)
	dst = append(dst, 'L', 'c', versionOf(has), byte(has), 0, 0, 0, 0)
	dst = binary.AppendUvarint(dst, trace)
	dst = binary.AppendUvarint(dst, first)
	dst = binary.AppendUvarint(dst, uint64(n))
	dst = binary.AppendVarint(dst, int64(readings[0].At))
	dst = binary.AppendVarint(dst, int64(readings[n-1].At))

	column := func(value func(i int) (int64, bool)) {
		v := e.s.values[:0]
		for i := range readings {
			if x, ok := value(i); ok {
				v = append(v, x)
			}
		}
		e.s.values = v
		dst = appendColumn(dst, v, &e.s)
	}
	column(func(i int) (int64, bool) {
		h := readings[i].Has
		if i >= 2 {
			h ^= readings[i-2].Has
		}
		return int64(h), true
	})
	column(func(i int) (int64, bool) { return int64(readings[i].At), true })
	column(func(i int) (int64, bool) { return int64(readings[i].Lift), readings[i].Has&measure.HasLift != 0 })
	column(func(i int) (int64, bool) { return int64(readings[i].Angle), readings[i].Has&measure.HasAngle != 0 })
	if has&measure.HasSweep != 0 {
		column(func(i int) (int64, bool) { return int64(readings[i].Sweep), readings[i].Has&measure.HasSweep != 0 })
	}

	binary.LittleEndian.PutUint32(dst[start+4:], checksum(dst[start:]))
	return dst
}

// versionOf is the version of a chunk of such quantities. Version 1 has no sweep
// and is written where there is none, so that an earlier program reads it too.
func versionOf(has measure.Has) byte {
	if has&measure.HasSweep != 0 {
		return 2
	}
	return 1
}

func checksum(b []byte) uint32 {
	sum := crc32.Checksum(b[:4], castagnoli)
	return crc32.Update(sum, castagnoli, b[fixedBytes:])
}

// Peek reads the head of a chunk and proves its checksum, without unpacking
// the readings. The error wraps one of the sentinels above.
func Peek(b []byte) (Head, error) {
	h, _, err := peek(b)
	return h, err
}

func peek(b []byte) (Head, []byte, error) {
	var h Head
	if len(b) < fixedBytes || b[0] != 'L' || b[1] != 'c' {
		return h, nil, ErrNotAChunk
	}
	if checksum(b) != binary.LittleEndian.Uint32(b[4:]) {
		return h, nil, fmt.Errorf("%w: its checksum does not fit its bytes", ErrDamaged)
	}
	if b[2] > version {
		return h, nil, fmt.Errorf("%w (%d; this program reads up to %d)", ErrNewer, b[2], version)
	}
	h.Has = measure.Has(b[3])
	rest := b[fixedBytes:]
	bad := h.Has&^measure.HasAll != 0 || b[2] != versionOf(h.Has)
	unsigned := func() uint64 {
		v, n := binary.Uvarint(rest)
		if n <= 0 {
			bad = true
			return 0
		}
		rest = rest[n:]
		return v
	}
	signed := func() measure.Stamp {
		v, n := binary.Varint(rest)
		if n <= 0 {
			bad = true
			return 0
		}
		rest = rest[n:]
		return measure.Stamp(v)
	}
	h.Trace, h.First = unsigned(), unsigned()
	count := unsigned()
	h.From, h.Until = signed(), signed()
	if bad || count == 0 || count > MaxReadings || h.First+count < h.First {
		return Head{}, nil, fmt.Errorf("%w: its head makes no sense", ErrDamaged)
	}
	h.Count = int(count)
	return h, rest, nil
}

// Magic is what every chunk begins with.
const Magic = "Lc"

// Cut returns the chunk that b begins with, without what comes after it; nil
// when b begins with none that is whole. It is for chunks found loose among
// other bytes.
func Cut(b []byte) []byte {
	if len(b) < fixedBytes || string(b[:2]) != Magic || b[2] == 0 || b[2] > version {
		return nil
	}
	n := fixedBytes
	for range 5 { // trace, first, count, and two times: all of them varints
		_, used := binary.Uvarint(b[n:])
		if used <= 0 {
			return nil
		}
		n += used
	}
	for range 3 + b[2] { // columns
		size, used := binary.Uvarint(b[n:])
		if used <= 0 || size > uint64(len(b)-n-used) {
			return nil
		}
		n += used + int(size)
	}
	if _, err := Peek(b[:n]); err != nil {
		return nil
	}
	return b[:n]
}

// A Decoder unpacks chunks and keeps its working memory from one to the next.
// The zero value is ready. It is not safe for concurrent use.
type Decoder struct{ values []int64 }

// Append unpacks the chunk b and appends its readings to dst. The bytes may
// come from anywhere. On an error, which wraps one of the sentinels above, dst
// comes back as it was.
func (d *Decoder) Append(dst []measure.Reading, b []byte) ([]measure.Reading, Head, error) {
	h, b, err := peek(b)
	if err != nil {
		return dst, h, err
	}
	start := len(dst)
	fail := func() ([]measure.Reading, Head, error) {
		return dst[:start], h, fmt.Errorf("%w: its readings do not decode", ErrDamaged)
	}
	if d.values, b, err = readColumn(d.values, h.Count, b); err != nil {
		return fail()
	}
	var lifts, angles, sweeps int
	var seen measure.Has
	for i, v := range d.values {
		has := measure.Has(v)
		if i >= 2 {
			has ^= dst[len(dst)-2].Has
		}
		if v&^int64(measure.HasAll) != 0 {
			return fail()
		}
		if has&measure.HasLift != 0 {
			lifts++
		}
		if has&measure.HasAngle != 0 {
			angles++
		}
		if has&measure.HasSweep != 0 {
			sweeps++
		}
		seen |= has
		dst = append(dst, measure.Reading{Has: has})
	}
	got := dst[start:]
	if d.values, b, err = readColumn(d.values, h.Count, b); err != nil || seen != h.Has {
		return fail()
	}
	for i, v := range d.values {
		got[i].At = measure.Stamp(v)
	}
	if got[0].At != h.From || got[len(got)-1].At != h.Until {
		return fail()
	}
	if d.values, b, err = readColumn(d.values, lifts, b); err != nil {
		return fail()
	}
	next := 0
	for i := range got {
		if got[i].Has&measure.HasLift != 0 {
			got[i].Lift = measure.Length(d.values[next])
			next++
		}
	}
	if d.values, b, err = readColumn(d.values, angles, b); err != nil {
		return fail()
	}
	next = 0
	for i := range got {
		if got[i].Has&measure.HasAngle != 0 {
			got[i].Angle = measure.Angle(d.values[next])
			next++
		}
	}
	if h.Has&measure.HasSweep != 0 {
		if d.values, b, err = readColumn(d.values, sweeps, b); err != nil {
			return fail()
		}
		next = 0
		for i := range got {
			if got[i].Has&measure.HasSweep != 0 {
				got[i].Sweep = measure.Length(d.values[next])
				next++
			}
		}
	}
	if len(b) != 0 {
		return fail()
	}
	return dst, h, nil
}
