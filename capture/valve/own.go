package valve

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// OwnNames are what a builder calls the valves of an engine, by their standard
// names: "1I" is "No.1 In". They are shown beside or in place of the standard name
// and may be said where a valve is asked for; what is kept of a valve is always kept
// under its standard name, so that a changed name of one's own moves nothing.
type OwnNames map[string]string

// MostOwn bounds an own name, in letters: what a cell of the build sheet holds.
const MostOwn = 16

// Check says what is wrong with own names of an engine's valves: each is of a valve
// that the engine has, is one line of 1 to MostOwn letters without a blank at either
// end, and can be taken for no other valve, by its own, its standard name or the way
// that is spoken.
func (o OwnNames) Check(all []Valve) error {
	names := Names(all)
	taken := map[string]string{}
	for _, name := range slices.Sorted(maps.Keys(o)) {
		if !slices.Contains(names, name) {
			return fmt.Errorf("names the valve %q; the engine's valves are %s", name, strings.Join(names, " "))
		}
		own := o[name]
		if err := checkOwn(own); err != nil {
			return fmt.Errorf("calls %s %q, which %w", name, own, err)
		}
		if other, ok := standard(own, all); ok && other.String() != name {
			return fmt.Errorf("calls %s %q, which is another valve's name: %s", name, own, other.Words())
		}
		if other := taken[folded(own)]; other != "" {
			return fmt.Errorf("calls %s and %s alike, %q", other, name, own)
		}
		taken[folded(own)] = name
	}
	return nil
}

func checkOwn(own string) error {
	switch {
	case !utf8.ValidString(own):
		return fmt.Errorf("is not UTF-8; type it again")
	case own == "" || strings.TrimSpace(own) != own:
		return fmt.Errorf("is empty or has a blank at an end; leave the name out, or the blank")
	case utf8.RuneCountInString(own) > MostOwn:
		return fmt.Errorf("has %d letters; it may have %d", utf8.RuneCountInString(own), MostOwn)
	case strings.ContainsFunc(own, func(r rune) bool { return !unicode.IsPrint(r) }):
		return fmt.Errorf("holds what is no letter; leave it out")
	}
	return nil
}

// Find returns the valve that a text names: by its standard name or by its own,
// which may be written in capitals or not and with any blanks.
func (o OwnNames) Find(text string, all []Valve) (Valve, bool) {
	for _, v := range all {
		if v.String() == text || text != "" && o[v.String()] == text {
			return v, true
		}
	}
	for _, v := range all {
		if own := o[v.String()]; own != "" && folded(own) == folded(text) {
			return v, true
		}
	}
	return Valve{}, false
}

// folded is a name as an ear hears it: without blanks, points, dashes and capitals.
func folded(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsSpace(r) || strings.ContainsRune(".-_#", r) {
			return -1
		}
		return unicode.ToLower(r)
	}, name)
}

// standard returns the valve whose standard name, or the words for it, a text can be
// taken for, be it of this engine or of a larger one.
func standard(text string, all []Valve) (Valve, bool) {
	f := folded(text)
	if v, err := Parse(strings.ToUpper(f)); err == nil {
		return v, true
	}
	for _, v := range all {
		words := folded(v.Words())
		if f == words || f == strings.TrimPrefix(words, "cylinder") {
			return v, true
		}
	}
	return Valve{}, false
}
