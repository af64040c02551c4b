package workshop

import (
	"math/rand/v2"
	"slices"
)

// Kind is a kind of session: sound, or with one trouble.
type Kind struct {
	Name string
	// Sound: nothing may be told.
	Sound bool
	// HeldOut: nobody was told of it before it was judged.
	HeldOut bool
	// NeedsEncoder: without one there is nothing to see.
	NeedsEncoder bool
	// NamedBy are the kinds of fault that name the matter, as they stand in
	// findings. None where the figures must hold without.
	NamedBy []string
	spoil   func(b *bench, r *rand.Rand)
}

// whatever names any trouble: what it did to the openings is told.
var whatever = []string{"not-counted", "no-repeat"}

// Kinds returns all of them.
func Kinds() []Kind {
	kinds := kinds()
	for i := range kinds {
		if k := &kinds[i]; !k.Sound {
			k.NamedBy = slices.Concat(k.NamedBy, whatever)
		}
	}
	return kinds
}

func kinds() []Kind {
	return []Kind{
		{Name: "sound", Sound: true, spoil: func(*bench, *rand.Rand) {}},
		{Name: "warm drift", Sound: true, spoil: warmDrift},
		{Name: "backward", Sound: true, spoil: backward},
		{Name: "late port", NeedsEncoder: true, NamedBy: []string{"late-port", "slow-gauge"}, spoil: latePort},

		{Name: "misread digit", NamedBy: []string{"misread"}, spoil: misreadDigit},
		{Name: "misread burst", NamedBy: []string{"misread"}, spoil: misreadBurst},
		{Name: "no lift", NamedBy: []string{"misread", "no-lift"}, spoil: noLift},
		{Name: "frozen", NamedBy: []string{"frozen"}, spoil: frozen},
		{Name: "slow gauge", NamedBy: []string{"slow-gauge"}, spoil: slowGauge},
		{Name: "sticking", NamedBy: []string{"sticking", "zero-shift"}, spoil: sticking},
		{Name: "bleeding", NamedBy: []string{"bleeding"}, spoil: bleeding},
		{Name: "encoder slips", NeedsEncoder: true, NamedBy: []string{"encoder-slip"}, spoil: encoderSlips},
		{Name: "encoder loses", NeedsEncoder: true, NamedBy: []string{"encoder-counts", "encoder-slip"}, spoil: encoderLoses},
		{Name: "encoder counts", NeedsEncoder: true, NamedBy: []string{"encoder-counts"}, spoil: encoderCounts},
		{Name: "heel runs out", NamedBy: []string{"heel-runout", "zero-shift"}, spoil: heelRunsOut},
		{Name: "cut nose", NamedBy: []string{"travel-end"}, spoil: cutNose},
		{Name: "hangs free", NamedBy: []string{"no-contact"}, spoil: hangsFree},
		{Name: "base slips", NamedBy: []string{"zero-shift"}, spoil: baseSlips},
		{Name: "knock", NamedBy: []string{"knock", "misread"}, spoil: knock},

		{Name: "tip skates off", NamedBy: []string{"zero-shift", "knock"}, spoil: tipSkatesOff},
		{Name: "base slips open", NamedBy: []string{"zero-shift"}, spoil: slipsOpen},
		{Name: "stand yields", NamedBy: []string{"sticking", "zero-shift", "bleeding"}, spoil: standYields},
		{Name: "spindle lifted", NamedBy: []string{"knock", "misread"}, spoil: spindleLifted},
		{Name: "unit switched", NamedBy: []string{"unit-change", "misread"}, spoil: unitSwitched},
		{Name: "re-zeroed", NamedBy: []string{"re-zero", "zero-shift"}, spoil: reZeroed},
		{Name: "encoder stands", NeedsEncoder: true, NamedBy: []string{"encoder-slip", "encoder-counts"}, spoil: encoderStands},

		{Name: "vibration", HeldOut: true, NamedBy: []string{"knock", "misread"}, spoil: vibration},
		{Name: "digit dropped", HeldOut: true, NamedBy: []string{"misread", "no-lift"}, spoil: digitDropped},
		{Name: "minus dropped", HeldOut: true, NamedBy: []string{"misread"}, spoil: minusDropped},
		{Name: "lines twice", HeldOut: true, NamedBy: []string{"frozen"}, spoil: linesTwice},
		{Name: "port hiccups", HeldOut: true, NamedBy: []string{"late-port", "frozen", "gap"}, spoil: portHiccups},
		{Name: "encoder glitch", HeldOut: true, NeedsEncoder: true, NamedBy: []string{"misread", "encoder-slip"}, spoil: encoderGlitch},
		{Name: "slack drive", HeldOut: true, NeedsEncoder: true, NamedBy: []string{"slack", "encoder-slip"}, spoil: slackDrive},
		{Name: "two at once", HeldOut: true, NamedBy: nil, spoil: twoAtOnce},
	}
}

func kindOf(name string) (Kind, bool) {
	for _, k := range Kinds() {
		if k.Name == name {
			return k, true
		}
	}
	return Kind{}, false
}
