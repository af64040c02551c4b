package tracefile

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"runtime/debug"
	"runtime/metrics"
	"strings"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// crafted returns small Parquet files of every kind of page that the library
// writes.
func crafted(t testing.TB) map[string][]byte {
	type plain struct {
		T float64 `parquet:"t_s"`
		L float64 `parquet:"lift_mm"`
	}
	type words struct {
		T float64 `parquet:"t_s,dict"`
		L int64   `parquet:"lift_nm,delta"`
		N string  `parquet:"remark,dict,optional"`
	}
	all := map[string][]byte{}
	for name, codec := range map[string]compress.Codec{"plain": nil, "snappy": &parquet.Snappy, "gzip": &parquet.Gzip, "zstd": &parquet.Zstd, "brotli": &parquet.Brotli, "lz4": &parquet.Lz4Raw} {
		var b, c bytes.Buffer
		var options []parquet.WriterOption
		if codec != nil {
			options = append(options, parquet.Compression(codec))
		}
		w, d := parquet.NewGenericWriter[plain](&b, options...), parquet.NewGenericWriter[words](&c, append(options, parquet.DataPageVersion(1))...)
		for i := range 20 {
			_, err := w.Write([]plain{{float64(i) / 10, float64(i)}})
			require.NoError(t, err)
			_, err = d.Write([]words{{float64(i), int64(i), "x"}})
			require.NoError(t, err)
		}
		require.NoError(t, w.Close())
		require.NoError(t, d.Close())
		all[name], all[name+" dictionary"] = b.Bytes(), c.Bytes()
	}
	return all
}

// readAll reads a file to its end or its first fault, and returns how much memory
// was asked for on the way.
func readAll(b []byte) (readings int, asked uint64, err error) {
	before := allocated()
	trace, err := Read(bytes.NewReader(b))
	return len(trace.Readings), allocated() - before, err
}

// allocated is how many bytes were ever asked for. Unlike runtime.ReadMemStats it does
// not stop the program, which a hundred thousand times takes half a minute.
func allocated() uint64 {
	sample := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(sample)
	return sample[0].Value.Uint64()
}

// Every number in the pages' heads and the footer is once the largest that there
// is, and every byte once missing with all that follows: row groups of 2^31 rows,
// dictionaries of as many values, pages that unpack to gigabytes. What is asked for
// stays small, and the answer is one sentence.
func TestCraftedParquetIsBounded(t *testing.T) {
	const most = 64 << 20
	defer debug.SetGCPercent(debug.SetGCPercent(1000)) // each file leaves little behind
	huge := []byte{0xfe, 0xff, 0xff, 0xff, 0x0f}       // 2^31-1 in Thrift's compact form
	large := []byte{0x80, 0x80, 0x80, 0x80, 0x08}      // 2^30
	list := []byte{0xfc, 0xff, 0xff, 0xff, 0xff, 0x07} // a list of 2^31-1 records
	before := allocated()
	require.Len(t, bytes.Repeat([]byte{1}, most), most)
	require.GreaterOrEqual(t, allocated()-before, uint64(most), "what is asked for is seen")
	tried := 0
	check := func(name string, b []byte) {
		tried++
		n, asked, err := readAll(b)
		if asked > most {
			t.Errorf("%s: %d MB asked for, %d readings, %v", name, asked>>20, n, err)
		}
		if err != nil {
			assert.Less(t, len(err.Error()), 600, name)
			assert.NotContains(t, err.Error(), "\n", name)
			assert.NotContains(t, err.Error(), os.TempDir(), name)
		}
	}
	check("a footer longer than the file", []byte("PAR1"+strings.Repeat("\x00", 100)+"\xff\xff\xff\x7fPAR1"))
	check("a footer of all that a number says", []byte("PAR1"+strings.Repeat("\x15\x00", 500_000)+"\xff\xff\xff\xffPAR1"))
	check("no end", []byte("PAR1"+strings.Repeat("\x00", 100)))
	for kind, b := range crafted(t) {
		n, _, err := readAll(b)
		require.NoError(t, err, kind)
		require.Equal(t, 20, n, kind)
		footer := len(b) - 8 - int(binary.LittleEndian.Uint32(b[len(b)-8:]))
		for at := 4; at < len(b)-8; at++ {
			for _, put := range [][]byte{huge, large, list} {
				c := append(append(append([]byte{}, b[:at]...), put...), b[at+1:]...)
				if at >= footer {
					binary.LittleEndian.PutUint32(c[len(c)-8:], uint32(len(c)-8-footer))
				}
				check(fmt.Sprintf("%s, byte %d of %d (footer at %d), % x", kind, at, len(b), footer, put), c)
				if at < footer && at+len(put) < footer { // in place: what the footer says stays true
					c = append([]byte{}, b...)
					copy(c[at:], put)
					check(fmt.Sprintf("%s, byte %d in place, % x", kind, at, put), c)
				}
			}
			check(fmt.Sprintf("%s cut at %d", kind, at), b[:at])
		}
	}
	t.Log(tried, "files")
}

// A page whose head says that it unpacks to little, and which unpacks to much.
func TestLyingPagesAreBounded(t *testing.T) {
	type row struct {
		A int64 `parquet:"lift_nm"` // in the first column, from byte 4 on
		T int64 `parquet:"t_s,dict"`
	}
	for name, codec := range map[string]compress.Codec{"snappy": &parquet.Snappy, "gzip": &parquet.Gzip, "zstd": &parquet.Zstd, "brotli": &parquet.Brotli, "lz4": &parquet.Lz4Raw} {
		const rows = 24 << 20 // 192 MB of zeros
		var b bytes.Buffer
		w := parquet.NewGenericWriter[row](&b, parquet.Compression(codec), parquet.PageBufferSize(1<<30), parquet.WriteBufferSize(0))
		some := make([]row, 1<<20)
		for range rows / len(some) {
			_, err := w.Write(some)
			require.NoError(t, err)
		}
		require.NoError(t, w.Close())
		file := b.Bytes()
		require.Equal(t, []byte{0x15}, file[6:7], name) // after the kind of the page: how long it is, unpacked
		n, size := binary.Varint(file[7:])
		require.Greater(t, n, int64(32<<20), name)
		lie := func(at, size int, small uint64) { // the same bytes long
			for i := range size {
				file[at+i] = byte(small)&0x7f | 0x80
				small >>= 7
			}
			file[at+size-1] &= 0x7f
		}
		lie(7, size, 2*200)
		values := binary.AppendVarint(nil, rows)
		footer := len(file) - 8 - int(binary.LittleEndian.Uint32(file[len(file)-8:]))
		for at := bytes.Index(file[:footer], values); at >= 0; at = bytes.Index(file[:footer], values) {
			lie(at, len(values), 2*20)
		}
		readings, asked, err := readAll(file)
		require.ErrorContains(t, err, "hurt or not whole", name)
		assert.Zero(t, readings, name)
		assert.Less(t, asked, uint64(64<<20), name)
		t.Log(name, len(file), "bytes,", asked>>10, "kB asked for:", err)
	}
}
