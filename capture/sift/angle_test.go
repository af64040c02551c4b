package sift

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/measure"
)

// A coarse encoder goes forth and back by one count where it stands at the edge of two; a
// jump by several is misread.
func TestACoarseCountIsNoMisreadAngle(t *testing.T) {
	for _, c := range []struct {
		count measure.Angle
		jump  measure.Angle // of one reading, on the way
		at    int
		doubt int
	}{
		{5 * measure.Degree, 5 * measure.Degree, 555, 0},
		{5 * measure.Degree, 40 * measure.Degree, 555, 1},
		{measure.Degree / 10, 5 * measure.Degree, 555, 1},
		{12 * measure.Degree, 12 * measure.Degree, 30, 0}, // before the count has shown
	} {
		s := Sift{Count: 1000}
		var sound []measure.Reading
		for i := range 600 {
			at := measure.Stamp(i) * 10 * measure.Millisecond
			angle := measure.FromDegrees(0.1*float64(i)) / c.count * c.count
			if i == c.at {
				angle -= c.jump
			}
			r := measure.Reading{At: at, Lift: measure.Millimetre, Angle: angle, Has: measure.HasLift | measure.HasAngle}
			if more, itself := s.Step(sound, &r); itself {
				sound = append(more, r)
			} else {
				sound = more
			}
		}
		assert.Len(t, s.Doubts(), c.doubt, "%v", c)
	}
}
