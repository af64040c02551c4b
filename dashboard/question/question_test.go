package question_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/timing"
	"lobescribe/capture/valve"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

type documents struct {
	engine storage.Engine
	trial  storage.Trial
}

func (d documents) Engine(id string) (storage.Engine, error) {
	if id != d.engine.ID {
		return storage.Engine{}, storage.ErrNotFound
	}
	return d.engine, nil
}

func (d documents) Trial(id string) (storage.Trial, error) {
	if id != d.trial.ID {
		return storage.Trial{}, storage.ErrNotFound
	}
	return d.trial, nil
}

func TestTiming(t *testing.T) {
	d := documents{
		engine: storage.Engine{ID: "demo", RockerRatio: storage.ForValves[float64]{Intake: 1.5, Exhaust: 1.6}, CamCard: storage.CamCard{LashIntake: 100, LashExhaust: 200}},
		trial:  storage.Trial{ID: "t1", Lash: 300},
	}
	assert.Equal(t, timing.Options{Valve: timing.Exhaust, Ratio: 1.6, Lash: 200}, question.Timing(d, storage.Head{Engine: "demo", Valve: "3E"}, ""))
	assert.Equal(t, timing.Options{Valve: timing.Intake, Ratio: 1.5, Lash: 300}, question.Timing(d, storage.Head{Engine: "demo", Valve: "3E", Trial: "t1"}, timing.Intake), "the trial's lash goes before the card's")
	assert.Equal(t, timing.Options{}, question.Timing(d, storage.Head{Engine: "gone"}, ""))
	tdc := 12 * measure.Degree
	d.engine.TDC = &storage.TopDeadCentre{Angle: tdc, U: 1}
	o := question.Timing(d, storage.Head{Engine: "demo", Valve: "3E"}, "")
	assert.Equal(t, []measure.Angle{tdc, 1}, []measure.Angle{o.TDC, o.TDCU})
}

func TestCamCard(t *testing.T) {
	assert.Nil(t, question.CamCard(storage.Engine{}))
	opens, closes := 12*measure.Degree, 44*measure.Degree
	e := storage.Engine{RockerRatio: storage.ForValves[float64]{Intake: 1.5},
		CamCard: storage.CamCard{CheckingLift: 1_270_000, IntakeOpens: &opens, IntakeCloses: &closes, MaxLiftIntake: 10_600_000, LashIntake: 200_000}}
	card := question.CamCard(e)
	require.NotNil(t, card.Intake)
	assert.Nil(t, card.Exhaust)
	assert.Equal(t, measure.Length(10_600_000), card.Intake.MaxLift)
	assert.Equal(t, timing.AtValve, card.Intake.MaxLiftAt, "whatever the ratio")
}

// trace turns a lobe of cos² with its nose at the given crank angle through
// two cycles.
func trace(nose float64) measure.Trace {
	t := measure.Trace{Resolution: measure.Micrometre, AngleStep: measure.Degree / 2}
	for i := range 2 * 1440 {
		crank := float64(i)/2 - 360
		mm := 0.0
		if x := math.Remainder(crank-nose, 720); math.Abs(x) < 140 {
			mm = 10 * math.Pow(math.Cos(math.Pi/2*x/140), 2)
		}
		t.Readings = append(t.Readings, measure.Reading{At: measure.Stamp(i) * 10_000, Has: measure.HasLift | measure.HasAngle,
			Angle: measure.FromDegrees(crank), Lift: measure.FromMillimetres(math.Round(mm*1000) / 1000)})
	}
	return t
}

