package bytelog

import (
	"bytes"
	"errors"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

func readAll(t require.TestingT, text string) (all []Entry, err error) {
	r, err := NewReader(strings.NewReader(text))
	if err != nil {
		return nil, err
	}
	for {
		e, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all, nil
		}
		if err != nil {
			return all, err
		}
		all = append(all, e)
	}
}

func TestARecordingAsWritten(t *testing.T) {
	var b bytes.Buffer
	w := NewWriter(&b, "serial:/dev/ttyUSB0?baud=9600\nthe indicator")
	require.NoError(t, w.Bytes(7_000_000, []byte("0.4200 in\r\n\xff\x00µ\"\\")))
	require.NoError(t, w.Mark(9_500_000, Lost))
	require.NoError(t, w.Mark(9_500_001, Opened))
	require.NoError(t, w.Flush())
	assert.Equal(t, `lobescribe bytes 1
# serial:/dev/ttyUSB0?baud=9600
# the indicator
0.000000 "0.4200 in\r\n\xff\x00\u00b5\"\\"
2.500000 lost
2.500001 opened
`, b.String())
	got, err := readAll(t, b.String())
	require.NoError(t, err)
	assert.Equal(t, []Entry{
		{Bytes: []byte("0.4200 in\r\n\xff\x00µ\"\\")},
		{At: 2_500_000, Kind: Lost},
		{At: 2_500_001, Kind: Opened},
	}, got)
}

// Any bytes at any times come back as they were, but that a long read is
// parted.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		origin := measure.Stamp(rapid.Int64Range(-1e12, 1e12).Draw(t, "origin"))
		var b bytes.Buffer
		w := NewWriter(&b, rapid.String().Draw(t, "about"))
		var want []byte
		var times []measure.Stamp
		at := measure.Stamp(0)
		for i, chunk := range rapid.SliceOf(rapid.SliceOfN(rapid.Byte(), 1, 6000)).Draw(t, "chunks") {
			if i > 0 {
				at += measure.Stamp(rapid.Int64Range(0, 1e9).Draw(t, "pause"))
			}
			require.NoError(t, w.Bytes(origin+at, chunk))
			want = append(want, chunk...)
			for range (len(chunk) + maxChunk - 1) / maxChunk {
				times = append(times, at)
			}
		}
		require.NoError(t, w.Flush())
		got, err := readAll(t, b.String())
		require.NoError(t, err)
		var bytes []byte
		var gotTimes []measure.Stamp
		for _, e := range got {
			bytes = append(bytes, e.Bytes...)
			gotTimes = append(gotTimes, e.At)
		}
		assert.Equal(t, want, bytes)
		assert.Equal(t, times, gotTimes)
	})
}

func TestWhatIsNoRecordingIsToldSo(t *testing.T) {
	for text, says := range map[string]string{
		"":                               "it should begin with",
		"t_s,lift_mm\n0,1\n":             "it should begin with",
		"lobescribe bytes 2\n":           "version 2 is not known here",
		head + "\nx":                     `line 2: "x": expected seconds`,
		head + "\n\n# x\n1.0 found":      `line 4: "found" is neither`,
		head + "\n-1 \"a\"":              `"-1" is no time`,
		head + "\n1.0000001 \"a\"":       "to the microsecond",
		head + "\n999999999999999 \"a\"": "too late",
		head + "\n1 \"a":                 "not rightly quoted",
		head + "\n2 \"a\"\n1 \"b\"":      "line 3: the time goes back",
		head + "\n1 \"" + strings.Repeat("a", MaxLine): "line 2: bufio.Scanner: token too long",
		strings.Repeat("a", 2*MaxLine):                 "it should begin with",
	} {
		_, err := readAll(t, text)
		require.Error(t, err, clip(text))
		assert.ErrorContains(t, err, says)
	}
}

func FuzzReader(f *testing.F) {
	f.Add(head + "\n# x\n0.016000 \"0.4200 in\\r\\n\"\n2.5 lost\n3 opened\n")
	f.Add("lobescribe bytes 2\n")
	f.Fuzz(func(t *testing.T, text string) {
		all, err := readAll(t, text)
		if err != nil {
			return
		}
		// What was understood can be written and read again. The first entry
		// becomes the origin.
		var b bytes.Buffer
		w := NewWriter(&b, "")
		for _, e := range all {
			if e.Kind == Bytes {
				w.Bytes(e.At, e.Bytes)
			} else {
				w.Mark(e.At, e.Kind)
			}
		}
		if err := w.Flush(); err != nil {
			t.Fatal(err)
		}
		if _, err := readAll(t, b.String()); err != nil {
			t.Fatalf("written again it is refused: %v", err)
		}
	})
}
