package formats

import (
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/BurntSushi/toml"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// formatFile is a formats file, as [Read] describes it.
type formatFile struct {
	Format []fileFormat `toml:"format"`
}

type fileFormat struct {
	Name         string       `toml:"name"`
	Says         string       `toml:"says,omitempty"`
	Separator    string       `toml:"separator,omitempty"`
	DecimalComma bool         `toml:"decimal_comma,omitempty"`
	Start        string       `toml:"start,omitempty"`
	End          string       `toml:"end,omitempty"`
	Check        string       `toml:"check,omitempty"`
	Poll         string       `toml:"poll,omitempty"`
	MaxLine      int          `toml:"max_line,omitempty"`
	Jump         string       `toml:"jump,omitempty"`
	Size         int          `toml:"size,omitzero"`
	Skip         []string     `toml:"skip,omitempty"`
	Words        []fileWord   `toml:"words,omitempty"`
	Version      string       `toml:"version,omitempty"`
	Column       []fileColumn `toml:"column"`
}

type fileWord struct {
	Text   string `toml:"text"`
	Says   string `toml:"says,omitempty"`
	ReZero bool   `toml:"re_zero,omitempty"`
	Mark   bool   `toml:"mark,omitempty"`
	More   bool   `toml:"more,omitempty"`
}

type fileColumn struct {
	Role       string       `toml:"role"`
	Tags       []string     `toml:"tags,omitempty"`
	TagNeeded  bool         `toml:"tag_needed,omitempty"`
	Unit       string       `toml:"unit,omitempty"`
	UnitBehind string       `toml:"unit_behind,omitempty"`
	Decimals   int          `toml:"decimals,omitempty"`
	Whole      bool         `toml:"whole,omitempty"`
	Scale      string       `toml:"scale,omitempty"`
	Round      int          `toml:"round,omitzero"`
	Status     []fileStatus `toml:"status,omitempty"`
}

type fileStatus struct {
	Text      string `toml:"text"`
	Says      string `toml:"says,omitempty"`
	NoReading bool   `toml:"no_reading,omitempty"`
	Unit      string `toml:"unit,omitempty"`
	Index     bool   `toml:"index,omitempty"`
}

// unitRules are the words of unit_behind, by [UnitRule].
var unitRules = []string{"may", "must", "never"}

// maxFormatFile bounds what is read of a formats file.
const maxFormatFile = 1 << 20

// Read reads a person's own formats from TOML. name is what the errors
// call the file; each names the line that it is about. Columns stand in the
// order of the line, and a file may hold more formats:
//
//	[[format]]
//	name = "my-gauge"              # how format= asks for it
//	says = "the gauge on the stand"
//	separator = ","                # between columns: blank , ; : tab | /
//	decimal_comma = false
//	start = "\u0002"               # a byte before a line; left out for none
//	end = "\u0003"                 # the byte behind it; left out for CR, LF or both
//	check = "xor"                  # $...*HH; "sixteen" for sixteen digits from STX to CR; left out for none
//	poll = "?\r"                   # what such a device must be asked
//	size = 6                       # bytes behind start where nothing ends a frame; left out for none
//	skip = ["Lux:"]                # beginnings of lines that are neither readings nor faults
//	words = [{ text = "LO", says = "battery low" }, { text = "Z", re_zero = true },
//	         { text = "PEDAL", mark = true }, { text = "BITS LOST", more = true }]  # more: other words may follow
//	version = "MY BOARD "          # how a line begins that tells name and version; left out for none
//
//	[[format.column]]
//	role = "lift"                  # lift, angle, counts, number (of the line) or ignored
//	tags = ["Z:"]                  # what may stand before the number
//	tag_needed = true
//	unit = "mm"                    # of a number without one; for an angle deg, rad or turn
//	unit_behind = "may"            # may, must or never
//	decimals = 3                   # left out for any
//	whole = false                  # no point at all
//	scale = "0.001 mm"             # of one count, for whole numbers
//	round = 256                    # of a number of the line: after how many it starts again at 0
//	status = [{ text = "E", says = "out of range", no_reading = true }]
func Read(r io.Reader, name string) (*Set, error) {
	text, err := io.ReadAll(io.LimitReader(r, maxFormatFile+1))
	if err != nil {
		return nil, fmt.Errorf("read formats from %s: %w", name, err)
	}
	if len(text) > maxFormatFile {
		return nil, fmt.Errorf("read formats from %s: it is larger than %d bytes", name, maxFormatFile)
	}
	f := formatSource{name: name, lines: strings.Split(string(text), "\n")}
	if line := TooDeep(string(text)); line > 0 {
		return nil, f.errorAt(line, "nested deeper than a format ever is")
	}
	var file formatFile
	meta, err := toml.Decode(string(text), &file)
	if err != nil {
		var pe toml.ParseError
		if errors.As(err, &pe) {
			return nil, f.errorAt(pe.Position.Line, pe.Message)
		}
		// A value of the wrong kind is told in words only.
		if m := wrongKind.FindStringSubmatch(err.Error()); m != nil {
			line, _ := strconv.Atoi(m[1])
			return nil, f.errorAt(line, m[3])
		}
		return nil, f.errorAt(1, strings.TrimPrefix(err.Error(), "toml: "))
	}
	if unknown := meta.Undecoded(); len(unknown) > 0 {
		key := unknown[0][len(unknown[0])-1]
		return nil, f.errorAt(f.anyLineOf(key), fmt.Sprintf("%q is no key of a format", key))
	}
	if len(file.Format) == 0 {
		return nil, f.errorAt(1, "there is no [[format]] in it")
	}
	set := &Set{}
	for i := range file.Format {
		format, key, err := file.make(i)
		if err == nil {
			err = set.Add(format)
		}
		if err != nil {
			return nil, f.errorAt(f.lineOf(i, key), err.Error())
		}
	}
	return set, nil
}

// make turns the i-th format of a file into a Format; key is where it failed.
func (file *formatFile) make(i int) (f lines.Format, key string, err error) {
	in := file.Format[i]
	f = lines.Format{Name: in.Name, Says: in.Says, DecimalComma: in.DecimalComma, Poll: in.Poll, MaxLine: in.MaxLine,
		Size: in.Size, Skip: in.Skip, Version: in.Version}
	if f.Says == "" {
		f.Says = "one of your own"
	}
	if f.Separator, err = oneByte(in.Separator); err != nil {
		return f, "separator", err
	}
	if f.Start, err = oneByte(in.Start); err != nil {
		return f, "start", err
	}
	if f.End, err = oneByte(in.End); err != nil {
		return f, "end", err
	}
	check, known := lines.ParseCheck(in.Check)
	if !known {
		return f, "check", fmt.Errorf(`the check %q is not known (there are "xor" and "sixteen")`, in.Check)
	}
	f.Check = check
	if in.Jump != "" {
		if f.Jump, err = measure.ParseLength(in.Jump); err != nil {
			return f, "jump", err
		}
	}
	for _, w := range in.Words {
		f.Words = append(f.Words, lines.Word(w))
	}
	for _, c := range in.Column {
		column := lines.Column{Tags: c.Tags, TagNeeded: c.TagNeeded, Decimals: c.Decimals, Whole: c.Whole, Round: c.Round}
		role, known := lines.ParseRole(c.Role)
		if !known {
			return f, "role", fmt.Errorf("the role %q is not known (there are lift, angle, counts, number and ignored)", c.Role)
		}
		column.Role = role
		if a, ok := lines.ParseAngleUnit(c.Unit); ok && column.Role == lines.Angle {
			column.Angle = a
		} else if c.Unit != "" {
			if column.Unit, err = measure.ParseUnit(c.Unit); err != nil {
				return f, "unit", err
			}
		}
		if rule := slices.Index(unitRules, c.UnitBehind); rule >= 0 {
			column.UnitRule = lines.UnitRule(rule)
		} else if c.UnitBehind != "" {
			return f, "unit_behind", fmt.Errorf("unit_behind %q is not known (there are may, must and never)", c.UnitBehind)
		}
		if c.Scale != "" {
			if column.Scale, err = measure.ParseLength(c.Scale); err != nil {
				return f, "scale", err
			}
		}
		for _, s := range c.Status {
			status := lines.Status{Text: s.Text, Says: s.Says, NoReading: s.NoReading, Index: s.Index}
			if s.Unit != "" {
				if status.Unit, err = measure.ParseUnit(s.Unit); err != nil {
					return f, "status", err
				}
			}
			column.Status = append(column.Status, status)
		}
		f.Columns = append(f.Columns, column)
	}
	return f, "name", nil
}

func oneByte(s string) (byte, error) {
	switch len(s) {
	case 0:
		return 0, nil
	case 1:
		return s[0], nil
	}
	// A byte beyond ASCII stands in the file as the letter of its number.
	if r := []rune(s); len(r) == 1 && r[0] < 0x100 {
		return byte(r[0]), nil
	}
	return 0, fmt.Errorf("%q is more than one byte", s)
}

// formatSource finds the lines of a formats file that errors are about.
type formatSource struct {
	name  string
	lines []string
}

func (f formatSource) errorAt(line int, says string) error {
	const most = 300 // letters: what stands in the file may be in it
	if letters := []rune(says); len(letters) > most {
		says = string(letters[:most]) + "…"
	}
	return fmt.Errorf("formats file %s, line %d: %s", f.name, max(line, 1), strings.ToValidUTF8(says, "?"))
}

var wrongKind = regexp.MustCompile(`^toml: (?:line (\d+) )?\(last key "([^"]*)"\): (.*)$`)

var formatHead = regexp.MustCompile(`^\s*\[\[\s*format\s*\]\]`)

// lineOf returns the line of a key in the n-th format, or of its head.
func (f formatSource) lineOf(n int, key string) int {
	head := 0
	for i, l := range f.lines {
		if formatHead.MatchString(l) {
			if n--; n == -1 {
				head = i + 1
			} else if n < -1 {
				break
			}
		}
		if head > 0 && keyOn(l, key) {
			return i + 1
		}
	}
	return head
}

func (f formatSource) anyLineOf(key string) int {
	for i, l := range f.lines {
		if keyOn(l, key) || strings.Contains(l, key) {
			return i + 1
		}
	}
	return 1
}

// keyOn reports whether line sets key, at its start or in an inline table.
func keyOn(line, key string) bool {
	for rest := line; ; {
		i := strings.Index(rest, key)
		if i < 0 {
			return false
		}
		before := strings.TrimRight(rest[:i], " \t\"'")
		after := strings.TrimLeft(rest[i+len(key):], " \t\"'")
		if (before == "" || strings.HasSuffix(before, "{") || strings.HasSuffix(before, ",")) && strings.HasPrefix(after, "=") {
			return true
		}
		rest = rest[i+len(key):]
	}
}
