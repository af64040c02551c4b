package tracefile

import (
	"bytes"
	"errors"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

// What is written comes back, with all that is said beside the readings.
func TestRoundTripParquet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		in := anyTrace().Draw(t, "trace")
		in.Resolution = measure.Length(rapid.Int64Range(0, 1e6).Draw(t, "resolution"))
		in.AngleStep = measure.Angle(rapid.Int64Range(0, 1e6).Draw(t, "step"))
		for range rapid.IntRange(0, 3).Draw(t, "notes") {
			in.Notes = append(in.Notes, measure.Note{At: measure.Stamp(rapid.Int64Range(-2e9, 2e9).Draw(t, "at")),
				Kind: measure.NoteMark, Says: rapid.String().Draw(t, "says")})
		}
		about := About{Engine: rapid.String().Draw(t, "engine"), Valve: "3E", Trial: "2", Remark: "with \"quotes\"\nand lines", Source: "live",
			Started:  time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "started"), 123_456_789).UTC(),
			Devices:  []Instrument{{Role: "indicator", Address: "serial:/dev/ttyUSB0?baud=9600&format=plain", Format: "plain"}},
			CutShort: rapid.Bool().Draw(t, "cut short")}
		var b bytes.Buffer
		w := NewWriter(&b, WriterOptions{Format: Parquet, Sweep: true, Notes: in.Notes, Resolution: in.Resolution, AngleStep: in.AngleStep, About: about})
		for rest := in.Readings; len(rest) > 0; {
			n := rapid.IntRange(1, len(rest)).Draw(t, "batch")
			require.NoError(t, w.Write(rest[:n]))
			rest = rest[n:]
		}
		require.NoError(t, w.Close())
		for _, r := range []io.Reader{bytes.NewReader(b.Bytes()), iotest.HalfReader(bytes.NewReader(b.Bytes()))} { // read in place, and put down first
			out, said, err := ReadAbout(r, Options{})
			require.NoError(t, err)
			require.Equal(t, in, out)
			require.Equal(t, about, said)
		}
	})
}

// Tables of somebody else: other units and floating numbers, further columns.
func TestParquetOfOthers(t *testing.T) {
	type row struct {
		Remark string   `parquet:"remark"`
		T      float64  `parquet:"t_s"`
		Lift   *float32 `parquet:"lift_in,optional"`
		Angle  int32    `parquet:"angle_deg"`
	}
	lift := float32(0.42)
	var b bytes.Buffer
	require.NoError(t, parquet.Write(&b, []row{{"a", -0.5, &lift, 106}, {"b", 1.000001, nil, -7}}))
	got, err := Read(&b)
	require.NoError(t, err)
	assert.Equal(t, []measure.Reading{
		// 0.42 as a float32 is 0.4199999868869781 (IEEE 754), times 25.4 mm.
		{At: -500_000, Lift: 10_668_000, Angle: 106_000_000, Has: both},
		{At: 1_000_001, Angle: -7_000_000, Has: measure.HasAngle},
	}, got.Readings)
}

func parquetOf[T any](t *testing.T, rows ...T) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, parquet.Write(&b, rows))
	return b.Bytes()
}

