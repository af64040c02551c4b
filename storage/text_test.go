package storage

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// Names and remarks are text: nothing in them moves a terminal's cursor or turns
// the order of letters round (the marks of Unicode's bidirectional algorithm, UAX 9,
// section 2), and a name has at most 200 letters, not bytes.
func TestNamesAreText(t *testing.T) {
	engine := func(change func(*Engine)) error {
		e := eight()
		change(&e)
		return e.Validate()
	}
	assert.NoError(t, engine(func(e *Engine) { e.Name = strings.Repeat("ü", MostName) }))
	assert.ErrorContains(t, engine(func(e *Engine) { e.Name = strings.Repeat("ü", MostName+1) }), "201 letters")
	assert.NoError(t, engine(func(e *Engine) { e.Name = "" }))
	for _, blank := range []string{" ", "\u00a0", "\u3000 "} {
		assert.ErrorContains(t, engine(func(e *Engine) { e.Name = blank }), "name is nothing but blanks")
	}
	assert.NoError(t, engine(func(e *Engine) { e.Notes = "two\nlines\tand a tab" }))
	for _, text := range []string{"a\x1b[2J", "a\x00", "a\x7f", "a\u009b1m", "a\u202eb", "a\u2066b", "a\u061cb", "a\u200fb", "a\u2028b", "a\xffb", "M\ufffdller"} {
		for name, change := range map[string]func(*Engine){
			"name":   func(e *Engine) { e.Name = text },
			"type":   func(e *Engine) { e.Type = text },
			"notes":  func(e *Engine) { e.Notes = text },
			"waived": func(e *Engine) { e.Waived = []Waiver{{Item: "i", By: "b", Why: text}} },
		} {
			assert.Error(t, engine(change), "%s %q", name, text)
		}
		assert.Error(t, Trial{ID: "t1", Engine: "e", Valve: "1I", Remark: text}.Validate(), "%q", text)
	}
	assert.Equal(t, "ab[2J", Printable("a\u202eb\x1b[2J"))
}
