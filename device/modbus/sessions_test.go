package modbus_test

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device"
	"lobescribe/device/address"
	"lobescribe/device/encoder"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Every session in testdata is played: our request must be the one written
// there, and each answer, in pieces of any size, must give what stands beside
// it.
func TestRecordedSessions(t *testing.T) {
	text, err := os.ReadFile("testdata/sessions.txt")
	require.NoError(t, err)
	for size := 1; size <= 16; size += 5 {
		var d device.Asker
		var out wire.Out
		sessions, answers := 0, 0
		for n, line := range strings.Split(string(text), "\n") {
			at := fmt.Sprintf("line %d", n+1)
			verb, rest, _ := strings.Cut(line, " ")
			switch verb {
			case "", "#":
			case "address":
				sessions++
				a, err := address.Parse("serial:/dev/ttyUSB0?" + rest)
				require.NoError(t, err, at)
				o := device.DecoderOptions{}
				if c, err := encoder.Parse(a.Value); c != nil {
					require.NoError(t, err, at)
					o.Crank = c
				}
				made, err := device.NewDecoder(a, o)
				require.NoError(t, err, at)
				d = made.(device.Asker)
			case ">":
				assert.Equal(t, unhex(t, rest), d.Ask(nil), at)
			case "<":
				answers++
				out.Reset()
				for b := unhex(t, rest); len(b) > 0; {
					k := min(size, len(b))
					d.Decode(wire.Chunk{Bytes: b[:k]}, &out)
					b = b[k:]
				}
				if !d.Answered() {
					d.Unanswered(&out)
				}
			case "=":
				assert.Equal(t, rest, gives(t, &out), at)
			default:
				t.Fatalf("%s: %q", at, line)
			}
		}
		require.Equal(t, 5, sessions)
		require.Equal(t, 19, answers)
	}
}

// gives writes what came out as testdata has it.
func gives(t *testing.T, out *wire.Out) string {
	switch {
	case len(out.Readings) == 1 && len(out.Conditions) == 0:
		if r := out.Readings[0]; r.Has == measure.HasLift {
			return "lift " + r.Lift.String()
		} else {
			return "angle " + r.Angle.String()
		}
	case len(out.Conditions) == 1 && len(out.Readings) == 0:
		return "says " + out.Conditions[0].Says
	}
	require.Empty(t, out.Readings)
	text, err := json.Marshal(out.Refused)
	require.NoError(t, err)
	var kinds map[string]int
	require.NoError(t, json.Unmarshal(text, &kinds))
	for kind, n := range kinds {
		if n == 1 && out.Refused.Total() == 1 {
			return "refused " + kind
		}
	}
	return fmt.Sprintf("%+v", out)
}

func unhex(t *testing.T, text string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	require.NoError(t, err)
	return b
}
