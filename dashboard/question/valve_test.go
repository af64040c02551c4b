package question_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/clearance"
	"lobescribe/capture/rocker/shims"
	"lobescribe/capture/valve"
	"lobescribe/capture/verdict"
	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

const mm = measure.Millimetre

func three(kind valve.Kind) valve.Valve { return valve.Valve{Cylinder: 3, Kind: kind} }

func TestNext(t *testing.T) {
	below := 250 * measure.Micrometre
	trials := []storage.Trial{{Valve: "3I", AdjusterBelowValve: &below, Stack: []measure.Length{mm}}, {Valve: "3I"}, {Valve: "3E", AdjusterBelowValve: &below}}
	e := storage.Engine{RockerRatio: storage.ForValves[float64]{Intake: 1.5}, ShimsOnHand: []storage.Shims{{Thickness: 500_000, Count: 2}, {Thickness: 1, Count: 0}}}
	of := func(v valve.Valve) question.Facts {
		return question.Facts{Engine: e, Valve: v, Trials: question.TrialsOf(trials, v)}
	}
	got := of(three(valve.Intake)).Next()
	require.NotNil(t, got.Answer, got.NoAnswer)
	assert.Len(t, got.Question.Trials, 1)
	assert.Len(t, got.Question.OnHand, 1)
	want, err := shims.Next(got.Question)
	require.NoError(t, err)
	assert.Equal(t, want, *got.Answer, "the calculation's own answer to the same question")
	assert.Equal(t, []string{question.LacksRatio}, of(three(valve.Exhaust)).Next().Lacks)
	assert.Equal(t, []string{question.LacksTrial}, of(valve.Valve{Cylinder: 1, Kind: valve.Intake}).Next().Lacks)
}

// Two arms that were measured, and a ratio on the box that they do not make: the
// page used to answer, and the sheet to refuse. Now there is one answer, which
// says so, and no verdict.
func TestArmsGoBeforeARatioThatTheyDoNotMake(t *testing.T) {
	below := 4 * mm
	e := storage.Engine{RockerRatio: storage.ForValves[float64]{Intake: 1.55}, RockerArm: 38 * mm, AdjusterArm: 27 * mm}
	f := question.Facts{Engine: e, Valve: three(valve.Intake), MaxLift: new(10 * mm), Trials: []storage.Trial{{Valve: "3I", AdjusterBelowValve: &below}}}
	next := f.Next()
	require.NotNil(t, next.Answer, next.NoAnswer)
	// Plane geometry: p = e / (1 + 1/R) with the ratio of the arms.
	assert.InDelta(t, 4/(1+27.0/38), next.Answer.Wanted.Millimetres(), 0.001)
	require.Len(t, next.Notes, 1)
	assert.Contains(t, next.Notes[0], "the arms make a rocker ratio of 1.41, and 1.55 is written down")
	assert.Equal(t, verdict.NotJudged, next.Answer.Verdict.Kind)
	assert.Equal(t, next.Notes, f.Rocker(0).Notes)
	require.NotNil(t, f.Rocker(0).Answer)

	f.Engine.RockerRatio.Intake = 1.4 // 0.5 % off: what a caliper is worth
	assert.Empty(t, f.Next().Notes)
	assert.Zero(t, f.Next().Question.RockerRatio)
}

func TestRocker(t *testing.T) {
	below, ball := 2*mm, 3*mm
	e := storage.Engine{RockerRatio: storage.ForValves[float64]{Intake: 1.5, Exhaust: 1.5}, RockerArm: 38 * mm, BallAboveLine: &ball,
		CamCard: storage.CamCard{MaxLiftIntake: 11 * mm, LashIntake: 200_000}}
	f := question.Facts{Engine: e, Valve: three(valve.Intake), Trials: []storage.Trial{
		{AdjusterBelowValve: new(5 * mm), Lash: 1}, {AdjusterBelowValve: &below, Lash: 300_000}, {Lash: 400_000}}}
	got := f.Rocker(41)
	require.NotNil(t, got.Answer, got.NoAnswer)
	q := got.Question
	assert.Equal(t, 11*mm, q.Lift, "of the card, while nothing was measured")
	assert.Equal(t, below, *q.AdjusterBelowValve, "of the newest trial that has one")
	assert.Equal(t, 300*measure.Micrometre, q.Lash)
	require.Len(t, q.AtLift, 41)
	assert.Zero(t, q.AtLift[0])
	assert.Equal(t, 11*mm, q.AtLift[40])
	// sin(bend) = 3 / (38/1.5)
	assert.InDelta(t, 6.80, q.Bend.Degrees(), 0.01)
	f.MaxLift = new(10 * mm)
	assert.Equal(t, 10*mm, f.Rocker(0).Question.Lift)
	f.Valve = three(valve.Exhaust)
	f.MaxLift = nil
	assert.Equal(t, []string{question.LacksLift}, f.Rocker(0).Lacks)
	f.Engine = storage.Engine{}
	assert.Equal(t, []string{question.LacksRatio, question.LacksLift}, f.Rocker(0).Lacks)
}

// The stricter of two limits holds, whoever gave it.
func TestLimit(t *testing.T) {
	e := storage.Engine{Limits: storage.Limits{PistonIntake: 2 * mm, PistonExhaust: 3 * mm, CoilBind: 1500 * measure.Micrometre}}
	for _, c := range []struct {
		asked *measure.Length
		kind  valve.Kind
		named string
		want  measure.Length
	}{
		{nil, valve.Intake, "", 2 * mm},
		{nil, valve.Exhaust, "", 3 * mm},
		{nil, "", "", 2 * mm}, // as the calculation takes it: intake
		{nil, valve.Intake, "exhaust", 3 * mm},
		{new(mm), valve.Intake, "", 2 * mm},
		{new(4 * mm), valve.Intake, "", 4 * mm},
	} {
		q := clearance.Question{Piston: &clearance.PistonQuestion{Limit: c.asked, Valve: c.named}, Retainer: &clearance.RetainerQuestion{}, CoilBind: &clearance.CoilBindQuestion{}}
		question.Limit(&q, e, c.kind)
		assert.Equal(t, c.want, *q.Piston.Limit, "%+v", c)
		assert.Nil(t, q.Retainer.Limit, "the engine sets none")
		assert.Equal(t, 1500*measure.Micrometre, *q.CoilBind.Limit)
	}
	spring := clearance.SpringQuestion{Limit: new(2 * mm)}
	question.Limit(&spring, e, "")
	assert.Equal(t, 2*mm, *spring.Limit)
}
