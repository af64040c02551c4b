package modbus

import (
	"encoding/hex"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

func unhex(t testing.TB, text string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	require.NoError(t, err)
	return b
}

// Frames and their checks. CRC-16/MODBUS, low byte first on the wire; verified
// with crcmod and a bit-by-bit loop.
func TestCRC(t *testing.T) {
	assert.Equal(t, uint16(0x4B37), crc16([]byte("123456789")), "CRC catalogue value, from memory; seen in public test files")
	for _, f := range []struct{ frame, crc, source string }{
		{"02 07", "41 12", "Serial Line V1.02 appendix example, from memory"},
		{"01 03 00 6B 00 03", "74 17", "derived"},
		{"11 03 00 6B 00 03", "76 87", "seen in many public tests"},
		{"11 03 06 AE 41 56 52 43 40", "49 AD", "seen"},
		{"01 03 06 02 2B 00 00 00 64", "05 7A", "derived"},
		{"11 04 00 08 00 01", "B2 98", "seen"},
		{"01 03 00 00 00 0A", "C5 CD", "seen"},
		{"01 03 00 00 00 02", "C4 0B", "seen"},
		{"01 83 01", "80 F0", "derived"},
		{"01 83 02", "C0 F1", "derived"},
		{"01 83 03", "01 31", "derived"},
		{"01 83 04", "40 F3", "derived"},
		{"11 83 02", "C1 34", "derived"},
		{"11 86 02", "C2 64", "derived"},
		{"11 90 03", "0D C4", "derived"},
		{"11 06 00 01 00 03", "9A 9B", "PDU from the specification, from memory"},
		{"11 10 00 01 00 02 04 00 0A 01 02", "C6 F0", "PDU from the specification, from memory"},
	} {
		whole := unhex(t, f.frame+f.crc)
		assert.Equal(t, whole, appendCRC(unhex(t, f.frame)), "%s (%s)", f.frame, f.source)
		assert.True(t, checked(whole), f.frame)
	}
	assert.False(t, checked(unhex(t, "01 03 00 6B 00 03 76 87")), "the check of another device's frame: a wrong one")
	assert.False(t, checked(nil))
	assert.False(t, checked([]byte{0xFF, 0xFF}))
}

// Serial Line V1.02 p. 13: 1.750 ms above 19200 baud (the fixed values seen
// quoted), and 3.5 characters at or under it, of 11 bits (8N1 devices send 10).
func TestSilenceBeforeAFrame(t *testing.T) {
	for _, s := range []struct {
		baud     int
		ms11, ms float64 // of characters of 11 and 10 bits
	}{
		{1200, 32.083333, 29.166667}, {2400, 16.041667, 14.583333}, {4800, 8.020833, 7.291667},
		{9600, 4.010417, 3.645833}, {19200, 2.005208, 1.822917}, {38400, 1.750, 1.750}, {115200, 1.750, 1.750},
	} {
		for bits, want := range map[int]float64{11: s.ms11, 10: s.ms} {
			perByte := time.Duration(bits) * time.Second / time.Duration(s.baud)
			assert.InDelta(t, want, float64(Silence(perByte))/float64(time.Millisecond), 1e-5, "%d baud, %d bits", s.baud, bits)
		}
	}
	assert.Equal(t, 1750*time.Microsecond, Silence(0))
}

func decoder(t testing.TB, o Options) *Decoder {
	d, err := New(o)
	require.NoError(t, err)
	return d
}

// answer asks, and gives the answer to d.
func answer(d *Decoder, frame []byte) wire.Out {
	var out wire.Out
	d.Ask(nil)
	d.Decode(wire.Chunk{Bytes: frame, At: measure.Second}, &out)
	return out
}

// Application Protocol V1.1b3 (from memory): registers 108 to 110 are addresses
// 107 to 109 = 0x6B; they hold 555, 0 and 100. Input register 9 (address 8)
// holds 10.
func TestTheStandardsExamples(t *testing.T) {
	um := Options{Register: 107, Scale: measure.Micrometre, Type: Int16}
	d := decoder(t, um)
	assert.Equal(t, unhex(t, "01 03 00 6B 00 01 F5 D6"), d.Ask(nil), "one register of the three; CRC derived")
	out := answer(d, appendCRC(unhex(t, "01 03 02 02 2B")))
	require.Len(t, out.Readings, 1)
	assert.Equal(t, measure.Reading{At: measure.Second, Lift: 555 * measure.Micrometre, Has: measure.HasLift}, out.Readings[0])

	in := decoder(t, Options{Slave: 0x11, Table: Input, Register: 8, Scale: measure.Micrometre})
	assert.Equal(t, unhex(t, "11 04 00 08 00 01 B2 98"), in.Ask(nil), "seen")
	out = answer(in, appendCRC(unhex(t, "11 04 02 00 0A")))
	require.Len(t, out.Readings, 1)
	assert.Equal(t, 10*measure.Micrometre, out.Readings[0].Lift)

	two := decoder(t, Options{Type: Int32, Scale: measure.Micrometre})
	assert.Equal(t, unhex(t, "01 03 00 00 00 02 C4 0B"), two.Ask(nil), "seen")

	// An answer of three registers is right in itself and is no answer to one.
	for _, frame := range []string{"01 03 06 02 2B 00 00 00 64 05 7A", "11 03 06 AE 41 56 52 43 40 49 AD"} {
		d := decoder(t, um)
		out := answer(d, unhex(t, frame))
		assert.Empty(t, out.Readings)
		assert.False(t, d.Answered())
		d.Unanswered(&out)
		assert.Equal(t, wire.Refused{Misshapen: 1}, out.Refused)
	}
}

func TestExceptionsAreConditions(t *testing.T) {
	for _, e := range []struct{ frame, says string }{
		{"01 83 01 80 F0", "try table=input"},
		{"01 83 02 C0 F1", "no holding register 107"},
		{"01 83 03 01 31", "look at type="},
		{"01 83 04 40 F3", "failed to read"},
	} {
		d := decoder(t, Options{Register: 107, Scale: measure.Micrometre})
		out := answer(d, unhex(t, e.frame))
		assert.Empty(t, out.Readings)
		require.Len(t, out.Conditions, 1)
		assert.Contains(t, out.Conditions[0].Says, e.says)
		assert.Zero(t, out.Refused)
		assert.True(t, d.Answered())
	}
	for code, says := range map[byte]string{5: "needs longer", 6: "busy", 11: "gateway", 77: "exception 77"} {
		out := answer(decoder(t, Options{Scale: 1}), appendCRC([]byte{1, 0x83, code}))
		assert.Contains(t, out.Conditions[0].Says, says)
	}
	// Of another device, or another function: not for us.
	for _, frame := range []string{"11 83 02 C1 34", "11 86 02 C2 64", "11 90 03 0D C4"} {
		d := decoder(t, Options{Scale: 1})
		out := answer(d, unhex(t, frame))
		assert.Empty(t, out.Conditions)
		assert.False(t, d.Answered())
	}
}

func TestAWrongCheckIsNoReading(t *testing.T) {
	d := decoder(t, Options{Register: 107, Scale: measure.Micrometre})
	frame := appendCRC(unhex(t, "01 03 02 02 2B"))
	for bit := range len(frame) * 8 {
		wrong := append([]byte(nil), frame...)
		wrong[bit/8] ^= 1 << (bit % 8)
		out := answer(d, wrong)
		assert.Empty(t, out.Readings, "bit %d", bit)
		assert.Empty(t, out.Conditions, "bit %d", bit)
		if !d.Answered() {
			d.Unanswered(&out)
		}
		assert.Equal(t, int64(1), out.Refused.Total(), "bit %d", bit)
	}
	out := answer(d, unhex(t, "01 03 02 02 2B 76 87"))
	assert.Equal(t, wire.Refused{BadChecksum: 1}, out.Refused)
	assert.True(t, d.Answered(), "it answered; there is nothing to wait for")
	assert.Len(t, answer(d, frame).Readings, 1, "the next is as good as any")
}

// A line of two wires may give back what was sent, and noise may stand before.
func TestEchoAndNoise(t *testing.T) {
	d := decoder(t, Options{Register: 107, Scale: measure.Micrometre})
	frame := appendCRC(unhex(t, "01 03 02 02 2B"))
	out := answer(d, append(d.Ask(nil), frame...))
	assert.Len(t, out.Readings, 1)
	assert.Zero(t, out.Refused, "an echo is no fault")
	out = answer(d, append([]byte{0x00, 0xFF, 0x01}, frame...))
	assert.Len(t, out.Readings, 1)
	assert.Equal(t, wire.Refused{NotANumber: 1}, out.Refused)
	out = answer(d, append(append([]byte(nil), frame...), frame...))
	assert.Len(t, out.Readings, 1, "nobody asked for the second")
	assert.Equal(t, wire.Refused{Misshapen: 1}, out.Refused)
	out = wire.Out{}
	d.Ask(nil)
	d.Unanswered(&out)
	assert.Equal(t, wire.Refused{Unanswered: 1}, out.Refused)
	d.Ask(nil)
	d.Decode(wire.Chunk{Bytes: frame[:4]}, &out)
	d.Reset()
	assert.True(t, d.Answered())
}

// Float32 in the four orders. (Numbers recomputed by independent code.)
func TestOrdersOfBytes(t *testing.T) {
	for _, f := range []struct {
		lift  measure.Length // in mm
		bytes [4]string
	}{
		{123_456_000, [4]string{"42F6E979", "E97942F6", "F64279E9", "79E9F642"}},
		{12_700_000, [4]string{"414B3333", "3333414B", "4B413333", "33334B41"}},
	} {
		for i, o := range []Order{ABCD, CDAB, BADC, DCBA} {
			d := decoder(t, Options{Type: Float32, Order: o})
			out := answer(d, appendCRC(unhex(t, "01 03 04"+f.bytes[i])))
			require.Len(t, out.Readings, 1)
			assert.Equal(t, f.lift, out.Readings[0].Lift, "%v: the decimal that was meant", o)
			assert.True(t, d.Found().Assumed, "millimetres were guessed")
		}
	}
	d := decoder(t, Options{Type: Int16, Order: DCBA, Scale: measure.Micrometre})
	assert.Equal(t, 555*measure.Micrometre, answer(d, appendCRC(unhex(t, "01 03 02 2B 02"))).Readings[0].Lift)
}

func TestTypesAndRoles(t *testing.T) {
	lift := func(o Options, data string) measure.Length {
		out := answer(decoder(t, o), appendCRC(unhex(t, "01 03"+data)))
		require.Len(t, out.Readings, 1)
		return out.Readings[0].Lift
	}
	um := measure.Micrometre
	assert.Equal(t, -1*um, lift(Options{Type: Int16, Scale: um}, "02 FFFF"))
	assert.Equal(t, 65535*um, lift(Options{Type: Uint16, Scale: um}, "02 FFFF"))
	assert.Equal(t, -2*um, lift(Options{Type: Int32, Scale: um}, "04 FFFFFFFE"))
	assert.Equal(t, 4294967294*um, lift(Options{Type: Uint32, Scale: um}, "04 FFFFFFFE"))
	assert.Equal(t, 2*um, lift(Options{Type: Int32, Scale: um, Invert: true}, "04 FFFFFFFE"))
	assert.Equal(t, 420*measure.Thou, lift(Options{Type: Float32, Unit: measure.InInches}, "04 3ED70A3D"), "0.42 in")
	assert.Equal(t, 420*measure.Thou, lift(Options{Type: Int16, Unit: measure.InThou}, "02 01A4"))

	for _, no := range []uint32{math.Float32bits(float32(math.NaN())), 0x7F800000, 0xFF800000, math.Float32bits(math.MaxFloat32)} {
		data := []byte{1, 3, 4, byte(no >> 24), byte(no >> 16), byte(no >> 8), byte(no)}
		out := answer(decoder(t, Options{Type: Float32}), appendCRC(data))
		assert.Empty(t, out.Readings)
		assert.Equal(t, wire.Refused{NotANumber: 1}, out.Refused)
	}
	tiny := appendCRC([]byte{1, 3, 4, 0, 0, 0, 1})
	assert.Zero(t, answer(decoder(t, Options{Type: Float32}), tiny).Readings[0].Lift)
}

// plain is a crank that says what it was told.
type plain struct{ counts []int64 }

func (p *plain) FromCounts(n int64) measure.Angle {
	p.counts = append(p.counts, n)
	return measure.Angle(n)
}
func (p *plain) FromDegrees(a measure.Angle) measure.Angle { return a }
func (p *plain) Step() measure.Angle                       { return 150_000 }

func TestCountsGoOnPastTheirEnd(t *testing.T) {
	p := &plain{}
	d := decoder(t, Options{Role: Counts, Type: Uint16, Crank: p})
	for _, n := range []uint16{65000, 65500, 400, 65530, 10} {
		answer(d, appendCRC([]byte{1, 3, 2, byte(n >> 8), byte(n)}))
	}
	assert.Equal(t, []int64{65000, 65500, 65936, 65530, 65546}, p.counts)
	p = &plain{}
	d = decoder(t, Options{Role: Counts, Type: Int32, Crank: p})
	for _, n := range []uint32{0x7FFFFFFF, 0x80000001} {
		answer(d, appendCRC([]byte{1, 3, 4, byte(n >> 24), byte(n >> 16), byte(n >> 8), byte(n)}))
	}
	assert.Equal(t, []int64{math.MaxInt32, math.MaxInt32 + 2}, p.counts)
	assert.Equal(t, 150_000*measure.Microdegree, d.Found().AngleStep)

	d = decoder(t, Options{Role: Angle, Type: Int16, Step: 10_000, Crank: p})
	out := answer(d, appendCRC([]byte{1, 3, 2, 0x8C, 0xA0}))
	require.Len(t, out.Readings, 1)
	assert.Equal(t, measure.HasAngle, out.Readings[0].Has)
	assert.Equal(t, measure.Angle(int64(int16(-29536)))*10_000, out.Readings[0].Angle)
}

func TestKeysOfAnAddress(t *testing.T) {
	parse := func(pairs ...string) (Options, error) {
		return Parse(func(key string) string {
			for _, p := range pairs {
				if k, v, _ := strings.Cut(p, "="); k == key {
					return v
				}
			}
			return ""
		})
	}
	o, err := parse("register=107", "slave=17", "table=input", "type=float32", "order=low", "role=angle", "step=0.5")
	require.NoError(t, err)
	assert.Equal(t, Options{Slave: 17, Register: 107, Table: Input, Type: Float32, Order: CDAB, Role: Angle, Step: measure.Degree / 2}, o)
	o, err = parse("register=0", "order=dcba")
	require.NoError(t, err)
	assert.Equal(t, Options{Slave: 1, Order: DCBA}, o)
	for says, pairs := range map[string][]string{
		"add register=":                    {"slave=1"},
		"a whole number from 1 to 247":     {"register=1", "slave=0"},
		"a whole number from 0 to 65535":   {"register=65536"},
		"write one of int16":               {"register=1", "type=int8"},
		"ABCD, CDAB, BADC, DCBA, high, lo": {"register=1", "order=ACBD"},
		"as in step=0.01":                  {"register=1", "step=-1"},
	} {
		_, err := parse(pairs...)
		assert.ErrorContains(t, err, says)
	}
	for says, o := range map[string]Options{
		"add scale=":        {},
		"numbered 1 to 247": {Slave: 250, Scale: 1},
		"registers are":     {Register: 65535, Type: Int32, Scale: 1},
		"add counts=":       {Role: Counts},
		"counts are whole":  {Role: Counts, Type: Float32, Crank: &plain{}},
		"add step=":         {Role: Angle, Crank: &plain{}},
	} {
		_, err := New(o)
		assert.ErrorContains(t, err, says)
	}
	assert.Equal(t, "asked: lift as int32 CDAB in input register 8 of device 3, 0.001 mm each",
		decoder(t, Options{Slave: 3, Table: Input, Register: 8, Type: Int32, Order: CDAB, Scale: measure.Micrometre}).Found().Says)
}
