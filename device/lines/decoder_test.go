package lines_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/internal/corpus"
	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

func named(t *testing.T, name string, o lines.Options) *lines.Decoder {
	t.Helper()
	f, err := (&formats.Set{}).Named(name)
	require.NoError(t, err)
	d := lines.NewDecoder(f, o)
	d.BeginsQuiet()
	return d
}

func decode(d *lines.Decoder, text string) wire.Out {
	return corpus.Run(d, []byte(text), len(text))
}

func lifts(o wire.Out) (out []string) {
	for _, r := range o.Readings {
		out = append(out, r.Lift.String())
	}
	return out
}

func TestNumbersAsInstrumentsWriteThem(t *testing.T) {
	for text, want := range map[string]string{
		"+0.4200 in": "10.668 mm", "-0.4200in": "-10.668 mm", `.42"`: "10.668 mm", "0.42''": "10.668 mm", "- 0.42 IN": "-10.668 mm",
		"0.42 inch": "10.668 mm", "420 thou": "10.668 mm", "420 mil": "10.668 mm", "10668 um": "10.668 mm", "10668 \xb5m": "10.668 mm",
		"10668 µm": "10.668 mm", "10668 μm": "10.668 mm", "10.668mm OK": "10.668 mm", "   10.668   MM   ": "10.668 mm",
		"0.00005 in": "0.00127 mm", "10.668- mm": "-10.668 mm", "10.668+ mm": "10.668 mm", "\x00\x0010.668 mm\x00": "10.668 mm",
		"0000010.668 mm": "10.668 mm", "7. mm": "7 mm",
	} {
		got := decode(named(t, "unit-behind", lines.Options{}), text+"\r\n")
		assert.Equal(t, []string{want}, lifts(got), "%q", text)
	}
	for _, text := range []string{"mm", "1.2.3 mm", "1e3 mm", "0x10 mm", "--1 mm", "+-1 mm", "1 2 mm", "1,5 mm", "nan mm", "inf mm", "1 minute", "1 m",
		"1 mm mm", "99999999999999999999 mm", "9999999999999999 in", "\xff1 mm", "1\x00.5 mm", "− 1 mm"} {
		got := decode(named(t, "unit-behind", lines.Options{}), text+"\r\n")
		assert.Empty(t, got.Readings, "%q", text)
		assert.Equal(t, int64(1), got.Refused.Total(), "%q", text)
	}
}

func TestInvertAndScale(t *testing.T) {
	got := decode(named(t, "microns", lines.Options{Invert: true, Scale: measure.Thou / 2}), "840\n838\n")
	assert.Equal(t, []string{"-10.668 mm", "-10.6426 mm"}, lifts(got))
}

// A display of 0.0005 in shows four decimals and moves by five in the last.
func TestResolutionIsTheStepAndNotTheLastDigit(t *testing.T) {
	d := named(t, "unit-behind", lines.Options{})
	var b strings.Builder
	for i := range 60 {
		fmt.Fprintf(&b, "%.4f in\n", float64(i*i%37)*0.0005)
	}
	decode(d, b.String())
	assert.Equal(t, measure.Thou/2, d.Found().Resolution)
	// One odd reading is enough to know better.
	decode(d, "0.0023 in\n0.0024 in\n")
	assert.Equal(t, measure.Thou/10, d.Found().Resolution)
	// Switched to metric, it is another step.
	b.Reset()
	for i := range 60 {
		fmt.Fprintf(&b, "%.2f mm\n", float64(i*i%37)*0.01)
	}
	decode(d, b.String())
	assert.Equal(t, 10*measure.Micrometre, d.Found().Resolution)
}

// A digit lost on the way makes another number; beside numbers of a fixed
// shape it is seen.
func TestALostDigitIsNoReading(t *testing.T) {
	d := named(t, "plain", lines.Options{Unit: measure.InMillimetres})
	got := decode(d, "5.001\n5.002\n5.003\n5.04\n5.005\n55.006\n5.007\n5.\n5.009\n")
	assert.Equal(t, []string{"5.001 mm", "5.002 mm", "5.003 mm", "5.005 mm", "5.007 mm", "5.009 mm"}, lifts(got))
	assert.Equal(t, wire.Refused{Misshapen: 2, Jump: 1}, got.Refused)
}

// What looks like a jump and goes on there was no noise; the first reading of
// it is not lost.
func TestARealJumpLosesNothing(t *testing.T) {
	got := decode(named(t, "unit-behind", lines.Options{}), "0.000 mm\n0.001 mm\n25.000 mm\n25.001 mm\n")
	assert.Equal(t, []string{"0 mm", "0.001 mm", "25 mm", "25.001 mm"}, lifts(got))
	assert.Zero(t, got.Refused.Total())
}

// Boards that drop trailing zeros are understood after a few readings.
func TestTrailingZerosDropped(t *testing.T) {
	d := named(t, "plain", lines.Options{Unit: measure.InMillimetres})
	var b strings.Builder
	const n = 300
	for i := range n {
		fmt.Fprintf(&b, "%v\n", float64(i)/100)
	}
	got := decode(d, b.String())
	assert.Len(t, got.Readings, n)
	assert.Empty(t, got.Notes, "no change of unit was made up")
	assert.Equal(t, "2.99 mm", got.Readings[len(got.Readings)-1].Lift.String())
	assert.Equal(t, 10*measure.Micrometre, d.Found().Resolution)
}

