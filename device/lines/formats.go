package lines

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// Formats is a set of formats by name. The zero value holds those that are
// built in; [Formats.Add] adds a person's own.
type Formats struct {
	own []Format
}

// Add puts a format into the set. One of the same name as a built-in takes its
// place; twice the same name is an error.
func (s *Formats) Add(f Format) error {
	if err := f.Validate(); err != nil {
		return err
	}
	if slices.ContainsFunc(s.own, func(have Format) bool { return have.Name == f.Name }) {
		return fmt.Errorf("%w %q: there are two of this name", ErrFormat, f.Name)
	}
	s.own = append(s.own, f)
	return nil
}

// All returns the formats, a person's own first.
func (s *Formats) All() []Format {
	var all []Format
	if s != nil {
		all = slices.Clone(s.own)
	}
	for _, f := range BuiltIn() {
		if !slices.ContainsFunc(all, func(have Format) bool { return have.Name == f.Name }) {
			all = append(all, f)
		}
	}
	return all
}

// Named returns the format of a name. The error lists the names there are.
func (s *Formats) Named(name string) (Format, error) {
	all := s.All()
	names := slices.Clone(reservedNames)
	for _, f := range all {
		if f.Name == strings.ToLower(name) {
			return f, nil
		}
		names = append(names, f.Name)
	}
	return Format{}, fmt.Errorf("%w %q is not known (there are: %s)", ErrFormat, name, strings.Join(names, ", "))
}

// BuiltIn returns the formats that are built in. Their names say what they
// look like.
func BuiltIn() []Format {
	words, status := commonWords(), commonStatus()
	stx := byte(0x02)
	return []Format{
		{Name: "plain", Says: "a bare decimal a line: 10.668 (unit= says the unit; mm if it does not)",
			Columns: []Column{{Role: Lift, UnitRule: UnitNever}}, Words: words},
		{Name: "plain-inch", Says: "a bare decimal in inches: 0.4200",
			Columns: []Column{{Role: Lift, UnitRule: UnitNever, Unit: measure.InInches}}, Words: words},
		{Name: "unit-behind", Says: `a decimal and its unit, and perhaps a status: +10.668 mm, 0.4200 in OK`,
			Columns: []Column{{Role: Lift, UnitRule: UnitMustFollow, Status: status}}, Words: words},
		{Name: "unit-letter", Says: "a decimal and the letter M or I for its unit: +010.668M, +00.4200I",
			Columns: []Column{{Role: Lift, UnitRule: UnitMustFollow, Status: []Status{
				{Text: "M", Unit: measure.InMillimetres}, {Text: "I", Unit: measure.InInches},
				{Text: "MB", Unit: measure.InMillimetres, Says: "battery low"}, {Text: "IB", Unit: measure.InInches, Says: "battery low"},
				{Text: "ME", Unit: measure.InMillimetres, Says: "spindle out of range", NoReading: true},
				{Text: "IE", Unit: measure.InInches, Says: "spindle out of range", NoReading: true},
			}}}, Words: words},
		{Name: "channel", Says: "a channel before the number: 01A+0010.668 or A: 0.4200 in",
			Columns: []Column{{Role: Lift, TagNeeded: true, Status: status,
				Tags: []string{"01A", "02A", "1A", "A:", "B:", "A", "B", "X:", "Z:", "X", "Y", "Z", "CH1", "CH1:", "CH2", "CH2:", "P:", "L:", "D"}}}, Words: words},
		{Name: "sign-behind", Says: "the sign behind the number: 0.4200- in",
			Columns: []Column{{Role: Lift, Status: status}}, Words: words},
		{Name: "comma", Says: "a decimal comma: 10,668 mm", DecimalComma: true,
			Columns: []Column{{Role: Lift, Status: status}}, Words: words},
		{Name: "microns", Says: "whole counts of 0.001 mm: +10668 (scale= for another count)",
			Columns: []Column{{Role: Lift, Whole: true, UnitRule: UnitNever, Scale: measure.Micrometre}}, Words: words},
		{Name: "hundredths", Says: "whole counts of 0.01 mm: 1067 (scale= for another count)",
			Columns: []Column{{Role: Lift, Whole: true, UnitRule: UnitNever, Scale: 10 * measure.Micrometre}}, Words: words},
		{Name: "tenths", Says: "whole counts of 0.0001 in: 4200 (scale= for another count)",
			Columns: []Column{{Role: Lift, Whole: true, UnitRule: UnitNever, Scale: measure.Thou / 10}}, Words: words},
		{Name: "framed", Says: "between STX and ETX, with or without a unit: <STX>+10.668 mm<ETX>", Start: stx, End: 0x03,
			Columns: []Column{{Role: Lift, Status: status}}, Words: words},
		{Name: "checked", Says: "between $ and * with a check behind it: $LIFT,10.668,mm*00", Check: XorAfterStar,
			Columns: []Column{{Role: Lift, TagNeeded: true, Tags: []string{"LIFT,"}, UnitRule: UnitMustFollow, Status: []Status{
				{Text: ",mm", Unit: measure.InMillimetres}, {Text: ",in", Unit: measure.InInches},
			}}}, Words: words},
		{Name: "sixteen", Says: "sixteen digits from STX to CR, with the sign, the point and the unit among them: <STX>41940300010668", Check: SixteenDigits, Start: stx,
			Columns: []Column{{Role: Lift, UnitRule: UnitMustFollow}}, Words: words},
		{Name: "asked", Says: `speaks when asked by "?" and CR, a decimal and its unit: 0.4200 in`, Poll: "?\r",
			Columns: []Column{{Role: Lift, Status: status}}, Words: words},
		{Name: "angle-lift", Says: "degrees and lift: 106.5,10.668 mm", Separator: ',',
			Columns: []Column{{Role: Angle, UnitRule: UnitNever}, {Role: Lift, Status: status}}, Words: words},
		{Name: "counts-lift", Says: "counts of an encoder and lift: 710,10.668mm (counts= says how many make a turn)", Separator: ',',
			Columns: []Column{{Role: Counts, Whole: true, UnitRule: UnitNever}, {Role: Lift, Status: status}}, Words: words},
		{Name: "counts-lift-checked", Says: "as counts-lift, with a check: $710,10.668mm*0D", Separator: ',', Check: XorAfterStar,
			Columns: []Column{{Role: Counts, Whole: true, UnitRule: UnitNever}, {Role: Lift, Status: status}}, Words: words},
		{Name: "board", Says: "the board of this project's firmware, its lines numbered: $710,10.668mm,37*25 (counts= says how many make a turn)", Separator: ',', Check: XorAfterStar,
			Columns: []Column{{Role: Counts, Whole: true, UnitRule: UnitNever, Status: []Status{{Text: "I", Index: true}}},
				{Role: Lift, UnitRule: UnitMustFollow}, {Role: Number, Whole: true, UnitRule: UnitNever, Round: 256}},
			Version: "LOBESCRIBE BOARD ", Words: boardWords()},
		{Name: "degrees", Says: "degrees of an encoder: 106.5",
			Columns: []Column{{Role: Angle, UnitRule: UnitNever, Status: []Status{{Text: "deg"}, {Text: "°"}}}}, Words: words},
		{Name: "counts", Says: "counts of an encoder: 710 (counts= says how many make a turn)",
			Columns: []Column{{Role: Counts, Whole: true, UnitRule: UnitNever}}, Words: words},
	}
}
