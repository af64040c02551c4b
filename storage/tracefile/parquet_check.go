package tracefile

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go/format"
)

// The library believes the sizes that a Parquet file names: a file of a few hundred
// bytes can say that it has two billion row groups, or pages that unpack to
// gigabytes, and the memory for them is asked for before a byte of them is read. So
// the sizes are read here first, of the footer and of the head of each page of the
// columns that are read.

// What a file may name. Other writers make pages of about 1 MB and footers of some
// kB (common practice, no source).
const (
	mostFooter     = 16 << 20
	mostRecords    = 50_000   // in all lists of the footer
	mostPage       = 32 << 20 // bytes of a page, unpacked
	mostPageValues = 4 << 20  // in a page
	mostPageHead   = 1 << 20
)

var errTooLarge = errors.New("it names sizes that no trace has")

var errNoEnd = errors.New("its end is missing")

// checkFooter looks at the footer of a Parquet file.
func checkFooter(src io.ReaderAt, size int64) error {
	var tail [8]byte
	if size < 12 {
		return errNoEnd
	}
	if _, err := src.ReadAt(tail[:], size-8); err != nil {
		return err
	}
	if string(tail[4:]) != "PAR1" {
		return errNoEnd
	}
	n := int64(binary.LittleEndian.Uint32(tail[:4]))
	if n > size-12 {
		return errNoEnd
	}
	if n > mostFooter {
		return fmt.Errorf("%w: a footer of %d bytes", errTooLarge, n)
	}
	b := make([]byte, n)
	if _, err := src.ReadAt(b, size-8-n); err != nil {
		return err
	}
	_, err := (&skimmer{b: b}).record(0, nil)
	return err
}

// checkPages looks at the heads of the pages of a column in a row group.
func checkPages(src io.ReaderAt, size int64, m *format.ColumnMetaData) error {
	at := m.DataPageOffset
	if d := m.DictionaryPageOffset; d > 0 && d < at {
		at = d
	}
	if m.NumValues < 0 || m.NumValues > mostRows || at < 0 || m.TotalCompressedSize < 0 || m.TotalCompressedSize > size-at {
		return fmt.Errorf("%w: %d values in %d bytes at %d", errTooLarge, m.NumValues, m.TotalCompressedSize, at)
	}
	for end := at + m.TotalCompressedSize; at < end; {
		head, n, err := pageHead(src, at, end)
		if err != nil {
			return err
		}
		if head.packed < 0 || head.packed > end-at-n || head.packed > mostPage || head.unpacked < 0 || head.unpacked > mostPage || head.values < 0 || head.values > mostPageValues {
			return fmt.Errorf("%w: a page of %d bytes, %d unpacked, with %d values", errTooLarge, head.packed, head.unpacked, head.values)
		}
		if m.Codec != format.Uncompressed {
			packed := make([]byte, head.packed)
			if _, err := src.ReadAt(packed, at+n); err != nil {
				return err
			}
			levels := max(head.levels, 0) // of version 2, not packed
			if got := unpacksTo(m.Codec, packed[min(levels, head.packed):], mostPage); got > mostPage || got > head.unpacked {
				return fmt.Errorf("%w: a page that unpacks to %d bytes or more, and not to %d", errTooLarge, got, head.unpacked)
			}
		}
		at += n + head.packed
	}
	return nil
}

// head is what matters of a page's head (PageHeader of parquet.thrift).
type head struct{ unpacked, packed, values, levels int64 }

// pageHead reads the head of the page at a place, and how long it is.
func pageHead(src io.ReaderAt, at, end int64) (h head, n int64, err error) {
	for most := int64(4096); ; most = mostPageHead {
		b := make([]byte, min(most, end-at))
		if _, err := src.ReadAt(b, at); err != nil && !errors.Is(err, io.EOF) {
			return h, 0, err
		}
		s := &skimmer{b: b}
		h = head{}
		n, err := s.record(0, func(depth, outer, field int, v int64) {
			switch {
			case depth == 0 && field == 2:
				h.unpacked = v
			case depth == 0 && field == 3:
				h.packed = v
			case depth == 1 && field == 1 && (outer == 5 || outer == 7 || outer == 8): // a page of data, a dictionary, a page of data of version 2
				h.values = v
			case depth == 1 && outer == 8 && (field == 5 || field == 6):
				h.levels += v
			}
		})
		if errors.Is(err, io.ErrUnexpectedEOF) && most < mostPageHead && int64(len(b)) < end-at {
			continue
		}
		return h, int64(n), err
	}
}

