package sheet

import (
	"slices"
	"strings"
)

// sayings gathers sentences: what is said of several valves or cylinders stands
// once, with all whom it is about.
type sayings struct {
	texts []string            // in the order in which they came
	who   map[string][]string // by text
}

func (s *sayings) say(who, text string) {
	if s.who == nil {
		s.who = map[string][]string{}
	}
	if !slices.Contains(s.texts, text) {
		s.texts = append(s.texts, text)
	}
	if !slices.Contains(s.who[text], who) {
		s.who[text] = append(s.who[text], who)
	}
}

func (s *sayings) lines() []string {
	var out []string
	for _, text := range s.texts {
		out = append(out, allOf(s.who[text])+": "+text)
	}
	return out
}

// ofValves is lines, where what is said of every valve of an engine names none of them.
func (s *sayings) ofValves(valves int) []string {
	out := s.lines()
	for i, text := range s.texts {
		if n := len(s.who[text]); n > 2 && n == valves {
			out[i] = "Each valve: " + text
		}
	}
	return out
}

// allOf names several: "Cylinders 1, 3, 4", "1 intake, 1 exhaust".
func allOf(who []string) string {
	const one = "Cylinder "
	if len(who) > 1 && !slices.ContainsFunc(who, func(w string) bool { return !strings.HasPrefix(w, one) }) {
		return "Cylinders " + strings.ReplaceAll(strings.TrimPrefix(strings.Join(who, ", "), one), one, "")
	}
	return strings.Join(who, ", ")
}
