package modbus

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// remainder divides a frame, its CRC included, by the polynomial bit by bit in
// a shift register: 0 if the CRC agrees. It shares nothing with crc16.
func remainder(frame []byte) uint16 {
	register := uint32(0xFFFF)
	for _, b := range frame {
		for bit := range 8 {
			feed := uint32(b>>bit) & 1
			out := register & 1
			register >>= 1
			if out != feed {
				register ^= 0xA001
			}
		}
	}
	return uint16(register)
}

// Whatever comes, and however it is cut: a reading comes only of a frame whose
// CRC agrees, once a request, and what is held stays small.
func FuzzDecoder(f *testing.F) {
	seeds := [][]byte{
		nil,
		appendCRC([]byte{1, 3, 4, 0x41, 0x4B, 0x33, 0x33}),
		appendCRC([]byte{1, 0x83, 2}),
		{1, 3, 4, 0x41, 0x4B, 0x33, 0x33, 0, 0},
		append([]byte{9, 9}, appendCRC([]byte{1, 3, 4, 0, 0, 0, 1})...),
		append([]byte{1, 3, 0, 0, 0, 2, 0xC4, 0x0B}, appendCRC([]byte{1, 3, 4, 0, 0, 1, 0})...),
		make([]byte, 300),
	}
	require.NotEmpty(f, seeds)
	for _, s := range seeds {
		f.Add(s, uint8(1))
		f.Add(s, uint8(5))
	}
	f.Fuzz(func(t *testing.T, b []byte, cut uint8) {
		d := decoder(t, Options{Type: Float32})
		require.Zero(t, remainder(d.Ask(nil)))
		var out wire.Out
		d.Decode(wire.Chunk{Bytes: b}, &out)

		e := decoder(t, Options{Type: Float32})
		e.Ask(nil)
		var pieces wire.Out
		size := int(cut%16) + 1
		for rest := b; len(rest) > 0; {
			n := min(size, len(rest))
			e.Decode(wire.Chunk{Bytes: rest[:n]}, &pieces)
			rest = rest[n:]
		}
		assert.Equal(t, out.Readings, pieces.Readings)
		assert.Equal(t, out.Conditions, pieces.Conditions)
		assert.Equal(t, out.Refused, pieces.Refused)
		assert.Equal(t, d.Answered(), e.Answered())

		require.LessOrEqual(t, len(out.Readings)+len(out.Conditions), 1)
		require.LessOrEqual(t, cap(d.buf), longest)
		if len(out.Readings) == 1 {
			found := false
			for i := 0; i+9 <= len(b); i++ {
				found = found || b[i] == 1 && b[i+1] == 3 && b[i+2] == 4 && remainder(b[i:i+9]) == 0
			}
			require.True(t, found, "a reading of %x", b)
		}
		// After the worst, the next answer is understood.
		if !d.Answered() {
			d.Unanswered(&out)
		}
		good := answer(d, appendCRC([]byte{1, 3, 4, 0x41, 0x4B, 0x33, 0x33}))
		require.Len(t, good.Readings, 1)
		require.Equal(t, 12_700*measure.Micrometre, good.Readings[0].Lift)
	})
}

func TestTheTwoChecksAgree(t *testing.T) {
	for _, frame := range [][]byte{{0x11, 3, 0, 0x6B, 0, 3, 0x76, 0x87}, {1, 0x83, 2, 0xC0, 0xF1}} {
		assert.Zero(t, remainder(frame))
		frame[0]++
		assert.NotZero(t, remainder(frame))
		assert.False(t, checked(frame))
	}
}

func BenchmarkAnswer(b *testing.B) {
	d := decoder(b, Options{Type: Float32})
	frame := appendCRC([]byte{1, 3, 4, 0x41, 0x4B, 0x33, 0x33})
	var out wire.Out
	request := make([]byte, 0, 16)
	b.ReportAllocs()
	for b.Loop() {
		out.Reset()
		d.Ask(request)
		d.Decode(wire.Chunk{Bytes: frame}, &out)
	}
	if len(out.Readings) != 1 {
		b.Fatal("no reading")
	}
}
