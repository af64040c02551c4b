package simulator

import "math"

// driveTroubles are the sizes of what goes wrong between crank and counts.
type driveTroubles struct {
	slip   float64 // degrees
	counts float64 // that it has, of those it is said to have
	play   float64 // degrees
}

// drive is what turns the encoder's shaft, in order of time.
type drive struct {
	*troubles
	origin float64 // engine degrees
	before float64 // slipped in sessions before
	slipAt float64 // seconds
	slip   float64 // degrees
	at     float64 // where the shaft is, in slack
	any    bool
}

// newDrive returns none where the shaft turns with the crank.
func (t *troubles) newDrive(truth *Truth, before float64) *drive {
	for _, name := range []Trouble{EncoderSlips, EncoderLoses, EncoderCounts, SlackDrive} {
		if t.has[name] {
			d := &drive{troubles: t, origin: truth.counter.origin, before: before, slipAt: math.Inf(1)}
			if t.has[EncoderSlips] {
				d.slipAt, d.slip = truth.End.Seconds()*(0.3+0.4*t.when.Float64()), t.drive.slip
				if before != 0 {
					d.slip = -before // and back
				}
			}
			return d
		}
	}
	return nil
}

// copied returns one that has seen nothing, for another reader of the same shaft.
func (d *drive) copied() *drive {
	if d == nil {
		return nil
	}
	c := *d
	c.any = false
	return &c
}

// turns returns the angle of the shaft, as if it sat on the crank, in engine degrees.
func (d *drive) turns(t, crank float64) float64 {
	if d == nil {
		return crank
	}
	if d.has[SlackDrive] {
		if !d.any {
			d.any, d.at = true, crank
		}
		d.at = min(max(d.at, crank-d.drive.play/2), crank+d.drive.play/2)
		crank = d.at
	}
	if d.has[EncoderLoses] {
		crank = d.origin + (crank-d.origin)*79/80
	}
	if d.has[EncoderCounts] {
		crank = d.origin + (crank-d.origin)*d.drive.counts
	}
	crank += d.before
	if t >= d.slipAt {
		crank += d.slip
	}
	return crank
}
