package tracefile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

const both = measure.HasLift | measure.HasAngle

func TestCSV(t *testing.T) {
	got, err := Read(strings.NewReader("\xef\xbb\xbft_s, lift_mm ,\"angle_deg\",remark\r\n" +
		"# a comment, passed over\r\n" +
		"-0.5,10.668,106.5,\"a, \"\"b\"\"\r\nsecond line\"\r\n" +
		"\r\n,,,\r\n" +
		"0.000001,,-0.15,x\r\n" +
		" 1.25 ,-0.00127,,\r\n" +
		"2e-0,+1.5E1,1e-6,"))
	require.NoError(t, err)
	assert.Equal(t, []measure.Reading{
		{At: -500_000, Lift: 10_668_000, Angle: 106_500_000, Has: both},
		{At: 1, Angle: -150_000, Has: measure.HasAngle},
		{At: 1_250_000, Lift: -1270, Has: measure.HasLift},
		{At: 2_000_000, Lift: 15_000_000, Angle: 1, Has: both},
	}, got.Readings)
}

func TestOtherUnitsAreExact(t *testing.T) {
	for text, want := range map[string]measure.Reading{
		"t_s,lift_in\n1,0.42":                        {At: 1e6, Lift: 10_668_000, Has: measure.HasLift},
		"T_S,LIFT_IN\n1,0.00005":                     {At: 1e6, Lift: 1270, Has: measure.HasLift},
		"lift_thou,t_ms\n-420.05,1000.5":             {At: 1_000_500, Lift: -10_669_270, Has: measure.HasLift},
		"t_us,lift_um\n7,1.5":                        {At: 7, Lift: 1500, Has: measure.HasLift},
		"t_s,lift_mm\n0.0000005,0.0000004":           {At: 1, Lift: 0, Has: measure.HasLift},
		"t_s,angle_deg\n1,720":                       {At: 1e6, Angle: 720e6, Has: measure.HasAngle},
		"t_s,sweep_in\n1,0.42":                       {At: 1e6, Sweep: 10_668_000, Has: measure.HasSweep},
		"t_s,sweep_mm,lift_mm\n1,2.5,-1":             {At: 1e6, Lift: -1e6, Sweep: 2_500_000, Has: measure.HasLift | measure.HasSweep},
		`{"t_s":1,"sweep_um":3}`:                     {At: 1e6, Sweep: 3000, Has: measure.HasSweep},
		`{"t_s":1,"lift_in":0.42}`:                   {At: 1e6, Lift: 10_668_000, Has: measure.HasLift},
		`{"angle_deg" : 1e1 , "t_s":1,"who":[1,{}]}`: {At: 1e6, Angle: 10e6, Has: measure.HasAngle},
		"\n\n {\"t_s\":1,\"lift_mm\":null}\n":        {At: 1e6},
	} {
		got, err := Read(strings.NewReader(text))
		require.NoError(t, err, text)
		assert.Equal(t, []measure.Reading{want}, got.Readings, text)
	}
}

