package device

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// What a finder listened to is handed over at once, but it came at its own
// times: the rate is right from the first word on.
func TestTheRateIsRightFromTheStart(t *testing.T) {
	for _, perSecond := range []int{10, 100, 500} {
		for _, query := range []string{"", "format=unit-behind"} {
			t.Run(fmt.Sprintf("%d a second, %q", perSecond, query), func(t *testing.T) {
				onBench(t, query, func(t *testing.T, b *bench) {
					time.Sleep(time.Second)
					b.sends(4*perSecond, time.Second/time.Duration(perSecond), moving)
					require.Len(t, b.heard.lifts(), 4*perSecond)
					told := 0
					for _, s := range b.heard.status {
						if s.Rate > 0 {
							told++
							assert.Less(t, s.Rate, 1.25*float64(perSecond))
						}
					}
					assert.Greater(t, told, 5)
					assert.InEpsilon(t, perSecond, b.source.Status().Rate, 0.1)
				})
			})
		}
	}
}

// Where the engine stands still while the format is found, and its angle then
// gets a point, the source finds again, tells so, and gives every reading.
func TestFoundAgainIsTold(t *testing.T) {
	onBench(t, "", func(t *testing.T, b *bench) {
		time.Sleep(time.Second)
		b.sends(100, 20*time.Millisecond, same("angle:0 lift:0.000 mm\r\n"))
		st := b.source.Status()
		assert.Equal(t, StandingStill.LiveWord(), st.LiveWord())
		before := st.FormatSays
		assert.Contains(t, before, "angle: ")
		require.Len(t, b.heard.lifts(), 100)
		b.sends(100, 20*time.Millisecond, func(i int) string { return fmt.Sprintf("angle:%.1f lift:%.3f mm\r\n", float64(i)*0.5, float64(i)/1000) })
		require.Len(t, b.heard.lifts(), 200)
		for i, r := range b.heard.readings[100:] {
			assert.Equal(t, measure.Length(i)*measure.Micrometre, r.Lift)
			assert.Equal(t, measure.Angle(i)*measure.Degree/2, r.Angle)
			assert.InDelta(t, 3+float64(i)*0.02, r.At.Seconds(), 0.01, "it has the time at which it came")
		}
		assert.Contains(t, b.source.Status().FormatSays, "found again")
		assert.NotEqual(t, before, b.source.Status().FormatSays)
		assert.Zero(t, b.source.Counters().Refused)

		b.sends(50, 20*time.Millisecond, same("rst cause: power\r\n"))
		st = b.source.Status()
		assert.Equal(t, Settling, st.State)
		assert.NotEqual(t, "live", st.LiveWord())
		assert.Contains(t, st.Says, "do not fit what was found before")
		b.sends(10, 20*time.Millisecond, func(i int) string { return fmt.Sprintf("angle:%.1f lift:%.3f mm\r\n", 50.0, 0.1) })
		assert.Equal(t, "live", b.source.Status().LiveWord())
	})
}

// A line that was read at once began before the process did.
func TestTheDefaultClockLeavesRoomForWhatCameBefore(t *testing.T) {
	assert.Greater(t, Now(), measure.Second)
}
