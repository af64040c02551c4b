package question_test

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/dashboard/question"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

type lifts struct {
	documents
	traces []storage.Summary
	broken bool
}

func (l lifts) Traces(q storage.Query) ([]storage.Summary, error) {
	if l.broken {
		return nil, errors.New("the disk")
	}
	var of []storage.Summary
	for _, t := range l.traces {
		if t.Engine == q.Engine {
			of = append(of, t)
		}
	}
	return of, nil
}

// What a valve lifted last says more than its sisters, they more than the card.
func TestMaxLift(t *testing.T) {
	found := func(engine, valve string, mm float64) storage.Summary {
		l := measure.FromMillimetres(mm)
		return storage.Summary{Engine: engine, Valve: valve, MaxLift: &l}
	}
	d := lifts{documents: documents{engine: storage.Engine{ID: "mule",
		CamCard: storage.CamCard{MaxLiftIntake: 11_000_000, LashIntake: 500_000}}}}
	check := func(valve string, expect, within float64) {
		t.Helper()
		lift, u := question.MaxLift(d, "mule", valve)
		assert.InDelta(t, expect, lift.Millimetres(), 1e-5)
		assert.InDelta(t, within, u.Millimetres(), 1e-5)
	}
	check("1I", 10.5, 0.63)
	check("1E", 0, 0)
	check("", 0, 0)
	d.traces = []storage.Summary{found("other", "1I", 7), found("mule", "2I", 10), found("mule", "3I", 10.8), found("mule", "3I", 2), found("mule", "3E", 9), {Engine: "mule", Valve: "1I"}}
	check("1I", 10.4, 0.8)
	check("3I", 10.8, 0.324)
	check("4E", 9, 0.36)
	d.broken = true
	check("1I", 10.5, 0.63)
}