// Every fault says where it is and what to do.
func TestFaults(t *testing.T) {
	const h = "t_s,lift_mm\n"
	for text, says := range map[string]string{
		"":                                    "the file is empty; a trace begins with",
		" \r\n\n":                             "the file is empty",
		h:                                     "no readings in it, only a header",
		`{"trace":{}}`:                        "no readings in it",
		h + "1,NaN\n":                         "line 2: lift_mm is NaN; leave the cell empty",
		h + "1,1\n2,-Inf\n":                   "line 3: lift_mm is -Inf",
		h + "1,1\n0.5,1\n":                    "line 3: the time 0.5 s is before the 1 s of line 2; readings must be in order",
		h + "1,1\n\n1,2\n":                    "line 4: all readings have the time 1 s",
		h + "1,1\n1,2\n2,3\n2,4\n1.9,5\n":     "line 6: the time 1.9 s is before the 2 s of line 5",
		h + "1,1,1\n":                         "line 2: the row has 3 cells, the header 2",
		h + "1\n":                             "line 2: the row has 1 cells, the header 2",
		h + "\"1\",\"2\",3\n":                 "line 2: the row has 3 cells",
		h + "1,1.5\n2,\"1,5\"\n":              "write decimals with a point",
		h + "1,\"1\n\n":                       "line 2: a quote is opened and never closed",
		h + "1,wide\n":                        `line 2: lift_mm is "wide", which is not a number`,
		h + "1,1.2.3\n":                       "not a number",
		h + "1,1e\n":                          "not a number",
		h + "1,1e9999\n":                      "too large",
		h + "1,9999999999999999999999\n":      "too large for any bench",
		h + ",5\n":                            "line 2: the row has no time",
		"0.01,1.27\n0.02,1.28\n":              "line 1: the header row is missing",
		"time,lift_mm\n1,1\n":                 `line 1: there is no column t_s (time in seconds); "time" looks like it`,
		"t_s,lift\n1,1\n":                     `neither a column lift_mm (millimetres; lift_in and lift_thou are taken too) nor angle_deg nor sweep_mm; "lift" looks like it`,
		"a,b\n1,1\n":                          `the first row is "a,b"`,
		"t_s,lift_mm,lift_in\n1,1,1\n":        "two columns for the same: lift_mm and lift_in",
		"t_s;lift\n0,01;1,27\n":               "neither a column lift_mm",
		"t_s;lift_mm\n0,01;1.234,5\n":         "is not a number",
		"\xff\xfet\x00_\x00s\x00":             "UTF-16; save it as UTF-8",
		"\x00t\x00_\x00s\x00,\x00l\x00i\x00":  "UTF-16",
		"\x1f\x8b\x08\x00":                    "unpack it",
		"\x7fELF\x02\x01\x01\x00":             "not text",
		"[{\"t_s\":1}]":                       "one JSON array; write one object a line",
		`{"t_s":1,"lift_mm":NaN}`:             "line 1: NaN is no number in JSON",
		"{\"t_s\":1,\"lift_mm\":1}\n{\"t_s\"": "line 2: this is not JSON",
		"{\"t_s\":1}\n7":                      "line 2: this is not a JSON object",
		"{}":                                  "the object is empty",
		`{"lift_mm":1}`:                       "there is no t_s (time in seconds)",
		`{"t_s":"1"}`:                         "not a number",
		`{"t_s":1,"lift_mm":1,"lift_in":1}`:   "gives the same twice, as lift_mm and lift_in",
		`{"note":5}`:                          "the note does not read",
		`{"trace":[]}`:                        "does not read",
		h + strings.Repeat("1", 70_000):       "line 2: the line is longer than 64 KB",
		h + strings.Repeat("1", 300_000):      "line 2: the line is longer than 64 KB",
	} {
		for _, r := range []io.Reader{strings.NewReader(text), iotest.OneByteReader(strings.NewReader(text))} {
			_, err := ReadNamed(r, "x.csv")
			short := text[:min(len(text), 80)]
			require.Error(t, err, "%q", short)
			var f *Fault
			require.ErrorAs(t, err, &f, "%q", short)
			assert.Contains(t, err.Error(), says, "%q", short)
			assert.Contains(t, err.Error(), "x.csv")
			assert.NotContains(t, err.Error(), "\n")
		}
	}
}

func TestFilesThatAreNotThere(t *testing.T) {
	_, err := ReadFile(filepath.Join(t.TempDir(), "no.csv"))
	require.ErrorContains(t, err, "no.csv: there is no such file")
	_, err = ReadFile(t.TempDir())
	require.ErrorContains(t, err, "it is a folder")
	broken := errors.New("the stick was pulled")
	_, err = Read(io.MultiReader(strings.NewReader("t_s,lift_mm\n1,2\n"), iotest.ErrReader(broken)))
	require.ErrorIs(t, err, broken)
}

func TestSameTime(t *testing.T) {
	got, err := Read(strings.NewReader("t_s,lift_mm,angle_deg\n1,1,\n1,,5\n"))
	require.NoError(t, err, "two instruments may speak at once")
	assert.Len(t, got.Readings, 2)
	got, err = Read(strings.NewReader("t_s,lift_mm,reading\n1,1,0\n1,1,1\n"))
	require.NoError(t, err, "numbered readings are meant")
	assert.Len(t, got.Readings, 2)
}

func TestAPauseBecomesAGap(t *testing.T) {
	var b strings.Builder
	b.WriteString("t_s,lift_mm\n")
	for i := range 40 {
		at := float64(i) * 0.02
		if i >= 30 {
			at += 3
		}
		fmt.Fprintf(&b, "%.2f,0\n", at)
	}
	got, err := Read(strings.NewReader(b.String()))
	require.NoError(t, err)
	assert.Len(t, got.Readings, 40)
	require.Len(t, got.Notes, 1)
	assert.Equal(t, measure.Note{At: 580_000, Until: 3_600_000, Kind: measure.NoteGap, Says: "no readings for 3.02 s"}, got.Notes[0])

	// One reading in two seconds is slow, and no gap.
	b.Reset()
	b.WriteString("t_s,lift_mm\n")
	for i := range 40 {
		fmt.Fprintf(&b, "%d,0\n", 2*i)
	}
	got, err = Read(strings.NewReader(b.String()))
	require.NoError(t, err)
	assert.Empty(t, got.Notes)
}