// A switch of the unit that only the decimals tell: the readings on both sides
// are right, and none is lost.
func TestABareSwitchOfUnit(t *testing.T) {
	for _, c := range []struct{ before, after, unit string }{
		{"12.70\n12.71\n12.72\n", "0.5010\n0.5015\n0.5020\n", "12.7254 mm"},        // 0.01 mm to 0.0005 in
		{"-3.001\n-3.002\n-3.003\n", "-0.1183\n-0.1184\n-0.1185\n", "-3.00482 mm"}, // 0.001 mm to 0.0001 in
	} {
		d := named(t, "plain", lines.Options{Unit: measure.InMillimetres})
		got := decode(d, c.before+c.after)
		require.Len(t, got.Readings, 6)
		assert.Equal(t, c.unit, got.Readings[3].Lift.String())
		require.Len(t, got.Notes, 1)
		assert.Equal(t, measure.NoteUnitChange, got.Notes[0].Kind)
		assert.Contains(t, got.Notes[0].Says, "from mm to in")
		assert.Equal(t, measure.InInches, d.Found().Unit)
		back := decode(d, c.before)
		require.Len(t, back.Readings, 3)
		assert.Equal(t, measure.InMillimetres, d.Found().Unit)
	}
}

func TestSetToZeroAnewIsANote(t *testing.T) {
	got := decode(named(t, "unit-behind", lines.Options{}), "1.000 mm\r\nZero\r\n0.000 mm\r\n")
	assert.Equal(t, []string{"1 mm", "0 mm"}, lifts(got))
	require.Len(t, got.Notes, 1)
	assert.Equal(t, measure.NoteReZero, got.Notes[0].Kind)
	assert.Empty(t, got.Conditions)
}

func TestWordsAndStatusAreConditions(t *testing.T) {
	got := decode(named(t, "unit-behind", lines.Options{}), "low battery\r\n1.000 mm LOBAT\r\n9.999 mm OVER\r\nERR1\r\n1.001 mm\r\n1.002 mm WHAT\r\n")
	assert.Equal(t, []string{"1 mm", "1.001 mm"}, lifts(got))
	var says []string
	for _, c := range got.Conditions {
		says = append(says, c.Says)
	}
	assert.Equal(t, []string{"battery low", "battery low", "spindle out of range", "the device reports error 1"}, says)
	assert.Equal(t, wire.Refused{NotANumber: 1}, got.Refused)
}

// The checksum of NMEA 0183, the exclusive or of the bytes between $ and *. The
// first sentence is printed in the README of the pynmea2 library; the others are
// from memory, recomputed twice; one has a digit changed.
func TestXorAfterStarAgainstPublicSentences(t *testing.T) {
	for sentence, want := range map[string]bool{
		"$GPGGA,184353.07,1929.045,S,02410.506,E,1,04,2.6,100.00,M,-33.9,M,,0000*6D": true,
		"$GPGGA,123519,4807.038,N,01131.000,E,1,08,0.9,545.4,M,46.9,M,,*47":          true,
		"$GPGLL,5300.97914,N,00259.98174,E,125926,A*28":                              true,
		"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6A":       true,
		"$GPRMC,123519,A,4807.038,N,01131.000,E,022.4,084.4,230394,003.1,W*6a":       true,
		"$GPGLL,5300.97915,N,00259.98174,E,125926,A*28":                              false,
		"$GPGLL*": false, "*00": false, "$A*4": false, "$A*4G": false,
	} {
		_, got := lines.CutChecked([]byte(sentence))
		assert.Equal(t, want, got, sentence)
	}
}

func TestAngleWrapsAreUndone(t *testing.T) {
	got := decode(named(t, "degrees", lines.Options{}), "358.0\n359.5\n1.0\n0.0\n359.0\n")
	var angles []string
	for _, r := range got.Readings {
		angles = append(angles, r.Angle.String())
	}
	assert.Equal(t, []string{"358 deg", "359.5 deg", "361 deg", "360 deg", "359 deg"}, angles)
}

// Of a line without end nothing is kept, and the line after it is whole.
func TestALineWithoutEndIsBounded(t *testing.T) {
	d := named(t, "plain", lines.Options{})
	got := corpus.Run(d, []byte(strings.Repeat("1", 1_000_000)+"\n1.5\n"), 999)
	assert.Equal(t, []string{"1.5 mm"}, lifts(got))
	assert.Equal(t, wire.Refused{TooLong: 1}, got.Refused)
	assert.LessOrEqual(t, d.Holds(), lines.MaxLine)
}

func TestTheExamplesOfTheBuiltInFormatsAreReadings(t *testing.T) {
	for _, f := range formats.BuiltIn() {
		_, examples, ok := strings.Cut(f.Says, ": ")
		require.True(t, ok, f.Name)
		example, _, _ := strings.Cut(examples, " (")
		example, _, _ = strings.Cut(example, ", ")
		example, _, _ = strings.Cut(example, " or ")
		example = strings.NewReplacer("<STX>", "\x02", "<ETX>", "\x03").Replace(example)
		got := decode(named(t, f.Name, lines.Options{Crank: corpus.Crank{}}), example+"\r\n")
		assert.Len(t, got.Readings, 1, "%s: %q %+v", f.Name, example, got.Refused)
	}
}
