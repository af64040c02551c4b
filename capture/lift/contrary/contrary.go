// Package contrary looks for what goes against each other on a flank: the valve goes back,
// and the encoder on. An encoder that counts both ways as one does that where the hand turns
// back; a base or tip that slips does it where the hand does not.
package contrary

// ms is a millisecond, in microseconds.
const ms = 1e3

// Opening is a passage over the lobe: T in microseconds, Y the lift in nanometres, of which
// the Top is the highest, A the crank angle in degrees. Way is +1 or -1, as the angle counts,
// Count the least that the encoder tells apart, degrees; Step is that of the indicator and
// Scatter the standard deviation of a reading, nanometres.
type Opening struct {
	T, Y, A       []float64
	Top           int
	Way, Count    float64
	Step, Scatter float64
}

// flanks calls look with the readings of either flank; up is +1 on the opening one and else -1.
func (o *Opening) flanks(look func(from, to int, up float64)) {
	look(0, o.Top+1, 1)
	look(o.Top, len(o.Y), -1)
}