func TestCurveIsOfItsOwnCylinder(t *testing.T) {
	e := storage.Engine{FiringOrder: []int{1, 5, 3, 6, 2, 4}} // 120 degrees apart
	for _, c := range []struct {
		valve           string
		nose            float64 // by the encoder
		moved, doubtful bool
	}{
		{"1I", 110, false, false},
		{"5I", 110 + 120, true, false},
		{"3I", 110 + 240, true, false},
		{"6I", 110 + 360, false, false}, // a whole turn, which an encoder does not tell
		{"5E", -114 + 120, true, false},
		{"5I", 110, false, false},      // set again at each cylinder: as it should be
		{"5I", 110 + 60, false, true},  // nowhere that the firing order explains: left alone, and said
		{"9I", 110 + 120, false, true}, // no cylinder of this engine
	} {
		o := timing.Options{Valve: valve.KindOf(c.valve)}
		got, zero, err := question.Curve(trace(c.nose), o, e, c.valve)
		require.NoError(t, err)
		assert.Equal(t, c.doubtful, zero.Doubtful, "%v", c)
		assert.Equal(t, c.moved || c.doubtful, zero.Says() != "", "%v", c)
		if c.moved {
			want := 110.0
			if o.Valve == timing.Exhaust {
				want = -114
			}
			assert.InDelta(t, want, got.Nose().Angle.Degrees(), 0.5, "%v", c)
		}
	}
	_, _, err := question.Curve(measure.Trace{}, timing.Options{}, e, "1I")
	require.ErrorIs(t, err, timing.ErrNoAngle)
}

// What an encoder counts at cylinder 1's top dead centre stands for the whole
// engine, wherever in the firing order cylinder 1 is named, and however the
// encoder turns.
func TestCurveFromTheEnginesTopDeadCentre(t *testing.T) {
	tdc := 57 * measure.Degree
	e := storage.Engine{FiringOrder: []int{5, 3, 6, 2, 4, 1}, TDC: &storage.TopDeadCentre{Angle: tdc}} // 120 degrees apart, 1 fires before 5
	for _, c := range []struct {
		name, valve string
		nose        float64 // crank degrees after cylinder 1's top dead centre
		onCam, down bool
		says        string
	}{
		{name: "itself", valve: "1I", nose: 110, says: "cylinder 1, as set down for the engine"},
		{name: "next", valve: "5I", nose: 110 + 120, says: "that of cylinder 5, 120 deg later"},
		{name: "an early nose", valve: "5I", nose: 60 + 120, says: "that of cylinder 5"}, // 180 alone could be anything
		{name: "exhaust", valve: "3E", nose: -114 + 240, says: "that of cylinder 3, 240 deg later"},
		{name: "a turn away", valve: "2I", nose: 110 + 480, says: "that of cylinder 2, 480 deg later"},
		{name: "counts down", valve: "3I", nose: 110 + 240, down: true, says: "that of cylinder 3"},
		{name: "on the cam", valve: "5I", nose: 110 + 120, onCam: true, says: "that of cylinder 5"},
		{name: "set again", valve: "5I", nose: 110, says: "set again at cylinder 5"},
	} {
		tr := trace(c.nose)
		for i := range tr.Readings {
			a := tr.Readings[i].Angle
			if c.onCam {
				a /= 2
			}
			if c.down {
				a = -a
			}
			tr.Readings[i].Angle = a + tdc
		}
		o := timing.Options{Valve: valve.KindOf(c.valve), TDC: tdc, OnCam: c.onCam, CountsDown: c.down}
		got, zero, err := question.Curve(tr, o, e, c.valve)
		require.NoError(t, err, c.name)
		assert.Contains(t, zero.Says(), c.says, c.name)
		assert.Equal(t, c.name == "an early nose", zero.Doubtful, c.name)
		want := 110.0
		switch {
		case o.Valve == timing.Exhaust:
			want = -114
		case c.name == "an early nose":
			want = 60
		}
		assert.InDelta(t, want, got.Nose().Angle.Degrees(), 0.5, c.name)
	}
	// An angle of the asker's own goes before the engine's, and is not moved.
	got, zero, err := question.Curve(trace(110+20), timing.Options{Valve: timing.Intake, TDC: 20 * measure.Degree}, e, "5I")
	require.NoError(t, err)
	assert.Zero(t, zero)
	assert.InDelta(t, 110, got.Nose().Angle.Degrees(), 0.5)
}
