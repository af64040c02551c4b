package find_test

import (
	"bufio"
	"bytes"
	"fmt"
	"strconv"
	"testing"
	"time"

	"lobescribe/device/internal/corpus"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// benchLines is a stream of bare decimals, which the standard library can read
// as well.
func benchLines(n int) []byte {
	var b bytes.Buffer
	for i := range n {
		fmt.Fprintf(&b, "%.3f\n", float64((i*7)%10668)/1000)
	}
	return b.Bytes()
}

const benchCount = 1000

func decodeAll(d find.Follower, b []byte, out *wire.Out) int {
	n := 0
	for len(b) > 0 {
		k := min(len(b), 512)
		out.Reset()
		d.Decode(wire.Chunk{Bytes: b[:k], At: measure.Stamp(n), ByteTime: time.Microsecond}, out)
		n += len(out.Readings)
		b = b[k:]
	}
	return n
}

func plainDecoder() *lines.Decoder {
	d := lines.NewDecoder(formats.BuiltIn()[0], lines.Options{Unit: measure.InMillimetres})
	d.BeginsQuiet()
	return d
}

func BenchmarkDecode(b *testing.B) {
	data, d, out := benchLines(benchCount), plainDecoder(), &wire.Out{}
	decodeAll(d, data, out)
	b.ReportAllocs()
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if n := decodeAll(d, data, out); n != benchCount {
			b.Fatal(n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchCount, "ns/line")
}

// A finder that has found watches for lines that do not fit; that must not cost
// a byte on the heap either.
func BenchmarkFoundByListening(b *testing.B) {
	data, out := benchLines(benchCount), &wire.Out{}
	d := find.New(lines.Options{Unit: measure.InMillimetres})
	d.BeginsQuiet()
	d.Decode(wire.Chunk{Bytes: data}, out)
	if !d.Found().Settled {
		b.Fatal(d.Found().Says)
	}
	b.ReportAllocs()
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if n := decodeAll(d, data, out); n != benchCount {
			b.Fatal(n)
		}
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/benchCount, "ns/line")
}

// scanAll is the plain way with the standard library.
func scanAll(data []byte) (n int, sum float64) {
	s := bufio.NewScanner(bytes.NewReader(data))
	for s.Scan() {
		f, err := strconv.ParseFloat(s.Text(), 64)
		if err == nil {
			sum += f
			n++
		}
	}
	return n, sum
}

// BenchmarkAgainstScanner reads the same bytes in turn, in one run, and
// compares the best time of each, so that the ratio hardly depends on what else
// the machine does: above one, the decoder is the faster.
func BenchmarkAgainstScanner(b *testing.B) {
	data, d, out := benchLines(benchCount), plainDecoder(), &wire.Out{}
	ours, theirs := time.Hour, time.Hour
	for b.Loop() {
		t0 := time.Now()
		n := decodeAll(d, data, out)
		t1 := time.Now()
		m, _ := scanAll(data)
		ours, theirs = min(ours, t1.Sub(t0)), min(theirs, time.Since(t1))
		if n != benchCount || m != benchCount {
			b.Fatal(n, m)
		}
	}
	b.ReportMetric(float64(theirs)/float64(ours), "scanner/ours")
	b.ReportMetric(float64(ours.Nanoseconds())/benchCount, "ns/line")
	b.ReportMetric(float64(theirs.Nanoseconds())/benchCount, "ns/scanned-line")
}

func TestAReadingCostsNoAllocation(t *testing.T) {
	for _, c := range []struct {
		format string
		line   string
	}{
		{"plain", "10.668\r\n"}, {"unit-behind", "+0.4200 in OK\r\n"}, {"channel", "01A+0.420\r"}, {"comma", "10,668 mm\n"},
		{"counts-lift-checked", "$710,10.668mm*0D\r\n"}, {"angle-lift", "106.5,10.668 mm\r\n"}, {"framed", "\x02+10.668 mm\x03"},
		{"microns", "10668\n"}, {"plain", "garbage\r\n"}, {"sign-behind", "0.4200- in\r\n"},
	} {
		format, err := (&formats.Set{}).Named(c.format)
		if err != nil {
			t.Fatal(err)
		}
		d, out := lines.NewDecoder(format, lines.Options{Crank: corpus.Crank{}}), &wire.Out{}
		whole, half := wire.Chunk{Bytes: []byte(c.line + c.line)}, wire.Chunk{Bytes: []byte(c.line)[:3]}
		rest := wire.Chunk{Bytes: []byte(c.line)[3:]}
		got := testing.AllocsPerRun(200, func() {
			out.Reset()
			d.Decode(whole, out)
			d.Decode(half, out)
			d.Decode(rest, out)
		})
		if got != 0 {
			t.Errorf("%s: %v allocations a run", c.format, got)
		}
		if c.line != "garbage\r\n" && len(out.Readings) != 3 {
			t.Errorf("%s: %d readings of three lines, refused %+v", c.format, len(out.Readings), out.Refused)
		}
	}
}
