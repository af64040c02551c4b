package lines_test

import (
	"fmt"
	"testing"

	"github.com/stretchr/testify/assert"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// sendEach has d decode lines at even times, and returns what came out.
func sendEach(d *lines.Decoder, every measure.Stamp, sent ...string) (out wire.Out) {
	for i, l := range sent {
		d.Decode(wire.Chunk{Bytes: []byte(l + "\r\n"), At: measure.Second + every*measure.Stamp(i)}, &out)
	}
	return out
}

func shown(out wire.Out) (all []string) {
	for _, r := range out.Readings {
		all = append(all, r.Lift.Decimal(measure.InMillimetres, 2))
	}
	return all
}

// A digit that was misread is nine millimetres off: too far for fifty readings a
// second, and for ten.
func TestAMisreadDigitIsTooFast(t *testing.T) {
	for _, every := range []measure.Stamp{20 * measure.Millisecond, 100 * measure.Millisecond} {
		d := named(t, "plain", lines.Options{Unit: measure.InMillimetres})
		out := sendEach(d, every, "9.71", "9.72", "0.73", "9.74", "9.75", "9.76")
		assert.Equal(t, []string{"9.71", "9.72", "9.74", "9.75", "9.76"}, shown(out))
		assert.Equal(t, wire.Refused{Jump: 1}, out.Refused)
	}
}

// A fast hand, or a gauge of distance: what goes on the same way is no misreading,
// and nothing of it is lost.
func TestAFastMovementIsKept(t *testing.T) {
	d := named(t, "plain", lines.Options{Unit: measure.InMillimetres})
	var lines []string
	for _, mm := range []float64{0, 0.1, 2.5, 5.5, 8.5, 9.8, 9.9, 9.7, 8.2, 5.3, 2.3, 0.2, 0, 0, 0} {
		lines = append(lines, fmt.Sprintf("%.2f", mm))
	}
	out := sendEach(d, 20*measure.Millisecond, lines...)
	assert.Equal(t, lines, shown(out))
	assert.Zero(t, out.Refused)
}

// No indicator shows ten metres: a serial number or a clock is no lift.
func TestALengthBeyondAnyIndicatorIsNone(t *testing.T) {
	d := lines.NewDecoder(formats.BuiltIn()[0], lines.Options{Unit: measure.InMillimetres})
	d.BeginsQuiet()
	out := sendEach(d, 100*measure.Millisecond, "41940300000.00", "1.25")
	assert.Equal(t, []string{"1.25"}, shown(out))
	assert.Equal(t, wire.Refused{NotANumber: 1}, out.Refused)
}
