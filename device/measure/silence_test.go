package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestSilence(t *testing.T) {
	heard := func(n int, by func(i int) Length) *Silence {
		s := &Silence{}
		for i := range n {
			s.See(by(i), true)
		}
		return s
	}
	changes := func(int) Length { return 10 * Micrometre }
	assert.True(t, heard(200, changes).Explains(10*Micrometre), "it never repeats itself")
	assert.False(t, heard(200, changes).Explains(11*Micrometre), "it moved farther than it does at once")
	assert.False(t, heard(20, changes).Explains(0), "who knows yet")
	assert.False(t, heard(200, func(i int) Length { return Length(i%2) * Micrometre }).Explains(0), "it speaks all the time")
	s := heard(200, changes)
	for range 50 {
		s.See(0, false)
	}
	assert.True(t, s.Explains(0), "a line now and then is a sign of life")
}
