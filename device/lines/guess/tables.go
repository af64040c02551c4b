package guess

import (
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// table is lines of one kind cut into columns, with all that is known of each
// column.
type table struct {
	f      lines.Format
	tags   []string
	rows   [][]field
	facts  []facts
	says   []string
	unitOf measure.Unit // a unit that a column of words names: "unit":"mm"
}

// facts are what is known of one column.
type facts struct {
	column lines.Column
	word   bool // there are no numbers in it
	fields []field
	named  namedWords      // by what stands before it, or its header
	name   string          // for a person
	behind string          // the word behind the number, in lower case
	length measure.Unit    // a unit of length behind it or in its name
	angle  lines.AngleUnit // the same of angle
	other  bool            // it is neither lift nor turn, by its unit or name
	course course
}

// tableOf makes columns of a kind. why says what it falls for.
func (c cutting) tableOf(k kind, header []string) (t table, why string) {
	t = table{tags: k.tags, rows: k.rows}
	t.f = lines.Format{Name: "found", Separator: c.sep, DecimalComma: c.comma, Says: "found by listening"}
	if c.end != '\n' && c.end != '\r' {
		t.f.End = c.end
	}
	width := len(k.rows[0])
	switch {
	case c.comma && c.sep == 0 && !likelyComma(k.rows):
		return t, "not a decimal comma"
	case !c.comma && c.sep == ',' && width == 2 && likelyCommaColumns(k.rows) && !twoSmooth(k.rows):
		return t, "more likely a decimal comma"
	}
	for i := range width {
		fields := column(k.rows, i)
		col, says, fits := columnOf(fields)
		if !fits {
			return t, fmt.Sprintf("cut at %s, what stands around number %d changes from line to line", separatorWords(c.sep), i+1)
		}
		x := facts{column: col, fields: fields, word: isWord(fields)}
		if !x.word {
			x.name = strings.Trim(k.tags[i], " :=,;|&\"{[>")
			if x.name == "" && header != nil {
				x.name = header[i]
			}
			x.learn()
			x.course = courseOf(fields)
			if ticks(fields) && width > 1 {
				x.course.motion = ticking
			}
		} else if u := unitInQuotes(fields[0].text); u != measure.NoUnit {
			t.unitOf = u
		}
		t.facts = append(t.facts, x)
		t.says = append(t.says, says)
	}
	return t, ""
}

// twoSmooth reports whether both of two columns of whole numbers move smoothly,
// which the halves of a decimal do not.
func twoSmooth(rows [][]field) bool {
	smooth := func(i int) bool {
		m := courseOf(column(rows, i)).motion
		return m == swinging || m == climbing
	}
	return smooth(0) && smooth(1)
}

// learn reads the words around the numbers of a column.
func (x *facts) learn() {
	x.named = nameTells(x.name)
	if len(x.column.Status) > 0 && x.fields[0].status != "" {
		x.behind = firstWord(x.fields[0].status)
	}
	if x.column.UnitRule == lines.UnitMustFollow {
		x.length = measure.InMillimetres // which, the decoder reads
	}
	switch u, isAngle := lines.ParseAngleUnit(x.behind); {
	case x.behind == "m" && x.fields[0].status != "M" && x.column.UnitRule != lines.UnitMustFollow:
		x.length = measure.InMetres
		x.column.Unit = measure.InMetres
	case x.behind == "g's", x.behind == "m":
	case isAngle:
		x.angle = u
	case x.length == measure.NoUnit && x.behind != "" && slices.Contains(otherWords, x.behind) && (len(x.behind) > 1 || !x.fields[0].glued):
		x.other = true
	}
	if x.length == measure.NoUnit && x.angle == lines.NoAngle {
		x.angle = x.named.angle
		if x.named.length != measure.NoUnit && !x.other {
			x.length = x.named.length
			x.column.Unit = x.named.length
		}
	}
	switch {
	case x.named.meaning == namesOther && x.column.UnitRule != lines.UnitMustFollow:
		x.other = true
	case x.angle == lines.Turns:
		x.named.meaning = namesTurns
	case x.angle != lines.NoAngle:
		x.named.meaning = namesAngle
	}
}

// firstWord is what stands right behind a number, in lower case. The degree sign
// of eight-bit character sets is written as in UTF-8.
func firstWord(status string) string {
	w, _, _ := strings.Cut(strings.Trim(status, " ,;()[]|"), " ")
	if !utf8.ValidString(w) {
		w = strings.NewReplacer("\xb0", "°", "\xba", "°").Replace(w)
	}
	return strings.ToLower(w)
}

// unitInQuotes returns the unit that a field like "unit":"mm" names.
func unitInQuotes(text string) measure.Unit {
	name, value, ok := strings.Cut(text, ":")
	if !ok || !slices.Contains(wordsOf(name), "unit") && !slices.Contains(wordsOf(name), "units") {
		return measure.NoUnit
	}
	u, err := measure.ParseUnit(strings.Trim(value, ` "}]`))
	if err != nil {
		return measure.NoUnit
	}
	return u
}

func separatorWords(sep byte) string {
	switch sep {
	case 0:
		return "nothing"
	case ' ':
		return "blanks"
	case '\t':
		return "tabs"
	}
	return fmt.Sprintf("%q", string(sep))
}
