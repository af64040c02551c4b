package device

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/address"
	"lobescribe/device/internal/corpus"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

const recordings = "../testdata/device"

// played is what came out of a decoder, without times.
type played struct {
	readings   []measure.Reading
	notes      []measure.NoteKind
	conditions []string
	refused    wire.Refused
}

// play hands b to d, cut after each of the sizes in turn.
func play(d Decoder, b []byte, sizes []int) (p played) {
	var out wire.Out
	at, i := measure.Stamp(0), 0
	for len(b) > 0 {
		n := len(b)
		if len(sizes) > 0 {
			n = min(n, max(1, sizes[i%len(sizes)]))
			i++
		}
		at += measure.Stamp(n) * 5 * measure.Millisecond
		out.Reset()
		chunk := slices.Clone(b[:n])
		d.Decode(wire.Chunk{Bytes: chunk, At: at, ByteTime: 1_000_000}, &out)
		for j := range chunk {
			chunk[j] = '7' // what was handed in is not to be kept
		}
		b = b[n:]
		for _, r := range out.Readings {
			r.At = 0
			p.readings = append(p.readings, r)
		}
		for _, n := range out.Notes {
			p.notes = append(p.notes, n.Kind)
		}
		for _, c := range out.Conditions {
			p.conditions = append(p.conditions, c.Says)
		}
		p.refused = p.refused.Plus(out.Refused)
	}
	return p
}

func decoderOf(t interface {
	require.TestingT
	Helper()
}, query string) Decoder {
	t.Helper()
	a, err := address.Parse("serial:x?" + query)
	require.NoError(t, err)
	d, err := MakeDecoder(a, Options{})
	require.NoError(t, err)
	return d
}

// texts prints readings a line each, so that a difference can be read.
func texts(readings []measure.Reading) string {
	var b strings.Builder
	for _, r := range readings {
		fmt.Fprintln(&b, r.Has, r.Lift, r.Angle)
	}
	return b.String()
}

func want(c corpus.Case) played {
	return played{c.Readings, c.Notes, c.Conditions, c.Refused}
}

func TestRecordings(t *testing.T) {
	for _, c := range corpus.Load(t, recordings) {
		t.Run(c.Name, func(t *testing.T) {
			for _, sizes := range [][]int{nil, {1}, {2}, {7, 1, 3}} {
				got, want := play(decoderOf(t, c.Query), c.Bytes, sizes), want(c)
				assert.Equal(t, texts(want.readings), texts(got.readings), "cut at %v", sizes)
				got.readings, want.readings = nil, nil
				assert.Equal(t, want, got, "cut at %v", sizes)
			}
		})
	}
}

func TestRecordingsFoundByListening(t *testing.T) {
	tried := 0
	for _, c := range corpus.Load(t, recordings) {
		if c.Auto == nil {
			continue
		}
		tried++
		t.Run(c.Name, func(t *testing.T) {
			d := decoderOf(t, *c.Auto)
			got := play(d, c.Bytes, []int{5, 3})
			found := d.Found()
			t.Logf("%s", found.Says)
			assert.True(t, found.Settled)
			assert.Equal(t, texts(c.Readings), texts(got.readings), "those it listened to are among them; found %s", found.Says)
		})
	}
	assert.GreaterOrEqual(t, tried, 14)
}

func TestEveryBuiltInFormatHasARecording(t *testing.T) {
	have := map[string]bool{}
	for _, c := range corpus.Load(t, recordings) {
		have[c.Name] = true
	}
	formats := formats.BuiltIn()
	require.NotEmpty(t, formats)
	for _, f := range formats {
		assert.NoError(t, f.Validate())
		assert.True(t, have[f.Name], "no recording of format %s", f.Name)
	}
}

// However the bytes are cut, the readings are the same.
func TestAnySplitGivesTheSame(t *testing.T) {
	cases := corpus.Load(t, recordings)
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.SampledFrom(cases).Draw(t, "recording")
		sizes := rapid.SliceOfN(rapid.IntRange(1, 40), 1, 30).Draw(t, "cuts")
		query := c.Query
		if c.Auto != nil && rapid.Bool().Draw(t, "auto") {
			query = *c.Auto
		}
		whole := play(decoderOf(t, query), c.Bytes, []int{1})
		cut := play(decoderOf(t, query), c.Bytes, sizes)
		assert.Equal(t, whole.readings, cut.readings)
		assert.Equal(t, whole.conditions, cut.conditions)
		if query == c.Query { // a finder may have met the lines in other portions
			assert.Equal(t, whole, cut)
		}
	})
}

// Noise between good lines is never a reading, and takes none away.
func TestNoiseIsNeverAReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var b []byte
		var want []measure.Reading
		b = append(b, "tail\r\n"...)
		lift := measure.Length(0)
		for range rapid.IntRange(1, 60).Draw(t, "lines") {
			if rapid.IntRange(0, 3).Draw(t, "noise?") == 0 {
				b = append(b, noise(t)...)
				b = append(b, rapid.SampledFrom([]string{"\r", "\n", "\r\n"}).Draw(t, "end")...)
			}
			lift += measure.Length(rapid.Int64Range(-2000, 2000).Draw(t, "step")) * measure.Micrometre
			b = fmt.Appendf(b, "%s mm\r\n", lift.Decimal(measure.InMillimetres, 3))
			want = append(want, measure.Reading{Lift: lift, Has: measure.HasLift})
		}
		got := play(decoderOf(t, "format=unit-behind"), b, rapid.SliceOfN(rapid.IntRange(1, 30), 1, 5).Draw(t, "cuts"))
		assert.Equal(t, texts(want), texts(got.readings))
	})
}

// noise draws a line that no instrument would print for a reading in mm: bytes
// of a wrong speed, text, a number without its unit, a number too long.
func noise(t *rapid.T) []byte {
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		b := rapid.SliceOfN(rapid.Byte(), 1, 300).Draw(t, "bytes")
		for i := range b {
			if b[i] == '\r' || b[i] == '\n' {
				b[i] = 0xff
			}
		}
		return append([]byte("\x80"), b...)
	case 1:
		return []byte(rapid.StringMatching(`[A-Za-z:;,_]{1,40}`).Draw(t, "text"))
	case 2:
		return []byte(rapid.StringMatching(`-?[0-9]{1,12}(\.[0-9]{0,6})?`).Draw(t, "no unit"))
	case 3:
		return []byte(strings.Repeat(rapid.StringMatching(`[0-9]`).Draw(t, "digit"), rapid.IntRange(20, 400).Draw(t, "digits")) + " mm")
	}
	return make([]byte, rapid.IntRange(0, 200).Draw(t, "NULs"))
}
