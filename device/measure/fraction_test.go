package measure

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Decimal equivalents of an inch rule's fractions, as the tables of the trade
// print them (from memory): 1/64 = 0.015625, 11/16 = 0.6875, 5/32 = 0.15625.
func TestInchFractions(t *testing.T) {
	for text, want := range map[string]string{
		"8 11/16 in": "8.6875 in", `8-11/16"`: "8.6875 in", "11/16 inch": "0.6875 in", "-5 11/16 in": "-5.6875 in",
		"1/64 in": "0.015625 in", "8½ in": "8.5 in", "½ in": "0.5 in", "7⅞ in": "7.875 in", "3 5/32in": "3.15625 in",
		"1/2 mm": "0.5 mm", "15/1000 in": "15 thou", "17/16 in": "1.0625 in", "8 - 11/16 in": "8.6875 in",
		"999999/2 in": "499999.5 in",
	} {
		got, err := ParseLength(text)
		require.NoError(t, err, text)
		same, err := ParseLength(want)
		require.NoError(t, err)
		assert.Equal(t, same, got, text)
	}
	got, err := ParseLengthIn("1/128", InInches)
	require.NoError(t, err)
	assert.Equal(t, Length(198_438), got, "198437.5 nm, away from zero")
	for text, says := range map[string]string{
		"8 11/61 in":   "61 stands under its stroke",
		"8 17/16 in":   "one or more stands behind a whole number",
		"8/0 in":       "0 stands under its stroke",
		"1/3 in":       "3 stands under its stroke",
		"8 11/16":      "the unit is missing",
		"8 11/16 foot": `"foot" is not a unit`,
		"1/2/4 in":     `"/4 in" is not a unit`,
	} {
		_, err := ParseLength(text)
		require.ErrorContains(t, err, says, text)
	}
}
