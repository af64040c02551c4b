package lift_test

import (
	"math"
	"os"
	"runtime"
	"strconv"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/lift"
	"lobescribe/device/measure"
)

// lobes is an invented trace of so many readings at 1000 a second: a lobe of
// 10 mm every five seconds, in steps of 1 µm.
func lobes(count int) measure.Trace {
	t := measure.Trace{Readings: make([]measure.Reading, count), Resolution: measure.Micrometre}
	for i := range t.Readings {
		up, at := 0.0, math.Mod(float64(i)/1000, 5)
		if at > 1 && at < 4 {
			up = 0.5 - 0.5*math.Cos(2*math.Pi*(at-1)/3)
		}
		t.Readings[i] = measure.Reading{At: measure.Stamp(i) * 1000, Lift: measure.Length(math.Round(10_000*up)) * measure.Micrometre, Has: measure.HasLift}
	}
	return t
}

// What findings cost grows as the trace does: the exponent fitted to the bytes
// and the allocations, which no busy computer can change, is 1.05 at most; the
// time is printed. LOBESCRIBE_GROWTH=100000000 goes that far.
func TestFindingsGrowStraight(t *testing.T) {
	most := 1_000_000
	if n, err := strconv.Atoi(os.Getenv("LOBESCRIBE_GROWTH")); err == nil {
		most = n
	}
	var lengths, bytes, allocations, times []float64
	for n := 10_000; n <= most; n *= 10 {
		trace := lobes(n)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		began := time.Now()
		f, err := lift.Analyse(trace, lift.Options{})
		took := time.Since(began)
		runtime.ReadMemStats(&after)
		require.NoError(t, err)
		require.InDelta(t, float64(n)/5000, float64(len(f.Openings)), 1)
		lengths = append(lengths, float64(n))
		bytes = append(bytes, float64(after.TotalAlloc-before.TotalAlloc))
		allocations = append(allocations, float64(after.Mallocs-before.Mallocs))
		times = append(times, took.Seconds())
		t.Logf("%9d readings: %v, %.1f bytes and %.4f allocations a reading", n, took, bytes[len(bytes)-1]/float64(n), allocations[len(allocations)-1]/float64(n))
	}
	t.Logf("exponents: time %.3f, bytes %.3f, allocations %.3f", exponent(lengths, times), exponent(lengths, bytes), exponent(lengths, allocations))
	assert.LessOrEqual(t, exponent(lengths, bytes), 1.05, "bytes")
	assert.LessOrEqual(t, exponent(lengths, allocations), 1.05, "allocations")
}

// exponent is the slope of log y over log x by least squares.
func exponent(x, y []float64) float64 {
	var sx, sy, sxx, sxy float64
	for i := range x {
		a, b := math.Log(x[i]), math.Log(max(y[i], 1e-12))
		sx, sy, sxx, sxy = sx+a, sy+b, sxx+a*a, sxy+a*b
	}
	n := float64(len(x))
	return (n*sxy - sx*sy) / (n*sxx - sx*sx)
}
