package dashboard

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/timing"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// The lobe of these tests: lift = top · cos²(90° · (crank - nose) / half), of
// which everything is known in closed form.
const (
	lobeTop  = 10.0  // mm
	lobeHalf = 140.0 // crank degrees from the nose to where it leaves the heel
)

// turn records three cycles of such a lobe, read every half degree with a
// resolution of 0.001 mm.
func (s *site) turn(h storage.Head, nose float64) storage.ID {
	s.Helper()
	h.Resolution, h.AngleStep = measure.Micrometre, measure.Degree/2
	w, err := s.store.Begin(h)
	require.NoError(s, err)
	var batch []measure.Reading
	for i := range 3 * 1440 {
		crank := float64(i)/2 - 360
		x := math.Remainder(crank-nose, 720)
		mm := 0.0
		if math.Abs(x) < lobeHalf {
			mm = lobeTop * math.Pow(math.Cos(math.Pi/2*x/lobeHalf), 2)
		}
		batch = append(batch, measure.Reading{At: measure.Stamp(i) * 10 * measure.Millisecond, Angle: measure.FromDegrees(crank),
			Lift: measure.FromMillimetres(math.Round(mm*1000) / 1000), Has: measure.HasLift | measure.HasAngle})
	}
	require.NoError(s, w.Append(batch, nil))
	require.NoError(s, w.End())
	return w.ID()
}

// flank is how far from the nose the lift is at mm.
func flank(mm float64) float64 {
	return lobeHalf * 2 / math.Pi * math.Acos(math.Sqrt(mm/lobeTop))
}

func TestTimingOfATrace(t *testing.T) {
	s := serve(t, nil)
	id := s.turn(storage.Head{Valve: "1I"}, 110)
	status, text := s.ask("GET", fmt.Sprintf("/api/v1/traces/%d/timing?checking=1mm,0.05in", id), "")
	require.Equal(t, 200, status, text)
	out := into[shownTiming](s, text)
	assert.Equal(t, timing.Intake, out.Valve)
	require.Len(t, out.Timing.Passages, 2)
	for i, mm := range []float64{1, 1.27} {
		p := out.Timing.Passages[i]
		assert.InDelta(t, 110-flank(mm), p.Opens.Angle.Degrees(), 0.1)
		assert.InDelta(t, 2*flank(mm), p.Span.Duration.Degrees(), 0.1)
	}
	assert.InDelta(t, lobeTop, out.Timing.Nose.MaxLift.Millimetres(), 0.005)
	assert.NotEmpty(t, out.Curve)
	assert.NotEmpty(t, out.Derivatives.Points)

	// Asked again, it comes from memory; relabelled, it does not.
	require.Len(t, s.server.answers.list, 1)
	_, again := s.ask("GET", fmt.Sprintf("/api/v1/traces/%d/timing?checking=1mm,0.05in", id), "")
	assert.Equal(t, text, again)
	require.Len(t, s.server.answers.list, 1)
	require.NoError(t, s.store.Relabel(id, "", "1E", "", ""))
	_, text = s.ask("GET", fmt.Sprintf("/api/v1/traces/%d/timing?checking=1mm,0.05in", id), "")
	assert.Equal(t, timing.Exhaust, into[shownTiming](s, text).Valve)

	for query, field := range map[string]string{"checking=1": "checking", "checking=0mm": "checking", "valve=side": "valve", "tdc_deg=x": "tdc_deg", "on_cam=perhaps": "on_cam"} {
		status, text := s.ask("GET", fmt.Sprintf("/api/v1/traces/%d/timing?%s", id, query), "")
		assert.Equal(t, 400, status, text)
		assert.Equal(t, field, into[map[string]string](s, text)["field"])
	}
	still := s.record(storage.Head{}, 3)
	status, text = s.ask("GET", fmt.Sprintf("/api/v1/traces/%d/timing", still), "")
	assert.Equal(t, 422, status, "well asked, and no answer: "+text)
}

// Intake and exhaust together against a card that is 4 degrees off.
func TestTimingOfAPair(t *testing.T) {
	s := serve(t, nil)
	events := func(nose, mm float64) (opens, closes float64) { return nose - flank(mm), nose + flank(mm) }
	io, ic := events(110, 1.27)
	eo, ec := events(-114, 1.27)
	// The card says everything 4 degrees later than it is.
	_, text := s.ask("POST", "/api/v1/engines", fmt.Sprintf(`{"id":"demo","cylinders":1,"valves_per_cylinder":2,"rocker_ratio":{"intake":1,"exhaust":1},
		"cam_card":{"checking_lift_mm":1.27,"io_btdc_deg":%.3f,"ic_abdc_deg":%.3f,"eo_bbdc_deg":%.3f,"ec_atdc_deg":%.3f}}`,
		-(io+4), ic+4-180, -(eo+4+180), ec+4))
	require.Contains(t, text, `"rev":1`)
	in := s.turn(storage.Head{Engine: "demo", Valve: "1I"}, 110)
	ex := s.turn(storage.Head{Engine: "demo", Valve: "1E"}, -114)
	status, text := s.ask("GET", fmt.Sprintf("/api/v1/timing?intake=%d&exhaust=%d&engine=demo", in, ex), "")
	require.Equal(t, 200, status, text)
	out := into[timing.Result](s, text)
	require.NotEmpty(t, out.Pairs)
	for _, p := range out.Pairs {
		assert.InDelta(t, 112, p.Separation.Degrees(), 0.1, "(110 + 114) / 2")
		assert.InDelta(t, 2, p.Advance.Degrees(), 0.1, "112 - 110")
	}
	require.NotNil(t, out.Card)
	require.Len(t, out.Card.Shifts, 1)
	assert.InDelta(t, 4, out.Card.Shifts[0].Advance.Degrees(), 0.1)

	status, _ = s.ask("GET", "/api/v1/timing", "")
	assert.Equal(t, 400, status)
	status, _ = s.ask("GET", "/api/v1/timing?intake=99", "")
	assert.Equal(t, 404, status)
}