// skimmer walks Thrift's compact protocol without keeping anything of it.
type skimmer struct {
	b       []byte
	at      int
	records int
}

// record walks a record and returns where it ends. seen hears the whole numbers of
// records one and two deep, with the field that holds the record.
func (s *skimmer) record(depth int, seen func(depth, outer, field int, v int64)) (int, error) {
	return s.recordIn(depth, 0, seen)
}

func (s *skimmer) recordIn(depth, outer int, seen func(depth, outer, field int, v int64)) (int, error) {
	if depth > 16 {
		return 0, fmt.Errorf("%w: records within records", errTooLarge)
	}
	for field := 0; ; {
		c, err := s.byte()
		if err != nil || c == 0 {
			return s.at, err
		}
		if step := int(c >> 4); step > 0 {
			field += step
		} else {
			v, err := s.number()
			if err != nil {
				return 0, err
			}
			field = int(int16(v))
		}
		kind := c & 0x0f
		v, err := s.value(kind, depth, field, seen)
		if err != nil {
			return 0, err
		}
		if seen != nil && kind >= 3 && kind <= 6 {
			seen(depth, outer, field, v)
		}
	}
}

// value walks a value of a kind; a whole number is returned.
func (s *skimmer) value(kind byte, depth, field int, seen func(depth, outer, field int, v int64)) (int64, error) {
	switch kind {
	case 1, 2: // yes and no, which the kind says
		return 0, nil
	case 3:
		c, err := s.byte()
		return int64(int8(c)), err
	case 4, 5, 6:
		return s.number()
	case 7:
		return 0, s.skip(8)
	case 8:
		n, err := s.unsigned()
		if err != nil {
			return 0, err
		}
		return 0, s.skip(n)
	case 9, 10:
		return 0, s.list(depth)
	case 12:
		_, err := s.recordIn(depth+1, field, seen)
		return 0, err
	}
	return 0, fmt.Errorf("a value of kind %d", kind)
}

func (s *skimmer) list(depth int) error {
	c, err := s.byte()
	if err != nil {
		return err
	}
	n, kind := uint64(c>>4), c&0x0f
	if n == 15 {
		if n, err = s.unsigned(); err != nil {
			return err
		}
	}
	if n > mostRecords || s.records+int(n) > mostRecords {
		return fmt.Errorf("%w: a list of %d records", errTooLarge, n)
	}
	s.records += int(n)
	for range n {
		if kind == 1 || kind == 2 { // in a list these take a byte
			kind = 3
		}
		if _, err := s.value(kind, depth+1, 0, nil); err != nil {
			return err
		}
	}
	return nil
}

func (s *skimmer) byte() (byte, error) {
	if s.at >= len(s.b) {
		return 0, io.ErrUnexpectedEOF
	}
	s.at++
	return s.b[s.at-1], nil
}

func (s *skimmer) skip(n uint64) error {
	if n > uint64(len(s.b)-s.at) {
		return io.ErrUnexpectedEOF
	}
	s.at += int(n)
	return nil
}

func (s *skimmer) unsigned() (uint64, error) {
	v, n := binary.Uvarint(s.b[s.at:])
	if n <= 0 {
		return 0, io.ErrUnexpectedEOF
	}
	s.at += n
	return v, nil
}

func (s *skimmer) number() (int64, error) {
	v, n := binary.Varint(s.b[s.at:])
	if n <= 0 {
		return 0, io.ErrUnexpectedEOF
	}
	s.at += n
	return v, nil
}
