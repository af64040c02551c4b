package tracefile

import (
	"bytes"
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func benchmarkRead(b *testing.B, header string, row func([]byte, int) []byte) {
	text, err := io.ReadAll(&repeated{header: header, row: row, n: 200_000})
	require.NoError(b, err)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		rd, err := NewReader(bytes.NewReader(text), Options{})
		if err != nil {
			b.Fatal(err)
		}
		for err == nil {
			_, err = rd.Next()
		}
		if err != io.EOF {
			b.Fatal(err)
		}
	}
	b.ReportMetric(200_000*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
}

func BenchmarkReadCSV(b *testing.B) {
	benchmarkRead(b, "t_s,lift_mm\n", func(dst []byte, i int) []byte {
		dst = append(appendMillionths(dst, int64(i)*10_007), ',')
		return append(appendMillionths(dst, int64(i%840)*12_700), '\n')
	})
}

func BenchmarkReadCSVWithAngle(b *testing.B) {
	benchmarkRead(b, "t_s,lift_mm,angle_deg\n", csvRows)
}

func BenchmarkReadJSONLines(b *testing.B) {
	w := Writer{}
	benchmarkRead(b, "", func(dst []byte, i int) []byte {
		return w.jsonReading(dst, measure.Reading{At: measure.Stamp(i) * 10_007, Lift: measure.Length(i%840) * 12_700, Has: measure.HasLift})
	})
}

func BenchmarkWriteCSV(b *testing.B) {
	tr := measure.Trace{}
	for i := range 200_000 {
		tr.Readings = append(tr.Readings, measure.Reading{At: measure.Stamp(i) * 10_007, Lift: measure.Length(i%840) * 12_700, Angle: measure.Angle(i) * 150_000, Has: both})
	}
	for b.Loop() {
		if err := Write(io.Discard, tr, CSV); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(200_000*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mreadings/s")
}
