package find_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/encoder"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
	"lobescribe/simulator"
)

// An invented session, played to a finder: what the simulated instrument sent
// is known line by line.
type session struct {
	format   simulator.Format
	encoder  bool // its lines are those of the encoder's own wire
	unit     measure.Unit
	rest     measure.Stamp // at the start
	split    simulator.Split
	counts   int // as said by counts=; 0 if not
	said     measure.Unit
	scale    measure.Length
	rate     float64 // readings a second; 0 for the usual
	switched bool    // the indicator goes from one unit to the other and back
}

const countsATurn = 2400

func (s session) play(t *testing.T) (chunks []simulator.Chunk, sent []simulator.Line, readings []measure.Reading) {
	t.Helper()
	cable := simulator.Wire{Baud: 38400, Mischief: simulator.Mischief{Split: s.split}}
	c := simulator.Scenario{Seed: 7, Openings: 1, Hand: simulator.Hand{Before: s.rest}}
	if s.encoder {
		c.Encoder = &simulator.Encoder{Counts: countsATurn, Format: s.format, Wire: cable, Index: s.format.Name == "count-index"}
	} else {
		c.Indicator = simulator.Indicator{Unit: s.unit, Format: s.format, Wire: cable}
		if s.rate > 0 {
			c.Indicator.Rate, c.Indicator.Wire.Baud = s.rate, 0
		}
		if s.rate > 0 && s.rate < 10 {
			c.Openings = 2
		}
		if s.switched {
			c.Indicator.Switches = []measure.Stamp{6 * measure.Second, 9 * measure.Second}
		}
		if s.format.Combined() {
			c.Encoder = &simulator.Encoder{Counts: countsATurn}
		}
	}
	p, err := c.Play()
	require.NoError(t, err)
	if s.encoder {
		return p.Encoder, p.EncoderLines, p.Counts
	}
	return p.Indicator, p.IndicatorLines, p.Trace.Readings
}

// listen plays the session to a finder and returns what came out.
func (s session) listen(t *testing.T) (found wire.Found, got, want []measure.Reading) {
	t.Helper()
	o := lines.Options{Unit: s.said, Scale: s.scale}
	if s.counts > 0 {
		crank, err := encoder.New(encoder.Options{Counts: int64(s.counts)})
		require.NoError(t, err)
		o.Crank = crank
	}
	f := find.New(o)
	f.BeginsQuiet() // an instrument is heard from its first line on
	chunks, sent, readings := s.play(t)
	var out wire.Out
	var refused wire.Refused
	for _, c := range chunks {
		out.Reset()
		f.Decode(wire.Chunk{Bytes: c.Bytes, At: c.At}, &out)
		got = append(got, out.Readings...)
		refused = refused.Plus(out.Refused)
	}
	for _, l := range sent {
		want = append(want, readings[l.Reading])
	}
	assert.Zero(t, refused, "a good line was refused for good")
	return f.Found(), got, want
}

// same demands every reading, with its lift right to the count and its angle
// right to what the line can say.
func same(t *testing.T, want, got []measure.Reading, has measure.Has, angleStep measure.Angle) {
	t.Helper()
	require.Len(t, got, len(want), "a reading for each line")
	for i := range want {
		g, w := got[i], want[i]
		if g.Has != has || has&measure.HasLift != 0 && g.Lift != w.Lift || has&measure.HasAngle != 0 && angleAbs(g.Angle-w.Angle) > angleStep/2+1 {
			t.Fatalf("line %d: got %+v, sent was %+v", i, g, w)
		}
	}
	require.Greater(t, len(want), 50, "the session has lines")
}

func angleAbs(a measure.Angle) measure.Angle { return max(a, -a) }

// places returns one in the last decimal of a printed angle.
func places(decimals int) measure.Angle {
	step := measure.Degree
	for range decimals {
		step /= 10
	}
	return step
}

// rounded is half away from zero, as instruments round.
func rounded(l, step measure.Length) measure.Length {
	n := (l.Abs() + step/2) / step * step
	if l < 0 {
		return -n
	}
	return n
}

// forEach runs a check for every format, unit, rest and cut.
func forEach(t *testing.T, formats []simulator.Format, encoders bool, check func(t *testing.T, s session)) {
	require.NotEmpty(t, formats)
	for _, f := range formats {
		for _, unit := range []measure.Unit{measure.InInches, measure.InMillimetres} {
			for _, rest := range []measure.Stamp{measure.Millisecond, 3 * measure.Second} {
				for _, split := range []simulator.Split{simulator.WholeLines, simulator.EachByte, simulator.Ragged, simulator.Blocks} {
					t.Run(fmt.Sprintf("%s/%s/rest %v/split %d", f.Name, unit, rest, split), func(t *testing.T) {
						check(t, session{format: f, encoder: encoders, unit: unit, rest: rest, split: split})
					})
				}
			}
			if encoders {
				break
			}
		}
	}
}

