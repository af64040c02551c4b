package tracefile

import (
	"bytes"
	"io"

	"github.com/andybalholm/brotli"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/snappy"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go/format"
)

// unpacksTo returns how long a packed page is, unpacked, as far as most; the
// library goes by what comes out, and not by what the page's head says. Bytes that
// do not unpack are left to the library to say.
func unpacksTo(codec format.CompressionCodec, packed []byte, most int64) int64 {
	var r io.Reader
	switch codec {
	case format.Uncompressed:
		return int64(len(packed))
	case format.Snappy:
		n, err := snappy.DecodedLen(packed)
		if err != nil {
			return 0
		}
		return int64(n)
	case format.Lz4Raw:
		return lz4Length(packed)
	case format.Gzip:
		z, err := gzip.NewReader(bytes.NewReader(packed))
		if err != nil {
			return 0
		}
		defer z.Close() //nolint:errcheck // it was only read
		r = z
	case format.Zstd:
		z, err := zstd.NewReader(bytes.NewReader(packed), zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(uint64(most)))
		if err != nil {
			return 0
		}
		defer z.Close()
		r = z
	case format.Brotli:
		r = brotli.NewReader(bytes.NewReader(packed))
	default:
		return 0 // the library knows no others
	}
	n, _ := io.Copy(io.Discard, io.LimitReader(r, most+1))
	return n
}

// lz4Length adds up the lengths that an LZ4 block names (lz4_Block_format.md).
func lz4Length(b []byte) (n int64) {
	more := func() (v int64) { // bytes that are added up until one is not full
		for len(b) > 0 {
			c := b[0]
			b = b[1:]
			v += int64(c)
			if c < 255 {
				break
			}
		}
		return v
	}
	for len(b) > 0 {
		token := b[0]
		b = b[1:]
		literals := int64(token >> 4)
		if literals == 15 {
			literals += more()
		}
		n += literals
		if literals >= int64(len(b)) || len(b)-int(literals) < 2 {
			return n // the last has no match
		}
		b = b[literals+2:]
		match := int64(token & 0x0f)
		if match == 15 {
			match += more()
		}
		n += match + 4
	}
	return n
}
