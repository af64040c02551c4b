package prove_test

import (
	"math/rand/v2"
	"strings"
	"testing"

	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// fine is a plain, good gauge.
func fine() gauge {
	return gauge{travel: 12.7, sign: 1, zero: 0, step: 0.001, rate: 100, pull: 40}
}

// does plays what a person does and returns the guide after it.
func (g gauge) does(way func(h *person), o prove.Options) *prove.Guide {
	h := &person{rng: rand.New(rand.NewPCG(3, 3))}
	way(h)
	guide := prove.New(o)
	last := measure.Stamp(0)
	for _, r := range g.show(h.p, 3) {
		for g.sparse && r.At-last > measure.Second/4 {
			last += measure.Second / 4
			guide.Pass(last)
		}
		last = r.At
		guide.Step(r)
	}
	return guide
}

func (h *person) stops(g gauge) {
	h.hold(1.5)
	h.push(g.travel, 1)
	h.hold(1.5)
}

func (h *person) ontoRetainer() {
	h.push(4, 1)
	h.hold(1.5)
}

func (h *person) snaps(n int) {
	for range n {
		h.push(7, 0.6)
		h.drop(4, 40)
		h.hold(1.4)
	}
}

func TestWhatGoesWrongIsSaid(t *testing.T) {
	g := fine()
	for name, c := range map[string]struct {
		does    func(h *person)
		stage   prove.Stage
		problem string
	}{
		"pressed a little": {func(h *person) { h.hold(1.5); h.push(0.5, 0.5); h.hold(1.5) }, prove.Home, "0.5 mm (0.0197 in) only"},
		"lowered": {func(h *person) { h.stops(g); h.ontoRetainer(); h.push(7, 0.6); h.carry(4, 2); h.hold(1.5) },
			prove.Snap, "lowered"},
		"does not reach the retainer": {func(h *person) { h.stops(g); h.push(0, 1); h.hold(3) }, prove.Snap, "does not reach"},
		"the stand moved": {func(h *person) {
			h.stops(g)
			h.ontoRetainer()
			h.snaps(1)
			h.push(7, 0.6)
			h.drop(3.5, 40)
			h.hold(1.5)
		},
			prove.Snap, "0.5 mm (0.0197 in) from where it stood"},
		"not pressed home": {func(h *person) {
			h.hold(1.5)
			h.push(6, 1)
			h.hold(1.5)
			h.ontoRetainer()
			h.push(9, 1)
			h.hold(0.5)
		},
			prove.Home, "further in than it was pressed"},
		"lay on the retainer at first": {func(h *person) {
			h.push(4, 0.1)
			h.hold(1.5)
			h.push(g.travel, 1)
			h.hold(1.5)
			h.push(0, 1)
			h.hold(1.5)
		}, prove.Snap, "went further than before"},
	} {
		n := g.does(c.does, prove.Options{}).Now()
		if n.Stage != c.stage || !strings.Contains(n.Problem, c.problem) {
			t.Errorf("%s: at %s, said %q", name, n.Stage, n.Problem)
		}
	}
}

func TestUnitSwitchBeginsAnew(t *testing.T) {
	g := fine()
	g.zero = 1 // so that no rest is near zero, where both units agree
	guide := g.does(func(h *person) { h.stops(g); h.ontoRetainer() }, prove.Options{})
	at := measure.Stamp(10 * measure.Second)
	for range 200 { // 5 mm on the retainer, taken for inches
		at += 10 * measure.Millisecond
		guide.Step(measure.Reading{At: at, Lift: 5 * 25_400_000, Has: measure.HasLift})
	}
	if n := guide.Now(); !strings.Contains(n.Problem, "unit") {
		t.Errorf("at %s, said %q", n.Stage, n.Problem)
	}
}

func TestSetToZeroBeginsAnew(t *testing.T) {
	g := fine()
	guide := g.does(func(h *person) { h.stops(g) }, prove.Options{})
	guide.Note(measure.Note{Kind: measure.NoteReZero})
	if n := guide.Now(); n.Stage != prove.Hang || n.Problem == "" {
		t.Errorf("at %s, said %q", n.Stage, n.Problem)
	}
}

func TestWithoutTheOtherSide(t *testing.T) {
	g := fine()
	all := func(h *person) { h.stops(g); h.ontoRetainer(); h.snaps(3) }
	guide := g.does(all, prove.Options{})
	if _, ok := guide.Proof(); ok || guide.Now().Stage != prove.Other {
		t.Fatalf("at %v", guide.Now())
	}
	guide.Finish()
	p, ok := guide.Proof()
	if !ok || !p.OneSided || len(p.Unlearned) == 0 {
		t.Errorf("%v, %+v", ok, p)
	}
	if p, ok := g.does(all, prove.Options{OneSided: true}).Proof(); !ok || p.Travel() != 12_700_000 {
		t.Errorf("%v, %+v", ok, p)
	}
	// And when nobody does anything for long.
	if p, ok := g.does(func(h *person) { all(h); h.hold(31) }, prove.Options{}).Proof(); !ok || !p.OneSided {
		t.Errorf("%v, %+v", ok, p)
	}
}

func TestInAnyOrder(t *testing.T) {
	g := fine()
	p, ok := g.does(func(h *person) {
		h.push(4, 0.1) // on the retainer, then pressed, then free
		h.hold(1.5)
		h.push(g.travel, 1)
		h.hold(1.5)
		h.push(0, 1)
		h.hold(1.5)
		h.ontoRetainer()
		h.snaps(3)
	}, prove.Options{OneSided: true}).Proof()
	if !ok || p.Low != 0 || p.High != 12_700_000 || p.In != 1 {
		t.Errorf("%v, %+v", ok, p)
	}
}

func TestGaugeThatSpeaksOnlyWhenItsFigureChanges(t *testing.T) {
	g := fine()
	g.sparse = true
	p, ok := g.does(func(h *person) { h.stops(g); h.ontoRetainer(); h.snaps(4); h.push(3, 1); h.hold(1) }, prove.Options{OneSided: true}).Proof()
	if !ok || p.Low != 0 || p.High != 12_700_000 || p.Stick > p.Step {
		t.Errorf("%v, %+v", ok, p)
	}
}
