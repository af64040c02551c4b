package main

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
)

// What is in a name from an older store or another bench does nothing to a terminal.
func TestNothingMovesTheTerminal(t *testing.T) {
	var out strings.Builder
	fmt.Fprintf(harmless{&out}, "name\t%s\n", "a\x1b[2J\u202eb\u009b")
	assert.Equal(t, "name\ta\\u001b[2J\\u202eb\\u009b\n", out.String())
	out.Reset()
	fmt.Fprint(harmless{&out}, "Übermaß ▀")
	assert.Equal(t, "Übermaß ▀", out.String())
}
