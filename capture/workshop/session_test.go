package workshop

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
)

// A sound session shows what is true to within noise and half a count, and nothing
// is wrong with any reading.
func TestSoundShowsTheTruth(t *testing.T) {
	for seed := range uint64(30) {
		s := Make("sound", seed, Options{Rate: 50, Encoder: true})
		require.Len(t, s.Truth.Points, len(s.Trace.Readings))
		require.NotEmpty(t, s.Truth.Openings)
		assert.Zero(t, s.Truth.Lift)
		heel, sign := 0.0, 0.0
		n := 0.0
		for i, r := range s.Trace.Readings {
			if s.Truth.Points[i].Lift == 0 {
				heel += float64(r.Lift)
				n++
			}
		}
		heel /= n
		for i, r := range s.Trace.Readings {
			p := s.Truth.Points[i]
			assert.False(t, p.Wrong)
			if p.Lift > 2*measure.Millimetre && sign == 0 {
				sign = math.Copysign(1, float64(r.Lift)-heel)
			}
			if sign != 0 {
				// Noise of at most one count, six of which never come.
				require.InDelta(t, float64(p.Lift), sign*(float64(r.Lift)-heel), 6.5*float64(s.Step), "seed %d: %s", seed, s.Says)
			}
			require.InDelta(t, p.Angle.Degrees(), r.Angle.Degrees(), s.AngleStep.Degrees(), "seed %d", seed)
		}
	}
}

// The truth of an opening agrees with the lift at its own moments.
func TestTruthAgreesWithItself(t *testing.T) {
	whole := 0
	for seed := range uint64(60) {
		kind := []string{"sound", "backward"}[seed%2]
		s := Make(kind, seed, Options{Encoder: true})
		for _, o := range s.Truth.Openings {
			if !o.Whole {
				continue
			}
			whole++
			assert.Less(t, o.Open, o.Nose)
			assert.Less(t, o.Nose, o.Close)
			assert.InDelta(t, float64(o.Lift), float64(s.Truth.LiftAt(o.Nose)), 3000, s.Says)
			assert.InDelta(t, 0, float64(s.Truth.LiftAt(o.Open)), 200_000)
			assert.InDelta(t, 0, float64(s.Truth.LiftAt(o.Close)), 200_000)
			require.NotEmpty(t, o.OpeningHalf)
			require.NotEmpty(t, o.ClosingHalf)
			for _, at := range append(o.OpeningHalf, o.ClosingHalf...) {
				assert.InDelta(t, float64(o.Lift)/2, float64(s.Truth.LiftAt(at)), float64(s.Truth.MovedIn(at, 3*tick))+1000, s.Says)
			}
			assert.Less(t, o.OpeningHalf[0], o.ClosingHalf[0])
		}
	}
	assert.Greater(t, whole, 150)
}

// The published table keeps its shape: of the CFR engine's intake valve half lift is
// 128.68 degrees wide (SAE 2018-01-0848, Fig. 3, by linear interpolation), of 232
// from the first to the last point.
func TestPublishedTable(t *testing.T) {
	up, down := published(cfrIntake, false), published(cfrIntake, true)
	half := func(f flank) float64 {
		for u := 0.0; ; u += 1e-4 {
			if f(u) >= 0.5 {
				return u
			}
		}
	}
	// Flanks of 106 and 126 degrees.
	assert.InDelta(t, 128.68, (1-half(up))*106+(1-half(down))*126, 0.3)
}

// Each trouble changes something; sound ones do not.
func TestTroublesChangeReadings(t *testing.T) {
	kinds := Kinds()
	require.Len(t, kinds, 34)
	names := map[string]bool{}
	for _, k := range kinds {
		require.False(t, names[k.Name], k.Name)
		names[k.Name] = true
		moved := 0
		for seed := range uint64(5) {
			s := Make(k.Name, seed, Options{Rate: 50, Encoder: true, Step: 1000})
			again := Make(k.Name, seed, Options{Rate: 50, Encoder: true, Step: 1000})
			require.Equal(t, s.Trace, again.Trace, "%s is not the same twice", k.Name)
			if s.Truth.Lift > 0 || s.Truth.Angle > measure.Degree/20 {
				moved++
			}
		}
		switch k.Name {
		case "sound", "backward", "lines twice", "port hiccups":
			assert.Zero(t, moved, k.Name)
		default:
			assert.Greater(t, moved, 2, k.Name)
		}
	}
}

func TestCSV(t *testing.T) {
	s := Make("no lift", 3, Options{Encoder: true})
	var b bytes.Buffer
	require.NoError(t, s.WriteCSV(&b))
	lines := strings.Split(strings.TrimSpace(b.String()), "\n")
	assert.Len(t, lines, len(s.Trace.Readings)+1)
	assert.True(t, strings.HasPrefix(lines[0], "t_s,lift_mm,angle_deg,"))
}
