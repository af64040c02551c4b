package dashboard

import (
	"encoding/json"
	"slices"
	"strings"
)

// mostFields is more than any object here has; each costs memory to remember.
const mostFields = 4096

// doubled returns a name that stands twice in one object, as "question.step_mm", of
// which the decoder would take the last and say nothing; many is true where an object
// has more names than are looked at. What is no JSON is left to the decoder.
func doubled(b []byte) (path string, many bool) {
	var names []map[string]bool // of each bracket that is open; nil for a list's
	var last []string           // name in it; "" for a list
	for i := 0; i < len(b); i++ {
		switch b[i] {
		case '{':
			names, last = append(names, map[string]bool{}), append(last, "")
		case '[':
			names, last = append(names, nil), append(last, "")
		case '}', ']':
			if len(names) == 0 {
				return "", false
			}
			names, last = names[:len(names)-1], last[:len(last)-1]
		case '"':
			from := i
			for i++; i < len(b) && b[i] != '"'; i++ {
				if b[i] == '\\' {
					i++
				}
			}
			next := i + 1
			for next < len(b) && (b[next] == ' ' || b[next] == '\t' || b[next] == '\r' || b[next] == '\n') {
				next++
			}
			if next >= len(b) || b[next] != ':' || len(names) == 0 || names[len(names)-1] == nil {
				continue // no name
			}
			had, name := names[len(names)-1], ""
			if json.Unmarshal(b[from:i+1], &name) != nil {
				return "", false
			}
			last[len(last)-1] = name
			if had[name] {
				return strings.Join(slices.DeleteFunc(last, func(s string) bool { return s == "" }), "."), false
			}
			if had[name] = true; len(had) > mostFields {
				return "", true
			}
		}
	}
	return "", false
}
