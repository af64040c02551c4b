package shims

import (
	"errors"
	"fmt"
	"slices"

	"lobescribe/device/measure"
)

// mostCells bounds the table that choose fills: steps of thickness times kinds.
const mostCells = 8 << 20

var (
	errNoStack = errors.New("no stack of the shims on hand lies within the limits")
	errTooFine = errors.New("the thicknesses on hand have too fine a common step to try every stack: round them (on_hand_mm) to 0.001 mm or 0.0001 in")
)

// choose puts together the stack nearest to wanted from the pieces on hand; of
// stacks equally near, the one with fewest pieces, then the thinner. Only
// stacks from least to most are looked at. The result is thickest first.
//
// It is the bounded subset-sum problem, solved exactly over the greatest common
// step of the thicknesses: for every reachable height the fewest pieces that
// make it, one kind of shim after the other. A window slides over the heights
// that lie whole shims apart and keeps the least of the last count+1 of them,
// so that a kind costs the same however many pieces there are.
func choose(onHand []Thickness, wanted, least, most measure.Length) (Stack, error) {
	kinds := merged(onHand)
	target := min(max(wanted, least), most)
	// A stack above target that is the nearest there falls below target when
	// any piece is taken out: it is lower than target and one thickest piece.
	step, total, thickest := measure.Length(0), measure.Length(0), measure.Length(0)
	for _, k := range kinds {
		step = measure.CommonDivisor(step, k.Thickness)
		total += k.Thickness * measure.Length(k.Count)
		thickest = max(thickest, k.Thickness)
	}
	top := max(0, min(total, most, max(target, 0)+thickest))
	if step == 0 { // none left of any kind
		step = 1
		top = 0
	}
	heights := int(top/step) + 1
	if int64(top/step) >= mostCells/int64(len(kinds)+1) {
		return nil, fmt.Errorf("%w (%d steps of %v)", errTooFine, top/step, step)
	}

	fewest := make([]int32, heights) // pieces that make a height, or -1
	for i := range fewest {
		fewest[i] = -1
	}
	fewest[0] = 0
	used := make([][]int32, len(kinds)) // of each kind, at each height
	for i, k := range kinds {
		fewest, used[i] = add(fewest, int(k.Thickness/step), k.Count)
	}

	best := -1
	distance := func(h int) measure.Length { return (measure.Length(h)*step - wanted).Abs() }
	for h, pieces := range fewest {
		height := measure.Length(h) * step
		if pieces < 0 || height < least || height > most {
			continue
		}
		if best < 0 || distance(h) < distance(best) || distance(h) == distance(best) && pieces < fewest[best] {
			best = h
		}
	}
	if best < 0 {
		return nil, errNoStack
	}
	stack := Stack{}
	for i := len(kinds) - 1; i >= 0; i-- {
		n := int(used[i][best])
		for range n {
			stack = append(stack, kinds[i].Thickness)
		}
		best -= n * int(kinds[i].Thickness/step)
	}
	slices.SortFunc(stack, func(a, b measure.Length) int { return int(min(1, max(-1, b-a))) })
	return stack, nil
}

// add returns the fewest pieces for every height when up to count pieces of
// one thickness (in steps) may be added, and how many were.
func add(fewest []int32, thickness, count int) (sum []int32, used []int32) {
	sum, used = make([]int32, len(fewest)), make([]int32, len(fewest))
	var window []int // heights of a chain whose pieces, less their place, rise
	for start := range min(thickness, len(fewest)) {
		window = window[:0]
		first := 0
		for place := 0; start+place*thickness < len(fewest); place++ {
			h := start + place*thickness
			if fewest[h] >= 0 {
				worth := int(fewest[h]) - place
				for len(window) > first {
					last := window[len(window)-1]
					if int(fewest[start+last*thickness])-last <= worth {
						break
					}
					window = window[:len(window)-1]
				}
				window = append(window, place)
			}
			if len(window) > first && window[first] < place-count {
				first++
			}
			sum[h] = -1
			if len(window) > first {
				from := window[first]
				sum[h] = fewest[start+from*thickness] + int32(place-from)
				used[h] = int32(place - from)
			}
		}
	}
	return sum, used
}

// merged adds up the counts of equal thicknesses and drops what there is none
// of, thinnest first.
func merged(onHand []Thickness) []Thickness {
	var kinds []Thickness
	sorted := slices.SortedFunc(slices.Values(onHand), func(a, b Thickness) int {
		return int(min(1, max(-1, a.Thickness-b.Thickness)))
	})
	for _, k := range sorted {
		switch n := len(kinds); {
		case k.Count <= 0:
		case n > 0 && kinds[n-1].Thickness == k.Thickness:
			kinds[n-1].Count += k.Count
		default:
			kinds = append(kinds, k)
		}
	}
	return kinds
}
