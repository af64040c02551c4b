package drive

import (
	"math"
	"slices"

	"lobescribe/device/measure"
)

const (
	// Cycle is what a four-stroke engine turns from nose to nose, degrees.
	Cycle = 720.0
	// Turn is after how many an angle starts again that starts again.
	Turn = 360.0
	// LeastSlip is by how many degrees more than its uncertainty a turn must be off.
	LeastSlip = 0.7
	// and by this share of how far readings lie apart.
	sparseSlip = 0.12
	// One turn alone that is off by more than this is off by its counts.
	mostSlip = 15.0
)

// Turned is an opening, or a flank of one, as the crank came to it.
type Turned struct {
	*Passage
	Open, Nose measure.Stamp
	// Alone says that there is nothing between it and the one before but a heel.
	Alone bool
	// Back says that the engine was turned back through another in between.
	Back bool
}

// Trouble is what can be wrong with the turns from opening to opening.
type Trouble uint8

// The troubles.
const (
	NoTrouble Trouble = iota
	FlanksOff         // the flanks of one opening lie nearer or farther than those of the others
	Elsewhere         // one opening lies away from where the others are
	CountsOff         // all turns are off alike
	Slipped           // the turn before one opening is off
)

// Turns is what the turns between openings come to.
type Turns struct {
	Trouble Trouble
	At      int     // of which opening
	By      float64 // degrees
	// Missed is the opening before which one could not be measured; 0 for none.
	Missed int
	// Loose is by how many degrees the turns are off where that is too much for readings
	// that go well together and too little for a trouble.
	Loose float64
}

// Turns compares the turns between the openings that were fitted with what a four-stroke
// engine makes. unknown says of a time whether whole turns were counted in it.
func (f *Fit) Turns(ways []Turned, unknown func(from, to measure.Stamp) bool) Turns {
	// On each opening's flanks the same lift lies the same way apart.
	tolerance := max(LeastSlip, f.count/2) + 2*f.within + sparseSlip*f.apart
	var t Turns
	// What all openings are off by alike the fit has left: a hand that goes evenly tells
	// it little.
	middle, own := widthOfAll(ways, f.width)
	for i, w := range f.width {
		if len(f.width) == 1 || ways[i].Part {
			continue
		}
		// Another lash, or a worn lobe, is a flank elsewhere as well, and another max lift.
		width := max(math.Abs(w[1]-w[0]-middle)-ways[i].narrower(ways)*own, 0)
		t.Loose = max(t.Loose, width/own)
		if width > tolerance*own {
			return Turns{Trouble: FlanksOff, At: i, By: width / own}
		}
	}
	if len(f.shift) < 2 {
		t.Loose = Worth(t.Loose)
		return t
	}
	off, missed := f.turnsOff(ways, tolerance, unknown)
	t.Missed = missed
	if at, by := elsewhere(off, tolerance); at > 0 {
		return Turns{Trouble: Elsewhere, At: at, By: math.Abs(by), Missed: missed}
	}
	sorted := slices.Sorted(slices.Values(off))
	median := (sorted[len(sorted)/2] + sorted[(len(sorted)-1)/2]) / 2
	worst := 0
	for i, o := range off {
		if math.Abs(o) > math.Abs(off[worst]) {
			worst = i
		}
	}
	// Little by little counts go as wrong as at once: what all turns have together is as
	// well known as what one has.
	adrift := 0.0
	for _, o := range off {
		adrift += o
	}
	if most := max(math.Abs(off[worst]), math.Abs(adrift)); most <= tolerance {
		t.Loose = Worth(max(t.Loose, most))
		return t
	}
	if alike(sorted, median, tolerance) {
		return Turns{Trouble: CountsOff, By: median, Missed: missed}
	}
	return Turns{Trouble: Slipped, At: worst + 1, By: math.Abs(off[worst]), Missed: missed}
}

