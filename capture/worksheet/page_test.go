package worksheet_test

import (
	"os"
	"regexp"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/capture/worksheet"
)

// What the page lets somebody type, every calculation takes: each kind of length in
// page/plausible.js lies within the bound of the questions that ask for it.
func TestThePagesBoundsLieWithinTheQuestions(t *testing.T) {
	text, err := os.ReadFile("../../dashboard/page/plausible.js")
	require.NoError(t, err)
	of := map[string]string{
		"shim": "shim", "lash": "lash", "lift": "lift", "checking": "checking", "height": "height", "off": "offset", "sweep": "offset",
		"pushrod": "pushrod", "arm": "arm", "stroke": "stroke", "rod": "rod", "ball": "ball", "hole": "hole", "coil": "coil", "slot": "slot",
		"port": "port", "stem": "stem", "gap": "gap", "move": "move", "thread": "thread", "preload": "preload", "step": "step", "piece": "piece",
		"block": "block", "spring": "spring", "wire": "wire", "bore": "bore", "radius": "radius", "drop": "drop",
		"wall": "seat",
	}
	stored := []string{"diameter"} // of a pushrod, set down and asked with nowhere
	seen := 0
	for _, m := range regexp.MustCompile(`(?m)^  (\w+): \{ least: ([-.\d]+), most: ([.\d]+), what:`).FindAllStringSubmatch(string(text), -1) {
		seen++
		name, known := of[m[1]]
		if !known {
			assert.Contains(t, stored, m[1], "%s has no bound to lie within", m[1])
			continue
		}
		least, err := strconv.ParseFloat(m[2], 64)
		require.NoError(t, err)
		most, err := strconv.ParseFloat(m[3], 64)
		require.NoError(t, err)
		b, ok := worksheet.Bounds()[name]
		require.True(t, ok, name)
		assert.GreaterOrEqual(t, least, b.Least, m[1])
		assert.LessOrEqual(t, most, b.Most, m[1])
	}
	assert.Equal(t, len(of)+len(stored), seen)
}
