package measure

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
)

// fraction is a number as an inch rule has it: "11/16", "8 11/16", "8-11/16";
// groups: sign, whole, over, under, what follows.
var fraction = regexp.MustCompile(`^([+-]?)\s*(?:(\d{1,6})(?:\s*-\s*|\s+))?(\d{1,6})\s*/\s*(\d{1,6})(.*)$`)

// unders may stand under the stroke: halves of halves, and decimal ones. Any
// other number there is a slip of the finger.
var unders = []int64{2, 4, 8, 16, 32, 64, 128, 10, 100, 1000}

// vulgar are the fractions that have a letter of their own.
var vulgar = strings.NewReplacer("½", " 1/2", "¼", " 1/4", "¾", " 3/4", "⅛", " 1/8", "⅜", " 3/8", "⅝", " 5/8", "⅞", " 7/8", "⁄", "/")

// scanFraction reads a fraction at the start of s: the number is over/under,
// and rest what follows. why says what is wrong with one that cannot be meant;
// found is false where there is none.
func scanFraction(s string) (over, under int64, rest, why string, found bool) {
	m := fraction.FindStringSubmatch(s)
	if m == nil {
		return 0, 0, "", "", false
	}
	number := func(text string) int64 {
		n, _ := strconv.ParseInt(text, 10, 64) // six digits at most, and none is 0
		return n
	}
	whole, over, under := number(m[2]), number(m[3]), number(m[4])
	switch {
	case !slices.Contains(unders, under):
		return 0, 0, "", strconv.FormatInt(under, 10) + " stands under its stroke, and it should be 2, 4, 8, 16, 32, 64 or 128", true
	case m[2] != "" && over >= under:
		return 0, 0, "", "a fraction of one or more stands behind a whole number", true
	}
	over += whole * under
	if m[1] == "-" {
		over = -over
	}
	return over, under, m[5], "", true
}

// dividedBy rounds half away from zero. Nothing overflows: six digits, times a
// thousand under the stroke, times the 25 million nanometres of an inch, twice.
func dividedBy(over, under int64) Length {
	if over < 0 {
		return -dividedBy(-over, under)
	}
	return Length((2*over + under) / (2 * under))
}
