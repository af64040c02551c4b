// Package valve names the valves of an engine: which cylinder, intake or exhaust,
// and which of several of that kind. It is the only place where such a name is
// read, written or put in order.
//
// A name is the cylinder's number, "I" or "E", and, where a cylinder has several
// of the kind, a number from 1: "3I", "12E", "3I2". [Parse] takes exactly that
// and refuses everything else, so that one valve has one name; [Valve.String]
// writes it. [Compare] is the order by place (cylinder, intakes before exhausts),
// [Of] the valves of an engine in firing order.
package valve

import (
	"cmp"
	"fmt"
	"strconv"
)

// Kind says whether a valve is an intake or an exhaust valve. The zero value
// means that nobody said.
type Kind string

// The kinds.
const (
	Intake  Kind = "intake"
	Exhaust Kind = "exhaust"
)

// letter is the kind in a name.
func (k Kind) letter() string {
	if k == Exhaust {
		return "E"
	}
	return "I"
}

// Valve is one valve of an engine. The zero value is none.
type Valve struct {
	Cylinder int  // from 1
	Kind     Kind // Intake or Exhaust
	// Nth is which of its kind, from 1; 0 where the cylinder has only one.
	Nth int
}

// The most that a name may count to. An engine has at most 48 cylinders; the
// bounds only keep a name from being a long number.
const (
	mostCylinders = 999
	mostOfAKind   = 9
)

// Parse reads a valve's name.
func Parse(name string) (Valve, error) {
	digits := 0
	for digits < len(name) && name[digits] >= '0' && name[digits] <= '9' {
		digits++
	}
	cylinder, ok := number(name[:digits], mostCylinders)
	if !ok || digits == len(name) {
		return Valve{}, unknown(name)
	}
	v := Valve{Cylinder: cylinder}
	switch name[digits] {
	case 'I':
		v.Kind = Intake
	case 'E':
		v.Kind = Exhaust
	default:
		return Valve{}, unknown(name)
	}
	if rest := name[digits+1:]; rest != "" {
		if v.Nth, ok = number(rest, mostOfAKind); !ok {
			return Valve{}, unknown(name)
		}
	}
	return v, nil
}

// number reads digits without a leading zero, from 1 to most.
func number(text string, most int) (int, bool) {
	n, err := strconv.Atoi(text)
	return n, err == nil && n >= 1 && n <= most && strconv.Itoa(n) == text
}

func unknown(name string) error {
	return fmt.Errorf(`%q is no valve's name: write the cylinder and I for intake or E for exhaust, as in "3I" or "3E" (with several of a kind "3I2")`, name)
}

// String returns the valve's name; "" for the zero value.
func (v Valve) String() string {
	if v == (Valve{}) {
		return ""
	}
	name := strconv.Itoa(v.Cylinder) + v.Kind.letter()
	if v.Nth > 0 {
		name += strconv.Itoa(v.Nth)
	}
	return name
}

// Words returns the valve as it is spoken: "cylinder 3 intake", "cylinder 3
// intake 2".
func (v Valve) Words() string {
	says := fmt.Sprintf("cylinder %d %s", v.Cylinder, v.Kind)
	if v.Nth > 0 {
		says += " " + strconv.Itoa(v.Nth)
	}
	return says
}

// KindOf returns the kind of the valve of that name; "" for a name that is none.
func KindOf(name string) Kind {
	v, _ := Parse(name)
	return v.Kind
}

// Compare orders valves by place: by cylinder, intakes before exhausts, then by
// number.
func Compare(a, b Valve) int {
	return cmp.Or(cmp.Compare(a.Cylinder, b.Cylinder), cmp.Compare(b.Kind, a.Kind), cmp.Compare(a.Nth, b.Nth))
}

// CompareNames orders names by place. Names that are none come last, by their
// letters.
func CompareNames(a, b string) int {
	v, errA := Parse(a)
	w, errB := Parse(b)
	switch {
	case errA == nil && errB == nil:
		return Compare(v, w)
	case errA == nil:
		return -1
	case errB == nil:
		return 1
	}
	return cmp.Compare(a, b)
}

// Of returns the valves of an engine, cylinder by cylinder in the order given,
// intakes first. Of an odd number of valves to a cylinder one more is an intake.
func Of(cylinders []int, perCylinder int) []Valve {
	exhausts := perCylinder / 2
	var all []Valve
	for _, c := range cylinders {
		for _, k := range []struct {
			kind Kind
			n    int
		}{{Intake, perCylinder - exhausts}, {Exhaust, exhausts}} {
			if k.n == 1 {
				all = append(all, Valve{Cylinder: c, Kind: k.kind})
				continue
			}
			for i := range min(k.n, mostOfAKind) {
				all = append(all, Valve{Cylinder: c, Kind: k.kind, Nth: i + 1})
			}
		}
	}
	return all
}

// Names returns the valves' names.
func Names(valves []Valve) []string {
	names := make([]string, len(valves))
	for i, v := range valves {
		names[i] = v.String()
	}
	return names
}
