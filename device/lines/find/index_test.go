package find_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/encoder"
	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
	"lobescribe/simulator"
)

// A board that prints its index: quiet while all is well, and a condition with
// the number of counts when some were lost. The simulator knows where the index
// is.
func TestIndexOfAnEncoderBoard(t *testing.T) {
	layout, err := simulator.FormatNamed("count-index")
	require.NoError(t, err)
	s, err := simulator.Scenario{Openings: 2, Hand: simulator.Hand{Style: simulator.BackTurning},
		Encoder: &simulator.Encoder{Index: true, Format: layout}}.Play()
	require.NoError(t, err)
	for _, lost := range []int64{0, 25} {
		c, err := encoder.New(encoder.Options{Counts: 2400})
		require.NoError(t, err)
		f, err := (&formats.Set{}).Named("counts")
		require.NoError(t, err)
		d := lines.NewDecoder(f, lines.Options{Crank: c, Index: true})
		d.BeginsQuiet()
		var out wire.Out
		marks := 0
		for i, l := range s.Encoder { // a chunk a line
			var n int64
			line := strings.Fields(string(l.Bytes))
			_, err := fmt.Sscan(line[0], &n)
			require.NoError(t, err)
			marks += len(line) - 1
			if i > len(s.Encoder)/2 {
				n -= lost
			}
			text := fmt.Sprint(n)
			if len(line) > 1 {
				text += " " + line[1]
			}
			d.Decode(wire.Chunk{Bytes: []byte(text + "\n"), At: s.Counts[i].At}, &out)
		}
		require.Greater(t, marks, 3)
		assert.Zero(t, out.Refused)
		assert.Len(t, out.Readings, len(s.Counts))
		if lost == 0 {
			assert.Empty(t, out.Conditions)
			assert.Equal(t, s.Counts[100].Angle, out.Readings[100].Angle)
			continue
		}
		require.Len(t, out.Conditions, 1)
		assert.Regexp(t, `^2[0-5] counts lost between two marks of the index`, out.Conditions[0].Says)
	}
}

func TestIndexInAFormatsFile(t *testing.T) {
	formats, err := formats.Read(strings.NewReader("[[format]]\nname = \"mine\"\nseparator = \";\"\n[[format.column]]\nrole = \"counts\"\nstatus = [{ text = \"N\", index = true }]\n[[format.column]]\nrole = \"lift\"\n"), "mine.toml")
	require.NoError(t, err)
	mine, err := formats.Named("mine")
	require.NoError(t, err)
	assert.True(t, mine.Columns[0].Status[0].Index)
	c, err := encoder.New(encoder.Options{Counts: 100})
	require.NoError(t, err)
	d := lines.NewDecoder(mine, lines.Options{Crank: c})
	d.BeginsQuiet()
	var out wire.Out
	d.Decode(wire.Chunk{Bytes: []byte("10;1.0\n11 N;1.0\n50;1.0\n99;1.0\n113;1.0\n118 N;1.0\n")}, &out)
	require.Len(t, out.Readings, 6)
	require.Len(t, out.Conditions, 1)
	assert.Contains(t, out.Conditions[0].Says, "2 counts too many")
	assert.Equal(t, measure.Angle(118*3_600_000), out.Readings[5].Angle)
}
