package shop

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash"
	"iter"

	"lobescribe/device/measure"
	"lobescribe/storage/chunk"
)

// partReadings is how many readings a part has. They take some 30 kB, and at
// the very worst half of what a NATS server takes by default.
const partReadings = 16_384

// digest adds up the values of readings, however they are cut into parts and
// packed: 25 bytes a reading, little-endian time, lift, angle, and what it has,
// by SHA-256.
type digest struct {
	h   hash.Hash
	buf []byte
	n   uint64
}

func newDigest() *digest { return &digest{h: sha256.New()} }

func (d *digest) add(rs []measure.Reading) {
	d.n += uint64(len(rs))
	for _, r := range rs {
		d.buf = binary.LittleEndian.AppendUint64(d.buf, uint64(r.At))
		d.buf = binary.LittleEndian.AppendUint64(d.buf, uint64(r.Lift))
		d.buf = binary.LittleEndian.AppendUint64(d.buf, uint64(r.Angle))
		d.buf = append(d.buf, byte(r.Has))
		if len(d.buf) > 8<<10 {
			d.h.Write(d.buf)
			d.buf = d.buf[:0]
		}
	}
}

func (d *digest) sum() string {
	d.h.Write(d.buf)
	d.buf = d.buf[:0]
	return hex.EncodeToString(d.h.Sum(nil))
}

// cut yields readings that come in batches of any size in parts of equal size,
// each with its chunk. What comes as an error is passed on, and the readings go
// on behind it.
func cut(batches iter.Seq2[[]measure.Reading, error]) iter.Seq2[Part, error] {
	return func(yield func(Part, error) bool) {
		var enc chunk.Encoder
		var held []measure.Reading
		first := uint64(0)
		give := func(n int) bool {
			p := Part{First: first, Count: n, Chunk: enc.Append(nil, 0, first, held[:n])}
			first += uint64(n)
			held = append(held[:0], held[n:]...)
			return yield(p, nil)
		}
		for batch, err := range batches {
			if err != nil {
				if !yield(Part{}, err) {
					return
				}
				continue
			}
			held = append(held, batch...)
			for len(held) >= partReadings {
				if !give(partReadings) {
					return
				}
			}
		}
		if len(held) > 0 {
			give(len(held))
		}
	}
}

// halve cuts a part in two, for a stream that takes less at once.
func halve(p Part) (a, b Part, err error) {
	var dec chunk.Decoder
	rs, _, err := dec.Append(nil, p.Chunk)
	if err != nil {
		return a, b, err
	}
	n := len(rs) / 2
	var enc chunk.Encoder
	a = Part{Key: p.Key, First: p.First, Count: n, Chunk: enc.Append(nil, 0, p.First, rs[:n])}
	b = Part{Key: p.Key, First: p.First + uint64(n), Count: len(rs) - n, Chunk: enc.Append(nil, 0, p.First+uint64(n), rs[n:])}
	return a, b, nil
}