func TestParquetFaults(t *testing.T) {
	type plain struct {
		T    int64   `parquet:"t_us"`
		Lift float64 `parquet:"lift_mm"`
	}
	good := parquetOf(t, plain{1, 2}, plain{2, 3})
	for says, file := range map[string][]byte{
		"row 2: the time 0.000001 s is before the 0.000005 s of row 1": parquetOf(t, plain{5, 1}, plain{1, 1}),
		"row 2: all readings have the time 0.000005 s":                 parquetOf(t, plain{5, 1}, plain{5, 1}),
		`row 1: lift_mm is NaN; leave the cell empty`:                  parquetOf(t, plain{5, math.NaN()}),
		"too large for any bench":                                      parquetOf(t, plain{5, 1e300}),
		"there are no readings in it":                                  parquetOf[plain](t),
		"hurt or not whole":                                            good[:len(good)-9],
		`there is no column t_s (time in seconds); "time" looks like it`: parquetOf(t, struct {
			Time float64 `parquet:"time"`
			Lift float64 `parquet:"lift_mm"`
		}{}),
		`neither a column lift_mm`: parquetOf(t, struct {
			T float64 `parquet:"t_s"`
		}{}),
		"two columns for the same: lift_mm and lift_nm": parquetOf(t, struct {
			T float64 `parquet:"t_s"`
			A float64 `parquet:"lift_mm"`
			B int64   `parquet:"lift_nm"`
		}{}),
		"the column lift_mm holds BYTE_ARRAY": parquetOf(t, struct {
			T    int64  `parquet:"t_us"`
			Lift string `parquet:"lift_mm"`
		}{}),
		"the column t_us holds TIMESTAMP": parquetOf(t, struct {
			T    time.Time `parquet:"t_us,timestamp(microsecond)"`
			Lift int64     `parquet:"lift_nm"`
		}{}),
		"the column lift_mm holds lists": parquetOf(t, struct {
			T    int64   `parquet:"t_us"`
			Lift []int64 `parquet:"lift_mm"`
		}{}),
		"row 1: the row has no time": parquetOf(t, struct {
			T    *int64 `parquet:"t_us,optional"`
			Lift int64  `parquet:"lift_nm"`
		}{}),
	} {
		for _, r := range []io.Reader{bytes.NewReader(file), iotest.OneByteReader(bytes.NewReader(file))} {
			_, err := ReadNamed(r, "x.parquet")
			var f *Fault
			require.ErrorAs(t, err, &f, says)
			assert.Contains(t, err.Error(), says)
			assert.Contains(t, err.Error(), "x.parquet")
			assert.NotContains(t, err.Error(), "\n")
		}
	}
	w := NewWriter(io.Discard, WriterOptions{Format: Parquet})
	require.ErrorContains(t, w.Write([]measure.Reading{{Lift: 2e18}}), "too large")
	require.ErrorContains(t, w.Close(), "too large")
	w = NewWriter(io.Discard, WriterOptions{Format: Parquet})
	require.ErrorContains(t, w.Write([]measure.Reading{{Sweep: 1, Has: measure.HasSweep}}), "no column for it")
}

// A file that is cut or hurt anywhere is a fault or what it was, and never
// other readings; nothing is left behind in the folder for passing files.
func TestHurtParquet(t *testing.T) {
	there := t.TempDir()
	t.Setenv("TMPDIR", there)
	t.Setenv("TMP", there) // on Windows
	var in measure.Trace
	for i := range 300 {
		in.Readings = append(in.Readings, measure.Reading{At: measure.Stamp(i) * 10_007, Lift: measure.Length(i%84) * 12_700, Angle: measure.Angle(i) * 150_000, Has: both})
	}
	var b bytes.Buffer
	require.NoError(t, Write(&b, in, Parquet))
	faults, same := 0, 0
	check := func(file []byte, at int) {
		out, err := Read(io.MultiReader(bytes.NewReader(file)))
		if err == nil {
			same++
			require.Equal(t, in.Readings, out.Readings, "byte %d", at)
			return
		}
		var f *Fault
		require.ErrorAs(t, err, &f, "byte %d", at)
		faults++
	}
	for at := 4; at < b.Len(); at++ {
		check(b.Bytes()[:at], at)
		hurt := bytes.Clone(b.Bytes())
		hurt[at] ^= 0x41
		check(hurt, at)
	}
	t.Logf("%d bytes, each cut at and hurt: %d faults, %d as before", b.Len(), faults, same)
	assert.Greater(t, faults, same)
	left, err := filepath.Glob(filepath.Join(os.TempDir(), "*"))
	require.NoError(t, err)
	assert.Empty(t, left)
}

