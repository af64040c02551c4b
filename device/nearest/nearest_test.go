package nearest

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWord(t *testing.T) {
	words := []string{"baud", "bits", "parity", "stop", "format"}
	for text, want := range map[string]string{"buad": "baud", "bauds": "baud", "partiy": "parity", "formt": "format", "colour": "", "x": "", "": ""} {
		assert.Equal(t, want, Word(text, words), text)
	}
}
