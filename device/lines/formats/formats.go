package formats

import (
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// Set is a set of formats by name. The zero value holds those that are
// built in; [Set.Add] adds a person's own.
type Set struct {
	own []lines.Format
}

// Add puts a format into the set. One of the same name as a built-in takes its
// place; twice the same name is an error.
func (s *Set) Add(f lines.Format) error {
	if err := f.Validate(); err != nil {
		return err
	}
	if slices.ContainsFunc(s.own, func(have lines.Format) bool { return have.Name == f.Name }) {
		return fmt.Errorf("%w %q: there are two of this name", lines.ErrFormat, f.Name)
	}
	s.own = append(s.own, f)
	return nil
}

// All returns the formats, a person's own first.
func (s *Set) All() []lines.Format {
	var all []lines.Format
	if s != nil {
		all = slices.Clone(s.own)
	}
	for _, f := range BuiltIn() {
		if !slices.ContainsFunc(all, func(have lines.Format) bool { return have.Name == f.Name }) {
			all = append(all, f)
		}
	}
	return all
}

// Named returns the format of a name. The error lists the names there are.
func (s *Set) Named(name string) (lines.Format, error) {
	all := s.All()
	names := slices.Clone(lines.ReservedNames())
	for _, f := range all {
		if f.Name == strings.ToLower(name) {
			return f, nil
		}
		names = append(names, f.Name)
	}
	return lines.Format{}, fmt.Errorf("%w %q is not known (there are: %s)", lines.ErrFormat, name, strings.Join(names, ", "))
}

// BuiltIn returns the formats that are built in. Their names say what they
// look like.
func BuiltIn() []lines.Format {
	words, status := Words(), Statuses()
	stx := byte(0x02)
	return []lines.Format{
		{Name: "plain", Says: "a bare decimal a line: 10.668 (unit= says the unit; mm if it does not)",
			Columns: []lines.Column{{Role: lines.Lift, UnitRule: lines.UnitNever}}, Words: words},
		{Name: "plain-inch", Says: "a bare decimal in inches: 0.4200",
			Columns: []lines.Column{{Role: lines.Lift, UnitRule: lines.UnitNever, Unit: measure.InInches}}, Words: words},
		{Name: "unit-behind", Says: `a decimal and its unit, and perhaps a status: +10.668 mm, 0.4200 in OK`,
			Columns: []lines.Column{{Role: lines.Lift, UnitRule: lines.UnitMustFollow, Status: status}}, Words: words},
		{Name: "unit-letter", Says: "a decimal and the letter M or I for its unit: +010.668M, +00.4200I",
			Columns: []lines.Column{{Role: lines.Lift, UnitRule: lines.UnitMustFollow, Status: []lines.Status{
				{Text: "M", Unit: measure.InMillimetres}, {Text: "I", Unit: measure.InInches},
				{Text: "MB", Unit: measure.InMillimetres, Says: "battery low"}, {Text: "IB", Unit: measure.InInches, Says: "battery low"},
				{Text: "ME", Unit: measure.InMillimetres, Says: "spindle out of range", NoReading: true},
				{Text: "IE", Unit: measure.InInches, Says: "spindle out of range", NoReading: true},
			}}}, Words: words},
		{Name: "channel", Says: "a channel before the number: 01A+0010.668 or A: 0.4200 in",
			Columns: []lines.Column{{Role: lines.Lift, TagNeeded: true, Status: status,
				Tags: []string{"01A", "02A", "1A", "A:", "B:", "A", "B", "X:", "Z:", "X", "Y", "Z", "CH1", "CH1:", "CH2", "CH2:", "P:", "L:", "D"}}}, Words: words},
		{Name: "sign-behind", Says: "the sign behind the number: 0.4200- in",
			Columns: []lines.Column{{Role: lines.Lift, Status: status}}, Words: words},
		{Name: "comma", Says: "a decimal comma: 10,668 mm", DecimalComma: true,
			Columns: []lines.Column{{Role: lines.Lift, Status: status}}, Words: words},
		{Name: "microns", Says: "whole counts of 0.001 mm: +10668 (scale= for another count)",
			Columns: []lines.Column{{Role: lines.Lift, Whole: true, UnitRule: lines.UnitNever, Scale: measure.Micrometre}}, Words: words},
		{Name: "hundredths", Says: "whole counts of 0.01 mm: 1067 (scale= for another count)",
			Columns: []lines.Column{{Role: lines.Lift, Whole: true, UnitRule: lines.UnitNever, Scale: 10 * measure.Micrometre}}, Words: words},
		{Name: "tenths", Says: "whole counts of 0.0001 in: 4200 (scale= for another count)",
			Columns: []lines.Column{{Role: lines.Lift, Whole: true, UnitRule: lines.UnitNever, Scale: measure.Thou / 10}}, Words: words},
		{Name: "framed", Says: "between STX and ETX, with or without a unit: <STX>+10.668 mm<ETX>", Start: stx, End: 0x03,
			Columns: []lines.Column{{Role: lines.Lift, Status: status}}, Words: words},
		{Name: "checked", Says: "between $ and * with a check behind it: $LIFT,10.668,mm*00", Check: lines.XorAfterStar,
			Columns: []lines.Column{{Role: lines.Lift, TagNeeded: true, Tags: []string{"LIFT,"}, UnitRule: lines.UnitMustFollow, Status: []lines.Status{
				{Text: ",mm", Unit: measure.InMillimetres}, {Text: ",in", Unit: measure.InInches},
			}}}, Words: words},
		{Name: "sixteen", Says: "sixteen digits from STX to CR, with the sign, the point and the unit among them: <STX>41940300010668", Check: lines.SixteenDigits, Start: stx,
			Columns: []lines.Column{{Role: lines.Lift, UnitRule: lines.UnitMustFollow}}, Words: words},
		{Name: "asked", Says: `speaks when asked by "?" and CR, a decimal and its unit: 0.4200 in`, Poll: "?\r",
			Columns: []lines.Column{{Role: lines.Lift, Status: status}}, Words: words},
		{Name: "angle-lift", Says: "degrees and lift: 106.5,10.668 mm", Separator: ',',
			Columns: []lines.Column{{Role: lines.Angle, UnitRule: lines.UnitNever}, {Role: lines.Lift, Status: status}}, Words: words},
		{Name: "counts-lift", Says: "counts of an encoder and lift: 710,10.668mm (counts= says how many make a turn)", Separator: ',',
			Columns: []lines.Column{{Role: lines.Counts, Whole: true, UnitRule: lines.UnitNever}, {Role: lines.Lift, Status: status}}, Words: words},
		{Name: "counts-lift-checked", Says: "as counts-lift, with a check: $710,10.668mm*0D", Separator: ',', Check: lines.XorAfterStar,
			Columns: []lines.Column{{Role: lines.Counts, Whole: true, UnitRule: lines.UnitNever}, {Role: lines.Lift, Status: status}}, Words: words},
		{Name: "board", Says: "the board of this project's firmware, its lines numbered: $710,10.668mm,37*25 (counts= says how many make a turn)", Separator: ',', Check: lines.XorAfterStar,
			Columns: []lines.Column{{Role: lines.Counts, Whole: true, UnitRule: lines.UnitNever, Status: []lines.Status{{Text: "I", Index: true}}},
				{Role: lines.Lift, UnitRule: lines.UnitMustFollow}, {Role: lines.Number, Whole: true, UnitRule: lines.UnitNever, Round: 256}},
			Version: "LOBESCRIBE BOARD ", Words: boardWords()},
		{Name: "degrees", Says: "degrees of an encoder: 106.5",
			Columns: []lines.Column{{Role: lines.Angle, UnitRule: lines.UnitNever, Status: []lines.Status{{Text: "deg"}, {Text: "°"}}}}, Words: words},
		{Name: "counts", Says: "counts of an encoder: 710 (counts= says how many make a turn)",
			Columns: []lines.Column{{Role: lines.Counts, Whole: true, UnitRule: lines.UnitNever}}, Words: words},
	}
}
