package tracefile

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// What comes out is derived here: so many readings of one time share the time until
// the next evenly, the last ones that of the step before.
func TestReadingsOfOneTimeAreSpread(t *testing.T) {
	for name, c := range map[string]struct {
		in, out string // milliseconds
		spread  int
	}{
		"none":                     {"0 10 20 30", "0 10 20 30", 0},
		"two":                      {"0 10 10 20 30", "0 10 15 20 30", 1},
		"the first":                {"0 0 10 20", "0 5 10 20", 1},
		"the last":                 {"0 10 20 20", "0 10 20 25", 1},
		"bursts":                   {"0 0 0 0 100 100 100 100 200", "0 25 50 75 100 125 150 175 200", 6},
		"bursts of different size": {"0 0 30 40 40 40 40 60", "0 15 30 40 45 50 55 60", 4},
		// A pause of more than twenty usual steps and a second is a gap: what came
		// before it took no longer than usual (1.024 s at most for steps of 1 s).
		"before a pause": {"0 1000 2000 3000 4000 5000 6000 7000 8000 8000 108000",
			"0 1000 2000 3000 4000 5000 6000 7000 8000 8524.288 108000", 1},
	} {
		t.Run(name, func(t *testing.T) {
			for _, format := range []Format{CSV, JSONLines} {
				var b strings.Builder
				if format == CSV {
					b.WriteString("t_ms,lift_mm\n")
				}
				for i, at := range strings.Fields(c.in) {
					if format == CSV {
						fmt.Fprintf(&b, "%s,%d\n", at, i)
					} else {
						fmt.Fprintf(&b, `{"t_ms":%s,"lift_mm":%d}`+"\n", at, i)
					}
				}
				r, err := NewReader(strings.NewReader(b.String()), Options{})
				require.NoError(t, err)
				got, about, err := r.Whole()
				require.NoError(t, err)
				var out []string
				for i, x := range got.Readings {
					assert.Equal(t, measure.Length(i)*measure.Millimetre, x.Lift, "in the order of the file")
					out = append(out, fmt.Sprint(float64(x.At)/1000))
				}
				assert.Equal(t, strings.Fields(c.out), out)
				switch c.spread {
				case 0:
					assert.Empty(t, r.How())
				case 1:
					assert.Equal(t, "One reading has the time of the one before; it stands between that and the next", about.Remark)
				default:
					assert.Equal(t, fmt.Sprintf("%d readings have the time of the one before; they stand evenly between that and the next", c.spread), r.How())
				}
				if name == "before a pause" {
					require.Len(t, got.Notes, 1)
					assert.Equal(t, got.Readings[9].At, got.Notes[0].At/2+got.Readings[8].At/2, "the gap begins where the burst ends")
				}

				// What is written of it and read again is the same, to the microsecond.
				for _, format := range []Format{CSV, JSONLines, Parquet} {
					var again bytes.Buffer
					require.NoError(t, Write(&again, got, format))
					back, err := Read(&again)
					require.NoError(t, err)
					assert.Equal(t, got.Readings, back.Readings)
				}
			}
		})
	}
}

// An indicator and an encoder that each write a row keep together.
func TestInstrumentsOfOneTimeKeepTogether(t *testing.T) {
	got, err := Read(strings.NewReader("t_ms,lift_mm,angle_deg\n0,1,\n0,,5\n0,2,\n0,,6\n10,3,\n10,,7\n20,4,8\n"))
	require.NoError(t, err)
	var out []measure.Stamp
	for _, r := range got.Readings {
		out = append(out, r.At/measure.Millisecond)
	}
	assert.Equal(t, []measure.Stamp{0, 0, 5, 5, 10, 10, 20}, out)
}

// A clock of whole seconds at a thousand readings a second, over many batches, as a
// table of another program and as Parquet.
func TestBurstsOfAnyLength(t *testing.T) {
	const n, each = 60_000, 6000
	check := func(next func() ([]measure.Reading, error)) {
		seen := 0
		for {
			batch, err := next()
			if err != nil {
				break
			}
			for _, x := range batch {
				require.Equal(t, measure.Stamp(seen)*measure.Second/each, x.At, "reading %d", seen)
				require.Equal(t, measure.Length(seen)*measure.Micrometre, x.Lift)
				seen++
			}
		}
		assert.Equal(t, n, seen)
	}
	type row struct {
		T    int64 `parquet:"t_us"`
		Lift int64 `parquet:"lift_um"`
	}
	var b bytes.Buffer
	var rows []row
	b.WriteString("Time;Lift (um)\n")
	for i := range n {
		fmt.Fprintf(&b, "22:07:%02d;%d\n", i/each, i)
		rows = append(rows, row{int64(i/each) * 1_000_000, int64(i)})
	}
	for _, file := range [][]byte{b.Bytes(), parquetOf(t, rows...)} {
		r, err := NewReader(bytes.NewReader(file), Options{})
		require.NoError(t, err)
		check(r.Next)
		assert.Contains(t, r.How(), fmt.Sprintf("%d readings have the time of the one before", n-n/each))
	}
	b.Reset()
	b.WriteString("t_s,lift_mm\n0,0\n")
	for i := range mostAtOnce + 2 {
		fmt.Fprintf(&b, "1,%d\n", i)
	}
	_, err := Read(&b)
	require.ErrorContains(t, err, fmt.Sprintf("line %d: the time 1 s is that of the %d readings before, too: the clock stands still", mostAtOnce+3, mostAtOnce))
}
