package lines

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/measure"
)

// Role says what a column is.
type Role uint8

// The roles of columns.
const (
	Ignored Role = iota
	Lift         // a length, what the indicator shows
	Angle        // degrees, as the encoder's board works them out
	Counts       // whole counts of an encoder
	Number       // of the line: a gap in it is lines that were lost
)

var roleNames = [...]string{"ignored", "lift", "angle", "counts", "number"}

// String returns the role as it is written in a formats file.
func (r Role) String() string { return roleNames[r] }

// ParseRole reads the name of a role.
func ParseRole(text string) (Role, bool) {
	i := slices.Index(roleNames[:], text)
	return Role(max(i, 0)), i >= 0
}

// AngleUnit is what a printed angle counts.
type AngleUnit uint8

// The units of angle; NoAngle is degrees where nothing else was said.
const (
	NoAngle AngleUnit = iota
	Degrees
	Radians
	Turns
)

var angleUnitNames = [...]string{"", "deg", "rad", "turn"}

// String returns the unit as it is written behind unit=; "" for NoAngle.
func (u AngleUnit) String() string { return angleUnitNames[u] }

// ParseAngleUnit reads the name of a unit of angle: deg, rad, turn.
func ParseAngleUnit(text string) (AngleUnit, bool) {
	u, ok := angleWords[strings.ToLower(strings.TrimSpace(text))]
	return u, ok
}

// angleWords are the units of angle.
var angleWords = map[string]AngleUnit{
	"deg": Degrees, "degs": Degrees, "degree": Degrees, "degrees": Degrees, "°": Degrees, "º": Degrees, "\xb0": Degrees, "\xba": Degrees,
	"rad": Radians, "rads": Radians, "radian": Radians, "radians": Radians,
	"turns": Turns, "revs": Turns, "revolutions": Turns, "rev": Turns, "turn": Turns, "rotations": Turns,
}

// of returns one of the unit in microdegrees. A radian is rounded to the
// microdegree, which is a part in 10^8.
func (u AngleUnit) of() measure.Angle {
	switch u {
	case Radians:
		return 57_295_780
	case Turns:
		return measure.Turn
	}
	return measure.Degree
}

// UnitRule says whether a unit stands behind the number.
type UnitRule uint8

// The rules for units.
const (
	UnitMayFollow UnitRule = iota
	UnitMustFollow
	UnitNever
)

// Column is one number of a line.
type Column struct {
	Role Role
	// Tags are what may stand right before the number: "A", "Z:", "01". The
	// longest that fits is taken. With TagNeeded a line without one is
	// refused.
	Tags      []string
	TagNeeded bool
	// Decimals fixes how many digits stand behind the point; 0 leaves it
	// open. Whole says that there is no point at all.
	Decimals int
	Whole    bool
	// Unit is the unit of a number without one. NoUnit says that it must be
	// told or guessed.
	Unit     measure.Unit
	UnitRule UnitRule
	// Scale is the length of one count of a whole number; 0 takes the number
	// as it stands, in its unit.
	Scale measure.Length
	// Angle is what a printed angle counts; NoAngle is degrees.
	Angle AngleUnit
	// Round is after how many lines the number of the line starts again at zero.
	Round int
	// Status are the words that may stand behind the number and its unit.
	Status []Status

	// Varies: the device drops trailing zeros, so that the decimals tell
	// nothing. A decoder finds this out by itself too, if later.
	Varies bool
}

// Status is a word behind a number.
type Status struct {
	Text string
	// Says is the condition that it stands for; "" if all is well.
	Says string
	// NoReading says that the number before it is not to be trusted.
	NoReading bool
	// Unit is set if the word stands for a unit, as a letter "I" or "M" may.
	Unit measure.Unit
	// Index says that the word is the encoder's index: it was passed since
	// the line before.
	Index bool
}