func anyTrace() *rapid.Generator[measure.Trace] {
	return rapid.Custom(func(t *rapid.T) measure.Trace {
		big := rapid.Int64Range(-1e18+1, 1e18-1)
		number := rapid.OneOf(big, rapid.Int64Range(-2000, 2000), rapid.Map(rapid.Int64Range(-9999, 9999), func(v int64) int64 { return v * 2540 }))
		var tr measure.Trace
		at := rapid.Int64Range(-1e9, 1e9).Draw(t, "start")
		for range rapid.IntRange(1, 200).Draw(t, "n") {
			r := measure.Reading{At: measure.Stamp(at), Has: measure.Has(rapid.IntRange(0, int(measure.HasAll)).Draw(t, "has"))}
			if r.Has&measure.HasLift != 0 {
				r.Lift = measure.Length(number.Draw(t, "lift"))
			}
			if r.Has&measure.HasAngle != 0 {
				r.Angle = measure.Angle(number.Draw(t, "angle"))
			}
			if r.Has&measure.HasSweep != 0 {
				r.Sweep = measure.Length(number.Draw(t, "sweep"))
			}
			tr.Readings = append(tr.Readings, r)
			at += rapid.OneOf(rapid.Just(int64(10_000)), rapid.Int64Range(0, 3), rapid.Int64Range(0, 5e6)).Draw(t, "step")
		}
		return tr
	})
}

// What is written comes back: to the nanometre, microdegree and microsecond.
func TestRoundTripCSV(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyTrace().Draw(t, "trace")
		var b bytes.Buffer
		require.NoError(t, Write(&b, in, CSV))
		out, err := Read(&b)
		require.NoError(t, err)
		require.Equal(t, in.Readings, out.Readings)
	})
}

func TestRoundTripJSONLines(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyTrace().Draw(t, "trace")
		in.Resolution = measure.Length(rapid.Int64Range(0, 1e6).Draw(t, "resolution"))
		in.AngleStep = measure.Angle(rapid.Int64Range(0, 1e6).Draw(t, "step"))
		for range rapid.IntRange(0, 5).Draw(t, "notes") {
			n := measure.Note{
				At:   measure.Stamp(rapid.Int64Range(-2e9, 2e9).Draw(t, "at")),
				Kind: rapid.SampledFrom([]measure.NoteKind{measure.NoteGap, measure.NoteMark, "later kind"}).Draw(t, "kind"),
				Says: rapid.String().Draw(t, "says"),
			}
			if n.Kind == measure.NoteGap {
				n.Until = n.At + 5
			}
			in.Notes = append(in.Notes, n)
		}
		var b bytes.Buffer
		require.NoError(t, Write(&b, in, JSONLines))
		out, err := Read(bytes.NewReader(b.Bytes()))
		require.NoError(t, err)
		require.Equal(t, in, out)
	})
}

func TestTooLargeToBeReadAgainIsNotWritten(t *testing.T) {
	var b bytes.Buffer
	err := Write(&b, measure.Trace{Readings: []measure.Reading{{At: 1, Lift: 2e18, Has: measure.HasLift}}}, CSV)
	require.ErrorContains(t, err, "too large")
}

// The oracle of the quick path and of the exponents is big.Rat.
func TestNumberAgreesWithRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringMatching(`[+-]?[0-9]{1,8}(\.[0-9]{0,9})?([eE][+-]?[0-9])?`).Draw(t, "text")
		unit := rapid.SampledFrom(columns).Draw(t, "column").unit
		got, err := number([]byte(text), unit)
		exact, ok := new(big.Rat).SetString(text)
		require.True(t, ok, text)
		exact.Mul(exact, new(big.Rat).SetInt64(unit))
		want, _ := new(big.Int).SetString(exact.FloatString(0), 10) // rounds half away from zero
		if err != nil {
			require.ErrorIs(t, err, measure.ErrOutOfRange)
			require.Greater(t, new(big.Int).Abs(want).BitLen(), 60, text)
			return
		}
		require.Equal(t, want.Int64(), got, text)
	})
}

