package find_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"lobescribe/device/encoder"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// boardLine is a line of the board: what stands between $ and *, with its check
// (the exclusive or of all bytes between them, as NMEA 0183 has it).
func boardLine(body string) string {
	var check byte
	for i := range len(body) {
		check ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, check)
}

// boardTurn is a valve and a crank as the board prints them, numbered from first.
func boardTurn(lines, first int) (all []string) {
	for i := range lines {
		all = append(all, boardLine(fmt.Sprintf("%d,%.2fmm,%d", 12*i, float64(i%80)/10, (first+i)%256)))
	}
	return all
}

func crankOf(t require.TestingT, counts int64) *encoder.Crank {
	c, err := encoder.New(encoder.Options{Counts: counts})
	require.NoError(t, err)
	return c
}

// hears has a finder listen to lines, 20 ms apart.
func hears(o lines.Options, all []string) (*find.Finder, *wire.Out) { return hearsAt(o, all, 50) }

// hearsAt is hears with so many lines a second.
func hearsAt(o lines.Options, all []string, hz float64) (*find.Finder, *wire.Out) {
	f, out := find.New(o), &wire.Out{}
	f.BeginsQuiet()
	for i, l := range all {
		f.Decode(wire.Chunk{Bytes: []byte(l), At: measure.Second + measure.Stamp(float64(i)*1e6/hz)}, out)
	}
	return f, out
}

// Whatever lines never come, as many are told as are missing, wherever the
// number starts again; and each that came is a reading.
func TestLostLinesAreCounted(t *testing.T) {
	f, err := (*formats.Set)(nil).Named("board")
	require.NoError(t, err)
	rapid.Check(t, func(t *rapid.T) {
		all := boardTurn(rapid.IntRange(2, 600).Draw(t, "lines"), rapid.IntRange(0, 255).Draw(t, "first"))
		d, out := lines.NewDecoder(f, lines.Options{Crank: crankOf(t, 2400)}), &wire.Out{}
		d.BeginsQuiet()
		lost, damaged := 0, 0
		for i, l := range all {
			fate := rapid.IntRange(0, 9).Draw(t, "fate")
			switch {
			case i == 0 || i == len(all)-1:
			case fate == 0:
				lost++
				continue
			case fate == 1:
				damaged++
				l = strings.Replace(l, "mm", "nm", 1)
			}
			d.Decode(wire.Chunk{Bytes: []byte(l), At: measure.Stamp(i) * 2 * measure.Second}, out)
		}
		require.EqualValues(t, lost, out.Refused.Missing)
		require.EqualValues(t, damaged, out.Refused.BadChecksum)
		require.Len(t, out.Readings, len(all)-lost-damaged)
		require.Equal(t, lost > 0, len(out.Conditions) > 0)
	})
}

// The board is found from its first second, at rest too, with and without its
// encoder's counts; its words are told and never a figure.
func TestTheBoardIsFound(t *testing.T) {
	turn := boardTurn(120, 250)
	rest := slices.Repeat([]string{""}, 60)
	for i := range rest {
		rest[i] = boardLine(fmt.Sprintf("0,-0.01mm,%d", i))
	}
	silent := []string{boardLine("LOBESCRIBE BOARD 2 BITS 24")}
	for i := range 60 {
		silent = append(silent, boardLine(fmt.Sprintf("0,NO SIGNAL,%d", i)))
	}
	for name, all := range map[string][]string{"turned": turn, "at rest": rest} {
		f, out := hears(lines.Options{Crank: crankOf(t, 2400)}, all)
		found := f.Found()
		assert.Equal(t, "board", found.Format, name)
		assert.Empty(t, found.Assumes, name)
		require.Len(t, out.Readings, len(all), name)
		assert.Equal(t, measure.HasLift|measure.HasAngle, out.Readings[0].Has, name)
		assert.Zero(t, out.Refused, name)
	}
	f, out := hears(lines.Options{}, rest)
	assert.Empty(t, f.Found().Assumes, "nothing is connected to the encoder's pins")
	assert.Len(t, out.Readings, len(rest))
	f, out = hears(lines.Options{}, turn)
	assert.Contains(t, f.Found().Assumes, "counts=")
	require.Len(t, out.Readings, len(turn))
	assert.Equal(t, measure.HasLift, out.Readings[len(turn)-1].Has)

	f, out = hears(lines.Options{}, silent)
	assert.True(t, f.Found().Settled)
	assert.Equal(t, "LOBESCRIBE BOARD 2 BITS 24", f.Found().Firmware)
	assert.Empty(t, out.Readings)
	require.Len(t, out.Conditions, 60)
	assert.Contains(t, out.Conditions[0].Says, "hears nothing of the indicator")
}

