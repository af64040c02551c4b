package tracefile

import (
	"encoding/binary"
	"hash"
	"hash/crc32"
	"strconv"

	"lobescribe/device/measure"
)

// seal is the checksum of readings that a Parquet file of ours carries. The
// format checks its pages at best, and not which of them there are: with a hurt
// footer a column could be missing, or a group, and nobody would know.
//
// It is the CRC-32C (Castagnoli, as in RFC 3720) over every reading's time,
// lift and angle as little-endian 64-bit integers, zero for what a reading
// does not have, the sweep likewise where it has one, and one byte that is the
// sum of what it has: 1 a lift, 2 an angle, 4 a sweep. It is written as eight hexadecimal digits.
type seal struct {
	sum hash.Hash32
	n   int64
	buf []byte
}

func newSeal() *seal {
	return &seal{sum: crc32.New(crc32.MakeTable(crc32.Castagnoli))}
}

func (s *seal) add(readings []measure.Reading) {
	s.buf = s.buf[:0]
	for _, r := range readings {
		if r.Has&measure.HasLift == 0 {
			r.Lift = 0
		}
		if r.Has&measure.HasAngle == 0 {
			r.Angle = 0
		}
		for _, v := range [...]int64{int64(r.At), int64(r.Lift), int64(r.Angle)} {
			s.buf = binary.LittleEndian.AppendUint64(s.buf, uint64(v))
		}
		if r.Has&measure.HasSweep != 0 {
			s.buf = binary.LittleEndian.AppendUint64(s.buf, uint64(r.Sweep))
		}
		s.buf = append(s.buf, byte(r.Has))
	}
	s.sum.Write(s.buf)
	s.n += int64(len(readings))
}

func (s *seal) count() string { return strconv.FormatInt(s.n, 10) }

func (s *seal) String() string {
	return strconv.FormatUint(1<<32|uint64(s.sum.Sum32()), 16)[1:]
}