// Two million readings, 64 MB of them, are written and read with a few
// megabytes: the heap is looked at on the way. LOBESCRIBE_ROWS=10000000 takes
// longer and needs no more.
func TestParquetInBoundedMemory(t *testing.T) {
	n := 2_000_000
	if text := os.Getenv("LOBESCRIBE_ROWS"); text != "" {
		var err error
		n, err = strconv.Atoi(text)
		require.NoError(t, err)
	}
	most, looks := uint64(0), 0
	look := func() {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		most, looks = max(most, m.HeapAlloc), looks+1
	}
	look()
	before := most
	name := filepath.Join(t.TempDir(), "long.parquet")
	f, err := os.Create(name)
	require.NoError(t, err)
	w := NewWriter(f, WriterOptions{Format: Parquet})
	batch := make([]measure.Reading, 0, 4096)
	for i := range n {
		batch = append(batch, measure.Reading{At: measure.Stamp(i) * 10_007, Lift: measure.Length(i*i%84_000) * 127, Angle: measure.Angle(i) * 150_000, Has: both})
		if len(batch) == cap(batch) {
			require.NoError(t, w.Write(batch))
			batch = batch[:0]
		}
		if i%(n/10) == n/10-1 {
			look()
		}
	}
	require.NoError(t, w.Write(batch))
	require.NoError(t, w.Close())
	require.NoError(t, f.Close())

	f, err = os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	rd, err := NewReader(f, Options{})
	require.NoError(t, err)
	count, wrong := 0, 0
	for {
		got, err := rd.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		require.NoError(t, err)
		for _, r := range got {
			if r.At != measure.Stamp(count)*10_007 || r.Lift != measure.Length(count*count%84_000)*127 || r.Angle != measure.Angle(count)*150_000 || r.Has != both {
				wrong++
			}
			if count++; count%(n/10) == 0 {
				look()
			}
		}
	}
	require.NoError(t, rd.Close())
	assert.Equal(t, n, count)
	assert.Zero(t, wrong)
	info, err := os.Stat(name)
	require.NoError(t, err)
	t.Logf("%d readings in %d MB, %.2f bytes each; the heap grew by %.1f MB at most (%d looks)",
		n, info.Size()>>20, float64(info.Size())/float64(n), float64(most-before)/(1<<20), looks)
	assert.Less(t, most-before, uint64(16<<20), "a quarter of the readings")
}

func TestFormatOf(t *testing.T) {
	for name, want := range map[string]Format{"turn.parquet": Parquet, "a.b/Turn.CSV": CSV, "x.jsonl": JSONLines, "x.txt": Found, "parquet": Found, "": Found} {
		assert.Equal(t, want, FormatOf(name), name)
	}
	assert.Equal(t, "parquet", Parquet.String())
	assert.True(t, strings.HasPrefix(string(magic), "PAR"))
}

func BenchmarkWriteParquet(b *testing.B) {
	tr := measure.Trace{}
	for i := range 200_000 {
		tr.Readings = append(tr.Readings, measure.Reading{At: measure.Stamp(i) * 10_007, Lift: measure.Length(i%840) * 12_700, Angle: measure.Angle(i) * 150_000, Has: both})
	}
	for b.Loop() {
		if err := Write(io.Discard, tr, Parquet); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(200_000*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
}

func BenchmarkReadParquet(b *testing.B) {
	tr := measure.Trace{}
	for i := range 200_000 {
		tr.Readings = append(tr.Readings, measure.Reading{At: measure.Stamp(i) * 10_007, Lift: measure.Length(i%840) * 12_700, Angle: measure.Angle(i) * 150_000, Has: both})
	}
	var file bytes.Buffer
	require.NoError(b, Write(&file, tr, Parquet))
	for b.Loop() {
		if _, err := Read(bytes.NewReader(file.Bytes())); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(200_000*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
}
