package worksheet

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

// A length's second slope reads as a person writes it, however large its ± is:
// 25.4 mm are 1000 thou.
func TestPerSquareDegree(t *testing.T) {
	for _, c := range []struct {
		mm   float64
		unit measure.Unit
		want string
	}{
		{-0.00254, measure.InInches, "-0.1 thou/deg²"},
		{-0.00254, measure.InMillimetres, "-0.0025 mm/deg²"},
		{4.064, measure.InInches, "160 thou/deg²"},
		{0.00001905, measure.InInches, "0.00075 thou/deg²"},
		{0.00001905, measure.InMillimetres, "0.000019 mm/deg²"},
		{0, measure.InInches, "0 thou/deg²"},
	} {
		assert.Equal(t, c.want, Sayf("%v", PerSquareDegree(c.mm)).In(c.unit))
	}
}