// Whatever an indicator writes, what is found by listening alone reads each of
// its lines right to the count; or it says that a unit or scale was assumed,
// and with that said it does.
func TestIndicatorsFoundByListening(t *testing.T) {
	forEach(t, simulator.Formats(), false, func(t *testing.T, s session) {
		found, got, want := s.listen(t)
		require.True(t, found.Settled, found.Says)
		whole := s.format.WholeCounts || s.format.Step > 0
		if s.format.SaysUnit() {
			assert.False(t, found.Assumed, found.Says)
			assert.NotContains(t, found.Says, "assumed")
			same(t, want, got, measure.HasLift, 0)
			return
		}
		assert.True(t, found.Assumed, found.Says)
		assert.Contains(t, found.Says, "assumed")
		if whole {
			assert.Contains(t, found.Says, "scale=")
			s.scale = s.format.Step
			if s.format.WholeCounts {
				s.scale = 10 * measure.Micrometre
				if s.unit == measure.InInches {
					s.scale = measure.Thou / 2
				}
			}
		} else {
			assert.Contains(t, found.Says, "unit=")
			s.said = s.unit
		}
		found, got, want = s.listen(t)
		assert.False(t, found.Assumed, found.Says)
		if s.format.Step > 0 { // it is coarser than what was measured
			for i := range want {
				want[i].Lift = rounded(want[i].Lift, s.format.Step)
			}
		}
		same(t, want, got, measure.HasLift, 0)
	})
}

// Slow ones and fast ones, and somebody who changes the unit while it runs.
func TestFoundAtAnyRateAndInBothUnits(t *testing.T) {
	for _, f := range append(simulator.Formats(), simulator.CombinedFormats()...) {
		if !f.SaysUnit() {
			continue
		}
		for _, rate := range []float64{4, 25, 400} {
			t.Run(fmt.Sprintf("%s/%v a second", f.Name, rate), func(t *testing.T) {
				s := session{format: f, unit: measure.InInches, rest: measure.Second, rate: rate, switched: true}
				found, got, want := s.listen(t)
				require.True(t, found.Settled, found.Says)
				same(t, want, got, measure.HasLift, 0)
			})
		}
	}
}

// Boards that print the angle or counts beside the lift.
func TestBoardsFoundByListening(t *testing.T) {
	forEach(t, simulator.CombinedFormats(), false, func(t *testing.T, s session) {
		found, got, want := s.listen(t)
		require.True(t, found.Settled, found.Says)
		counts := s.format.Name == "count-tab-lift"
		if counts {
			assert.Contains(t, found.Says, "say counts=")
			same(t, want, got, measure.HasLift, 0)
			s.counts = countsATurn
		}
		if !s.format.SaysUnit() {
			assert.True(t, found.Assumed, found.Says)
			assert.Contains(t, found.Says, "unit=")
			s.said = s.unit
		}
		found, got, want = s.listen(t)
		assert.False(t, found.Assumed, found.Says)
		same(t, want, got, measure.HasLift|measure.HasAngle, places(max(2, s.format.AngleDecimals)))
	})
}

// Encoders on a wire of their own.
func TestEncodersFoundByListening(t *testing.T) {
	forEach(t, simulator.EncoderFormats(), true, func(t *testing.T, s session) {
		found, got, _ := s.listen(t)
		if len(got) > 0 { // taken for a lift
			assert.True(t, found.Assumed, found.Says)
		}
		if s.format.Name == "degrees" {
			assert.Contains(t, found.Says, "format=degrees")
		} else {
			assert.Contains(t, found.Says, "counts=")
		}
		s.counts = countsATurn
		found, got, want := s.listen(t)
		require.True(t, found.Settled, found.Says)
		assert.NotContains(t, found.Says, "assumed")
		same(t, want, got, measure.HasAngle, places(max(2, s.format.AngleDecimals)))
	})
}

// A bad cable: some bytes are changed, rubbish stands between the lines, lines
// are held up. What came whole is read, and what did not is no reading.
func TestFoundOverABadCable(t *testing.T) {
	for _, f := range append(simulator.Formats(), simulator.CombinedFormats()...) {
		if !f.SaysUnit() {
			continue
		}
		for seed := range uint64(8) {
			t.Run(fmt.Sprintf("%s/%d", f.Name, seed), func(t *testing.T) {
				c := simulator.Scenario{Seed: seed, Openings: 1, Encoder: &simulator.Encoder{Counts: countsATurn}}
				c.Indicator = simulator.Indicator{Format: f, Wire: simulator.Wire{Baud: 38400, Mischief: simulator.Mischief{
					Split: simulator.Split(seed % 4), Noise: 0.002, Garbage: 0.03, Stalls: 0.005}}}
				p, err := c.Play()
				require.NoError(t, err)
				finder := find.New(lines.Options{})
				finder.BeginsQuiet()
				var got []measure.Length
				var out wire.Out
				for _, c := range p.Indicator {
					out.Reset()
					finder.Decode(wire.Chunk{Bytes: c.Bytes, At: c.At}, &out)
					for _, r := range out.Readings {
						got = append(got, r.Lift)
					}
				}
				require.True(t, finder.Found().Settled, finder.Found().Says)
				// A spoiled line may be read or not, and so may the one behind it,
				// whose start hangs on to it if the end was hit. at holds how
				// many readings the lines so far may have given.
				at, spoiled, before := map[int]bool{0: true}, 0, false
				for n, l := range p.IndicatorLines {
					next := map[int]bool{}
					for i := range at {
						if i < len(got) && got[i] == p.Trace.Readings[l.Reading].Lift {
							next[i+1] = true
						}
						if l.Spoiled || before {
							next[i] = true
						}
					}
					if before = l.Spoiled; before {
						spoiled++
					}
					require.NotEmpty(t, next, "line %d is missing or wrong, found %s", n, finder.Found().Says)
					at = next
				}
				require.True(t, at[len(got)], "a reading of no line")
				require.Positive(t, spoiled)
			})
		}
	}
}