// Word is a line that stands for a condition of the device.
type Word struct {
	Text string // as the line says it, in any case
	Says string // what a person is told; "" takes Text
	// ReZero: the line says that the display was set to zero again. That is a
	// note in the stream and not a condition.
	ReZero bool
	// Mark: somebody pressed a foot switch that the device has.
	Mark bool
	// More: other words may follow Text, and are told with Says.
	More bool
}

// Check is how a line proves itself.
type Check uint8

// The checks of a line.
const (
	NoCheck Check = iota
	// XorAfterStar: "$....*HH", the exclusive or of all bytes between "$" and
	// "*" as two hexadecimal digits (the way of marine instruments).
	XorAfterStar
	// SixteenDigits: behind STX stand "4", the display, two digits of the unit, one
	// of the sign, one of the place of the point, and eight of the number, as hand
	// held meters of one family send them.
	SixteenDigits
)

// checkNames are the checks as they are written in a formats file.
var checkNames = [...]string{"", "xor", "sixteen"}

// String returns the check as it is written in a formats file; "" for none.
func (c Check) String() string { return checkNames[c] }

// ParseCheck reads the name of a check.
func ParseCheck(text string) (Check, bool) {
	i := slices.Index(checkNames[:], text)
	return Check(max(i, 0)), i >= 0
}

// Format says how a device writes a line. The zero value with one lift column
// reads bare numbers.
type Format struct {
	// Name is how a person asks for it; Says is one line about it.
	Name, Says string
	Columns    []Column
	// Separator stands between columns: ' ' is any run of blanks and tabs.
	// 0 for a single column.
	Separator byte
	// End is the byte that ends a line; 0 is CR, LF or both.
	End byte
	// Start is the byte that begins a frame (as STX); 0 for none. What stands
	// before it is dropped.
	Start byte
	// DecimalComma: "0,420".
	DecimalComma bool
	Check        Check
	// Words are lines that are conditions and not readings. Where there is a
	// number of the line, a word may stand alone in its line, or in the place of
	// the lift.
	Words []Word
	// Version is how a line begins that tells the device's name and version: it is
	// neither a reading nor a fault. Alone in its line it is the first after a start.
	Version string
	// Skip are beginnings of lines that are neither readings nor faults: the
	// other lines of a report, a label, a second channel.
	Skip []string
	// Size is how many bytes follow Start where nothing ends a frame; 0 where
	// something does.
	Size int
	// Poll is what such a device must be sent to answer. It is written only
	// if the address asks for polling.
	Poll string
	// MaxLine bounds a line, in bytes; 0 is 128.
	MaxLine int
	// Jump is how far the lift may go from one reading to the next within a
	// second without being doubted, and no further than a hand makes a spindle
	// go in the time between them; 0 is 10 mm.
	Jump measure.Length
}

const (
	// MaxLine is how many bytes a line has at most where its format does not say.
	MaxLine     = 128
	defaultJump = 10 * measure.Millimetre
	// MaxColumns is how many columns a line has at most.
	MaxColumns = 16
)

// ReservedNames mean something else behind format= than a line format.
func ReservedNames() []string { return []string{"auto", "none", "modbus"} }

// ErrFormat is wrapped by what [Format.Validate] says.
var ErrFormat = errors.New("line format")