func TestParseFormat(t *testing.T) {
	for text, want := range map[string]Format{"csv": CSV, " CSV": CSV, "jsonl": JSONLines, "ndjson": JSONLines, "Parquet": Parquet} {
		got, err := ParseFormat(text)
		require.NoError(t, err)
		assert.Equal(t, want, got)
	}
	_, err := ParseFormat("xml")
	require.ErrorContains(t, err, "write csv, jsonl or parquet")
	assert.Equal(t, "csv", CSV.String())
	assert.Equal(t, "jsonl", JSONLines.String())
}

// repeated gives a header and then a made-up row for ever smaller n.
type repeated struct {
	header string
	row    func(dst []byte, i int) []byte
	n, i   int
	rest   []byte
	buf    []byte
}

func (r *repeated) Read(b []byte) (int, error) {
	if len(r.rest) == 0 {
		r.buf = append(r.buf[:0], r.header...)
		r.header = ""
		for len(r.buf) < 32<<10 && r.i < r.n {
			r.buf = r.row(r.buf, r.i)
			r.i++
		}
		r.rest = r.buf
	}
	if len(r.rest) == 0 {
		return 0, io.EOF
	}
	n := copy(b, r.rest)
	r.rest = r.rest[n:]
	return n, nil
}

func csvRows(dst []byte, i int) []byte {
	dst = append(appendMillionths(dst, int64(i)*10_007), ',')
	dst = append(appendMillionths(dst, int64(i%840)*12_700), ',')
	return append(appendMillionths(dst, int64(i)*150_000), '\n')
}

func TestTenMillionLinesInBoundedMemory(t *testing.T) {
	if testing.Short() {
		t.Skip("ten million lines take seconds")
	}
	const n = 10_000_000
	rd, err := NewReader(&repeated{header: "t_s,lift_mm,angle_deg\n", row: csvRows, n: n}, Options{})
	require.NoError(t, err)
	count := 0
	var last measure.Reading
	got := testing.AllocsPerRun(1, func() {
		for {
			batch, err := rd.Next()
			if err == io.EOF {
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			count += len(batch)
			last = batch[len(batch)-1]
		}
	})
	assert.Equal(t, n, count)
	assert.Equal(t, measure.Stamp(n-1)*10_007, last.At)
	assert.Less(t, got, 1000.0, "nothing is allocated per line")
}

func FuzzRead(f *testing.F) {
	if seeds, err := filepath.Glob("testdata/fuzz/FuzzRead/*"); err != nil || len(seeds) == 0 {
		f.Fatalf("the committed corpus is missing: %v", err)
	}
	for _, s := range []string{
		"t_s,lift_mm\n1,2\n", "t_s,lift_mm,angle_deg\n1,,3\n", "{\"t_s\":1,\"lift_mm\":2}\n",
		"t_s,x,lift_in\n1,\"a\nb\",2e-3\n", "{\"note\":{\"t_s\":1,\"kind\":\"gap\",\"until_s\":2}}\n{\"t_s\":1}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		tr, err := Read(bytes.NewReader(b))
		slow, err2 := Read(iotest.OneByteReader(bytes.NewReader(b)))
		if fmt.Sprint(err) != fmt.Sprint(err2) || fmt.Sprint(tr) != fmt.Sprint(slow) {
			t.Fatalf("how the bytes arrive matters: %v, %v", err, err2)
		}
		quick, err := readThrough(b, true)
		long, err2 := readThrough(b, false)
		if fmt.Sprint(err) != fmt.Sprint(err2) || fmt.Sprint(quick) != fmt.Sprint(long) {
			t.Fatalf("the quick way reads otherwise than the long one: %v, %v", err, err2)
		}
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Fatalf("an error of two lines: %q", err)
			}
			return
		}
		for _, format := range []Format{CSV, JSONLines} {
			var out bytes.Buffer
			if err := Write(&out, tr, format); err != nil {
				return // a number of 19 digits after rounding
			}
			again, err := Read(&out)
			if err != nil {
				t.Fatalf("%s: written and not read: %v", format, err)
			}
			if fmt.Sprint(again.Readings) != fmt.Sprint(tr.Readings) {
				t.Fatalf("%s: %v, then %v", format, tr.Readings, again.Readings)
			}
			if format == JSONLines && fmt.Sprint(again.Notes) != fmt.Sprint(tr.Notes) {
				t.Fatalf("notes: %v, then %v", tr.Notes, again.Notes)
			}
		}
	})
}

func TestCorpusIsNotEmpty(t *testing.T) {
	files, err := os.ReadDir("testdata/fuzz/FuzzRead")
	require.NoError(t, err)
	require.NotEmpty(t, files)
}