// On an encoder's port the board gives its counts, without a lift, also where no
// indicator is connected; without counts= it asks for that.
func TestTheBoardAsAnEncoder(t *testing.T) {
	silent := []string{boardLine("LOBESCRIBE BOARD 2 BITS 24")}
	for i := range 60 {
		silent = append(silent, boardLine(fmt.Sprintf("%d,NO SIGNAL,%d", 40*i, i)))
	}
	for name, all := range map[string][]string{"with an indicator": boardTurn(61, 0), "without": silent} {
		f, out := hears(lines.Options{Port: lines.EncoderPort, Crank: crankOf(t, 2400)}, all)
		assert.Equal(t, "board", f.Found().Format, name)
		require.GreaterOrEqual(t, len(out.Readings), 60, name)
		for _, r := range out.Readings {
			require.Equal(t, measure.HasAngle, r.Has, name)
		}
		f, out = hears(lines.Options{Port: lines.EncoderPort}, all)
		assert.Contains(t, f.Found().Says, "counts=", name)
		assert.Empty(t, out.Readings, name)
	}
	_, out := hears(lines.Options{Port: lines.EncoderPort, Crank: crankOf(t, 2400)}, append(silent, boardLine("2400,EDGE LOST,60"), boardLine("2400,PEDAL,61")))
	assert.Contains(t, out.Conditions[len(out.Conditions)-1].Says, "both wires")
	require.Len(t, out.Notes, 1)
	assert.Equal(t, measure.NoteMark, out.Notes[0].Kind)
}

// A board that starts again is told of; its first number is no line lost.
func TestABoardThatStartsAnew(t *testing.T) {
	f, err := (*formats.Set)(nil).Named("board")
	require.NoError(t, err)
	d, out := lines.NewDecoder(f, lines.Options{Crank: crankOf(t, 2400)}), &wire.Out{}
	d.BeginsQuiet()
	for i, l := range []string{boardLine("LOBESCRIBE BOARD 2 BITS 24"), boardLine("0,1.00mm,0"), boardLine("0,LOBESCRIBE BOARD 2 BITS 24,1"),
		boardLine("10,1.01mm,2"), boardLine("LOBESCRIBE BOARD 2 BITS 24"), boardLine("0,1.01mm,0")} {
		d.Decode(wire.Chunk{Bytes: []byte(l), At: measure.Stamp(i) * measure.Second / 10}, out)
		assert.Len(t, out.Conditions, b2i(i >= 4), "%d", i)
	}
	assert.Zero(t, out.Refused)
	assert.Len(t, out.Readings, 3)
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// What a number of the line must be is said where a format has it wrong.
func TestNumberColumnsOfOnesOwn(t *testing.T) {
	const head = "[[format]]\nname = \"mine\"\nseparator = \",\"\n[[format.column]]\nrole = \"lift\"\n[[format.column]]\n"
	_, err := formats.Read(strings.NewReader(head+"role = \"number\"\nround = 100\n"), "x")
	assert.NoError(t, err)
	for _, bad := range []string{"role = \"number\"\n", "role = \"number\"\nround = 1\n", "role = \"ignored\"\nround = 100\n"} {
		_, err := formats.Read(strings.NewReader(head+bad), "x")
		assert.ErrorContains(t, err, "round", bad)
	}
}
