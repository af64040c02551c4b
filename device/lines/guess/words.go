package guess

import (
	"fmt"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
)

// name is how a column is asked for: by its name, or its number among those with
// numbers.
func (t table) name(i int) string {
	if n := t.facts[i].name; n != "" {
		return n
	}
	return fmt.Sprint(t.number(i))
}

// number counts the columns with numbers up to i, from 1.
func (t table) number(i int) (n int) {
	for j := range t.facts[:i+1] {
		if !t.facts[j].word {
			n++
		}
	}
	return n
}

// keyName is a name as it may stand in an address.
func keyName(name string) string {
	words := strings.Join(wordsOf(name), "-") + wordsNumber(name)
	if words == "" {
		return name
	}
	return words
}

// label is a column for a person: its name or number, and what it shows.
func (t table) label(i int) string {
	x := t.facts[i]
	shows := x.fields[len(x.fields)-1].text
	if x.name != "" {
		return fmt.Sprintf("%q", shows)
	}
	return fmt.Sprintf("column %d (%s)", t.number(i), shows)
}

func (t table) labels() string {
	var all []string
	for i, x := range t.facts {
		if !x.word {
			all = append(all, t.label(i))
		}
	}
	return strings.Join(all, ", ")
}

// roleWords fills in what depends on the role and says it, and says what was
// assumed.
func (x *facts) roleWords(says string, lone bool, o lines.Options) (words, assumed string) {
	c := &x.column
	switch c.Role {
	case lines.Lift:
		return x.liftWords("lift: "+says, lone, o)
	case lines.Angle:
		return x.angleWords(says, o)
	case lines.Counts:
		return "counts: " + says, ""
	}
	switch {
	case !x.word && isClock(x.fields):
		return "left out (looks like a clock): " + says, ""
	case c.Whole && (len(c.Tags) == 0 || x.named.meaning == namesCounts) && o.Port != lines.EncoderPort:
		return "left out (say counts= if these are an encoder's): " + says, ""
	}
	return "left out: " + says, ""
}

// liftWords settles the unit or scale of the lift.
func (x *facts) liftWords(says string, lone bool, o lines.Options) (words, assumed string) {
	c := &x.column
	orDegrees := ""
	if lone && len(c.Tags) == 0 && o.Port == lines.AnyPort {
		orDegrees = ", or format=degrees if it is an angle"
	}
	shows := x.fields[len(x.fields)-1].text
	named := x.length != measure.NoUnit && c.Unit != measure.NoUnit
	switch {
	case c.UnitRule == lines.UnitMustFollow:
	case c.Whole && o.Scale > 0:
		says += fmt.Sprintf(", %s a count as you said", o.Scale)
		c.Scale = o.Scale
	case o.Unit != measure.NoUnit:
		says += fmt.Sprintf(", %s as you said", o.Unit)
		c.Unit = o.Unit
	case named:
		says += fmt.Sprintf(", %s by its name", c.Unit)
	case c.Whole:
		c.Scale = assumedScale
		says += fmt.Sprintf(", assumed %s a count (say scale= to be sure, or counts= if these are an encoder's)", c.Scale)
		assumed = fmt.Sprintf("whole numbers without a unit come (%s), and one is taken for %s: say scale= to be sure, as in scale=0.01mm or scale=1mm", shows, c.Scale)
	default:
		c.Unit = guessUnit(x.fields)
		says += fmt.Sprintf(", without a unit, assumed %s (say unit= to be sure%s)", c.Unit, orDegrees)
		assumed = fmt.Sprintf("numbers without a unit come (%s), and are taken for %s: say unit= to be sure, as in unit=mm or unit=in", shows, c.Unit)
	}
	return says, assumed
}

// angleWords settles the unit of the angle.
func (x *facts) angleWords(says string, o lines.Options) (words, assumed string) {
	c := &x.column
	if x.angle != lines.NoAngle && x.behind != "" && allBehind(x.fields) {
		c.UnitRule = lines.UnitMustFollow
	}
	switch {
	case o.Angle != lines.NoAngle:
		c.Angle = o.Angle
		return fmt.Sprintf("angle: %s, %s as you said", says, o.Angle), ""
	case x.angle != lines.NoAngle && x.angle != lines.Degrees:
		c.Angle = x.angle
		return fmt.Sprintf("angle: %s, in %ss", says, x.angle), ""
	case x.angle == lines.Degrees:
		return "angle: " + says, ""
	case x.named.meaning == namesAngle:
		words = "angle: " + says
	default:
		words = "angle, by its place: " + says
	}
	if o.Port != lines.EncoderPort && x.named.meaning != namesAngle {
		assumed = fmt.Sprintf("a number beside the lift (%s) is taken for the crank's angle in degrees, by its place: if it is none, leave it out in a format of your own", x.fields[len(x.fields)-1].text)
	}
	if o.Port == lines.EncoderPort {
		assumed = fmt.Sprintf("an angle without a unit comes (%s), and is taken for degrees: say unit=deg to be sure, or unit=rad or unit=turn", x.fields[len(x.fields)-1].text)
	}
	return words, assumed
}

// allBehind reports whether the same word of angle stands behind every number.
func allBehind(fields []field) bool {
	for _, x := range fields {
		if _, ok := lines.ParseAngleUnit(firstWord(x.status)); !ok && !x.word {
			return false
		}
	}
	return true
}

// assumedScale is the count of a device that prints whole numbers and says
// nothing: the commonest step of metric indicators that do so. It is said to
// be assumed.
const assumedScale = measure.Micrometre

// guessUnit guesses at the unit of bare decimals, by the decimals that most of
// them have: one line that was cut must not settle it. An inch read-out moves by
// 0.0005 or 0.00005, a metric one shows two or three decimals.
func guessUnit(fields []field) measure.Unit {
	places := map[int]int{}
	for _, x := range fields {
		places[x.n.Decimals]++
	}
	decimals, most := 0, 0
	for d, n := range places {
		if n > most || n == most && d < decimals {
			decimals, most = d, n
		}
	}
	if len(places) > 1 && most*10 < len(fields)*8 {
		return measure.InMillimetres
	}
	fives, far := true, int64(0)
	for _, x := range fields {
		if x.n.Decimals == decimals {
			fives = fives && x.n.Mantissa%5 == 0
			far = max(far, x.n.Mantissa, -x.n.Mantissa)
		}
	}
	if decimals == 5 || decimals == 4 && fives {
		return measure.InInches
	}
	return measure.InMillimetres
}
