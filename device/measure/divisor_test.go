package measure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestCommonDivisor(t *testing.T) {
	assert.Equal(t, Length(1270), CommonDivisor(Length(12700), Length(3810)), "0.0005 in and 0.00015 in")
	assert.Equal(t, Length(7), CommonDivisor(Length(0), Length(7)))
	assert.Equal(t, uint64(math.MaxUint64), CommonDivisor(uint64(math.MaxUint64), 0))
}
