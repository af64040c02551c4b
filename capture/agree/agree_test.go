package agree

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"

	"lobescribe/device/measure"
)

const um = measure.Micrometre

// E_n = |x - y| / sqrt(Ux² + Uy²), ISO 13528 (from memory): with U = 5 µm each
// two figures may lie 7.07 µm apart.
func TestTwo(t *testing.T) {
	for by, agree := range map[measure.Length]bool{0: true, 7 * um: true, 8 * um: false, -8 * um: false} {
		r := Of([]Figure{{10_000 * um, 5 * um}, {10_000*um + by, 5 * um}})
		assert.Equal(t, agree, r.Agree, by.String())
		assert.Equal(t, !agree, r.Each[0].Beyond)
		assert.Equal(t, !agree, r.Each[1].Beyond, "which of two is off nobody can tell")
		assert.Equal(t, by, r.Each[1].By)
	}
}

func TestOneThatIsOffIsFound(t *testing.T) {
	r := Of([]Figure{{10_000 * um, 5 * um}, {10_003 * um, 5 * um}, {10_060 * um, 5 * um}, {9_999 * um, 5 * um}})
	assert.False(t, r.Agree)
	var off []bool
	for _, e := range r.Each {
		off = append(off, e.Beyond)
	}
	assert.Equal(t, []bool{false, false, true, false}, off)
	assert.Equal(t, 60*um, r.Each[2].By)
}

func TestNoneAndOne(t *testing.T) {
	assert.Equal(t, Result{Each: []Off{}}, Of(nil))
	r := Of([]Figure{{10_000 * um, 5 * um}})
	assert.False(t, r.Agree, "one opening agrees with nothing")
	assert.Equal(t, 10_000*um, r.Value)
	assert.Equal(t, 5*um, r.U)
}

// Whatever is measured: the mean lies among the figures, its U is no less than
// theirs on the average, and figures that are all alike agree.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figures := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Figure {
			return Figure{measure.Length(rapid.Int64Range(0, 2e7).Draw(t, "value")), measure.Length(rapid.Int64Range(1, 1e5).Draw(t, "u"))}
		}), 1, 12).Draw(t, "figures")
		r := Of(figures)
		low, high, u := measure.Length(math.MaxInt64), measure.Length(0), 0.0
		for _, f := range figures {
			low, high, u = min(low, f.Value), max(high, f.Value), u+float64(f.U)
		}
		if r.Value < low || r.Value > high || float64(r.U) < u/float64(len(figures))-1 {
			t.Fatalf("%+v of %v", r, figures)
		}
		for i := range figures {
			figures[i].Value = low
		}
		if got := Of(figures); got.Agree != (len(figures) > 1) {
			t.Fatalf("all alike: %+v", got)
		}
	})
}

// Each is held against the median of the others, taken out and sorted one by one as the
// package comment says it; figures repeat, so that equal ones are taken out too.
func TestEachAgainstTheOthers(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		figures := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Figure {
			return Figure{measure.Length(rapid.Int64Range(0, 9).Draw(t, "value")), measure.Length(rapid.Int64Range(1, 4).Draw(t, "u"))}
		}), 2, 15).Draw(t, "figures")
		for i, off := range Of(figures).Each {
			var values, us []measure.Length
			for j, f := range figures {
				if j != i {
					values, us = append(values, f.Value), append(us, f.U)
				}
			}
			slices.Sort(values)
			slices.Sort(us)
			n := len(values)
			by := figures[i].Value - (values[(n-1)/2]+values[n/2])/2
			u := (us[(n-1)/2] + us[n/2]) / 2
			if off.By != by || off.Beyond != (float64(by.Abs()) > math.Hypot(float64(figures[i].U), float64(u))) {
				t.Fatalf("%d of %v: %+v, not %v", i, figures, off, by)
			}
		}
	})
}
