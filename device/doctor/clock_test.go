package doctor

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

func TestClockSteps(t *testing.T) {
	var c Clock
	wall := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	assert.Nil(t, c.Look(0, wall))
	assert.Nil(t, c.Look(measure.Second, wall.Add(time.Second+3*time.Millisecond)))
	f := c.Look(2*measure.Second, wall.Add(time.Hour))
	require.NotNil(t, f)
	assert.Equal(t, ClockStep, f.Kind)
	assert.Contains(t, f.Says, "set forward by 59m57.997s")
	f = c.Look(3*measure.Second, wall)
	require.NotNil(t, f)
	assert.Contains(t, f.Says, "set back by 1h0m1s")
	assert.Nil(t, c.Look(4*measure.Second, wall.Add(time.Second)))
}

func TestClockThatWasNeverSet(t *testing.T) {
	var c Clock
	f := c.Look(0, time.Unix(12, 0).UTC())
	require.NotNil(t, f)
	assert.Equal(t, ClockUnset, f.Kind)
	assert.Contains(t, f.Says, "1 January 1970")
	assert.Nil(t, c.Look(measure.Second, time.Unix(13, 0)), "once is enough")
	f = c.Look(2*measure.Second, time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC))
	require.NotNil(t, f)
	assert.Equal(t, ClockStep, f.Kind, "the network has set it")
}