// alike says whether all turns are off by the same, as wrong counts make them: none of
// several may stand near 720 degrees, however far readings lie apart.
func alike(sorted []float64, median, tolerance float64) bool {
	least, most := sorted[0], sorted[len(sorted)-1]
	if len(sorted) == 1 {
		return math.Abs(most) > mostSlip
	}
	return most-least <= tolerance+math.Abs(median)/4 && min(least/median, most/median) > 0.7
}

// turnsOff returns how far the turns between openings are off 720 degrees, each; and
// before which opening one is missing, where that is why; 0 for none.
func (f *Fit) turnsOff(ways []Turned, tolerance float64, unknown func(from, to measure.Stamp) bool) (off []float64, missed int) {
	off = make([]float64, len(f.shift)-1)
	for i := range off {
		turn := f.shift[i+1] - f.shift[i]
		turns := 1.0
		switch {
		case ways[i+1].Back:
			turns = math.Round(turn / Cycle)
		case !ways[i+1].Alone:
			turns = max(math.Round(turn/Cycle), 1)
		}
		if unknown(ways[i].Open, ways[i+1].Nose) {
			turn -= math.Round((turn-turns*Cycle)/Turn) * Turn
		}
		off[i] = (turn - turns*Cycle) / max(math.Abs(turns), 1)
	}
	sorted := slices.Sorted(slices.Values(off))
	if n := len(sorted); math.Abs(sorted[(n-1)/2]) > tolerance {
		return off, 0
	}
	for i, o := range off {
		if turns := math.Round(o / Cycle); turns >= 1 && math.Abs(o-turns*Cycle) <= (turns+1)*tolerance {
			off[i] = (o - turns*Cycle) / (turns + 1)
			missed = i + 1
		}
	}
	return off, missed
}

// widthOfAll returns by how much the flanks of the middle opening lie apart, beside the
// fit, and which share of what one is off by then shows: of two each has a half.
func widthOfAll(ways []Turned, width [][2]float64) (middle, share float64) {
	var all []float64
	for i, w := range width {
		if !ways[i].Part {
			all = append(all, w[1]-w[0])
		}
	}
	slices.Sort(all)
	switch n := len(all); n {
	case 0, 1:
		return 0, 1
	case 2:
		return (all[0] + all[1]) / 2, 0.5
	default:
		return all[n/2], 1
	}
}

// elsewhere returns the opening between two others that fit each other and not it, and
// by how many degrees it is away from its place; 0 for none. off is of the turns between.
func elsewhere(off []float64, tolerance float64) (at int, by float64) {
	for i := 1; i < len(off); i++ {
		own := math.Remainder(off[i-1], Cycle)
		if math.Abs(own) > mostSlip && math.Abs(math.Remainder(off[i-1]+off[i], Cycle)) <= 2*tolerance {
			return i, own
		}
	}
	return 0, 0
}

// narrower returns by how many degrees an opening may last shorter or longer than the
// others because its max lift is another, by more than they scatter.
func (w Turned) narrower(ways []Turned) float64 {
	lifts := make([]float64, 0, len(ways))
	for _, o := range ways {
		if !o.Part {
			lifts = append(lifts, o.Lift)
		}
	}
	steep := min(w.Steepness(0), w.Steepness(1)) * w.Lift // nanometres a degree
	if len(lifts) < 2 || steep <= 0 {
		return 0
	}
	slices.Sort(lifts)
	off := math.Abs(w.Lift - lifts[(len(lifts)-1)/2])
	if off < sameLift {
		return 0
	}
	return lashWidth * off / steep
}

// lashWidth is how much wider a lobe is at half lift, in ways that the lift changes by on
// its flanks: half of it on either, and something for flanks that are not alike.
const lashWidth = 1.3

// sameLift is by how much max lifts differ that are alike, nanometres: under 0.001 in may
// be what a base circle is out.
const sameLift = 25e3

// Worth returns by how many degrees turns are off, where that is worth a wider ±; else 0.
func Worth(off float64) float64 {
	if off > LeastSlip {
		return off
	}
	return 0
}