// Validate says what is wrong with a format, if anything.
func (f Format) Validate() error {
	bad := func(why string, args ...any) error {
		return fmt.Errorf("%w %.80q: %w", ErrFormat, f.Name, fmt.Errorf(why, args...))
	}
	if f.Name == "" || strings.ToLower(f.Name) != f.Name || strings.ContainsAny(f.Name, " \t&?#%=\"") {
		return bad("the name must be lower case without blanks, as in my-gauge")
	}
	if err := f.bounded(); err != nil {
		return bad("%w", err)
	}
	if slices.Contains(ReservedNames(), f.Name) || f.Name == "new" { // as in formats new
		return bad("the name %s is taken", f.Name)
	}
	if len(f.Columns) == 0 {
		return bad("it has no column")
	}
	if len(f.Columns) > MaxColumns {
		return bad("more than %d columns", MaxColumns)
	}
	if f.Separator == 0 && len(f.Columns) > 1 {
		return bad("several columns need a separator")
	}
	if f.Separator != 0 && strings.IndexByte(" ,;:\t|/", f.Separator) < 0 {
		return bad("the separator must be one of blank , ; : tab | /")
	}
	if f.DecimalComma && f.Check == SixteenDigits {
		return bad("sixteen digits have no decimal comma")
	}
	if f.DecimalComma && f.Separator == ',' {
		return bad("a comma cannot both be the decimal point and part the columns")
	}
	if f.Size != 0 && (f.Size < 1 || f.Size > MaxLine || f.Start == 0 || f.End != 0) {
		return bad("size is how many bytes, 1 to %d, follow the start byte where there is no end byte", MaxLine)
	}
	if slices.Contains(f.Skip, "") {
		return bad("an empty beginning of lines to skip")
	}
	if f.MaxLine < 0 || f.MaxLine > 4096 {
		return bad("the longest line must be from 1 to 4096 bytes")
	}
	if f.Jump < 0 {
		return bad("the jump must not be negative")
	}
	if err := f.columnsValid(bad); err != nil {
		return err
	}
	for _, w := range f.Words {
		if w.Text == "" {
			return bad("an empty word")
		}
	}
	return nil
}

// columnsValid says what is wrong with the columns, in the words of bad.
func (f Format) columnsValid(bad func(why string, args ...any) error) error {
	var lifts, angles, numbers int
	for i, c := range f.Columns {
		switch c.Role {
		case Lift:
			lifts++
		case Angle, Counts:
			angles++
		case Number:
			numbers++
		}
		if c.Decimals < 0 || c.Decimals > 9 {
			return bad("column %d: decimals must be from 0 to 9", i+1)
		}
		if c.Whole && c.Decimals > 0 {
			return bad("column %d: whole numbers have no decimals", i+1)
		}
		if c.Scale < 0 {
			return bad("column %d: the scale must be more than nothing", i+1)
		}
		if c.Angle != NoAngle && c.Role != Angle {
			return bad("column %d: only an angle is in degrees, radians or turns", i+1)
		}
		if (c.Role == Number) != (c.Round != 0) || c.Round < 0 || c.Round == 1 {
			return bad("column %d: the number of a line has round, after how many it starts again, and no other column has", i+1)
		}
		if c.Scale > 0 && c.Role != Lift {
			return bad("column %d: only lift has a scale", i+1)
		}
		for _, t := range c.Tags {
			if t == "" {
				return bad("column %d: an empty tag", i+1)
			}
		}
		for _, s := range c.Status {
			if s.Text == "" {
				return bad("column %d: an empty status", i+1)
			}
		}
	}
	if lifts > 1 || angles > 1 || numbers > 1 {
		return bad("only one column can be the lift, one the angle or counts, and one the number of the line; the others are ignored")
	}
	if lifts+angles == 0 {
		return bad("no column is lift, angle or counts")
	}
	return nil
}

// lift returns the index of the lift column, or -1.
func (f Format) lift() int {
	for i, c := range f.Columns {
		if c.Role == Lift {
			return i
		}
	}
	return -1
}

// WithoutLift makes the lift of a format a column that is ignored, as an encoder's
// port has it; ok is false if nothing is left.
func (f Format) WithoutLift() (Format, bool) {
	f.Columns = slices.Clone(f.Columns)
	turns := false
	for i := range f.Columns {
		c := &f.Columns[i]
		if c.Role == Lift {
			c.Role, c.Scale = Ignored, 0
		}
		turns = turns || c.Role == Angle || c.Role == Counts
	}
	return f, turns
}
