package prove_test

import (
	"testing"

	"lobescribe/capture/prove"
	"lobescribe/device/measure"
)

// bench is a carrier and the readings it is fed, fifty a second.
type bench struct {
	*prove.Carrier
	at measure.Stamp
}

// known has stops at -2 and 10.7 mm.
func known() *bench {
	p := proof()
	p.Lag, p.Refresh = 0, 20*measure.Millisecond
	return &bench{Carrier: prove.NewCarrier(p)}
}

func (b *bench) reads(mm float64) {
	b.at += 20 * measure.Millisecond
	b.Step(measure.Reading{At: b.at, Lift: measure.FromMillimetres(mm), Has: measure.HasLift})
}

func (b *bench) stands(mm, seconds float64) {
	for range int(seconds * 50) {
		b.reads(mm)
	}
}

func (b *bench) moves(from, to, seconds float64) {
	n := int(seconds * 50)
	for i := range n {
		b.reads(from + (to-from)*float64(i+1)/float64(n))
	}
}

func TestAZeroThatIsToldMovesTheStops(t *testing.T) {
	b := known()
	b.stands(3, 2)
	b.Note(measure.Note{Kind: measure.NoteReZero})
	b.stands(0, 2)
	if low, high, ok := b.Proof().Stops(); !ok || low != -5*measure.Millimetre || high != 7_700_001 {
		t.Errorf("%v, %v, %v", low, high, ok)
	}
}

func TestAJumpToZeroMakesTheStopsLooseUntilTheyAreKnownAgain(t *testing.T) {
	set := known() // somebody pressed zero at 3 mm
	set.stands(3, 2)
	set.stands(0, 3)
	if _, _, ok := set.Proof().Stops(); ok {
		t.Error("a jump to zero was taken for certain")
	}
	set.moves(0, -4.5, 1) // further than it could go from zero, had it fallen
	set.stands(-4.5, 1)
	if low, _, ok := set.Proof().Stops(); !ok || low != -5*measure.Millimetre {
		t.Errorf("set to zero: %v, %v", low, ok)
	}

	fell := known() // the spindle was let go at 3 mm
	fell.stands(3, 2)
	fell.stands(0, 3)
	fell.moves(0, 9, 1)
	if low, _, ok := fell.Proof().Stops(); !ok || low != -2*measure.Millimetre {
		t.Errorf("let go: %v, %v", low, ok)
	}
}

func TestMovementIsNoZero(t *testing.T) {
	b := known()
	for range 5 { // a valve that opens from zero and comes home
		b.stands(0, 2)
		b.moves(0, 9, 1)
		b.stands(9, 2)
		b.moves(9, 0, 1)
	}
	b.reads(40) // misread
	b.stands(0, 2)
	if low, _, ok := b.Proof().Stops(); !ok || low != -2*measure.Millimetre {
		t.Errorf("%v, %v", low, ok)
	}
}

func TestAReadingBeyondBothStopsLosesThem(t *testing.T) {
	b := known()
	b.stands(3, 2)
	b.moves(3, 20, 1)
	b.stands(20, 1)
	b.stands(3, 2)
	if p := b.Proof(); !p.Loose || p.Travel() != proof().Travel() {
		t.Errorf("%+v", p)
	}
	b = &bench{Carrier: prove.NewCarrier(prove.Proof{})}
	b.stands(3, 2)
	b.stands(0, 2)
	if b.Proof().Proved() {
		t.Error("nothing was proved")
	}
}
