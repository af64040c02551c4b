package rfc2217

import (
	"encoding/hex"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func unhex(t testing.TB, text string) []byte {
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	require.NoError(t, err)
	return b
}

// Codes of RFC 2217 (text seen; codes as in pyserial 3.5; 0 from memory). The
// frames are derived from it: baud is 4 bytes, high first, and a 255 inside data
// is doubled.
func TestFramesOfTheOption(t *testing.T) {
	assert.Equal(t, []byte{255, 254, 253, 252, 251, 250, 240, 44}, []byte{iac, dont, do, wont, will, sb, se, optComPort})
	assert.Equal(t, []byte{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12},
		[]byte{signature, setBaud, setBits, setParity, setStop, setControl, notifyLine, notifyModem, suspend, resume, setLineMask, setModemMask, purge})

	frames := func(s Settings) []string {
		w, err := s.wishes()
		require.NoError(t, err)
		var all []string
		for _, w := range w {
			all = append(all, strings.ToUpper(hex.EncodeToString(appendSub(nil, w.code, w.value...))))
		}
		return all
	}
	assert.Equal(t, []string{"FFFA2C0100002580FFF0", "FFFA2C0208FFF0", "FFFA2C0301FFF0", "FFFA2C0401FFF0"}, frames(Settings{}), "9600 8N1")
	for parity, code := range map[byte]string{'N': "01", 'O': "02", 'E': "03", 'M': "04", 'S': "05"} {
		assert.Equal(t, "FFFA2C03"+code+"FFF0", frames(Settings{Parity: parity})[2])
	}
	for stop, code := range map[string]string{"1": "01", "2": "02", "1.5": "03"} {
		assert.Equal(t, "FFFA2C04"+code+"FFF0", frames(Settings{Stop: stop})[3])
	}
	assert.Equal(t, "FFFA2C010000FFFF00FFF0", frames(Settings{Baud: 0xFF00})[0], "a 255 inside is doubled")
	for _, no := range []Settings{{Baud: -1}, {Bits: 9}, {Parity: 'X'}, {Stop: "3"}} {
		_, err := no.wishes()
		assert.Error(t, err)
	}
}

// taken is a stream with its commands.
type taken struct {
	data     []byte
	commands []command
}

func (k *taken) take(c command) {
	c.sub = append([]byte(nil), c.sub...)
	k.commands = append(k.commands, c)
}

func TestCommandsAreTakenOutOfTheStream(t *testing.T) {
	var k taken
	tn := telnet{binary: true}
	k.data = tn.feed(nil, unhex(t, "30 2E FFFF 34 FFFD2C FFF1 32 FFFA2C6500002580FFF0 30 FFFA2C6A02FFF0 0D0A FFFA2C65 0000FFFF00 FFF0"), k.take)
	assert.Equal(t, "0.\xff420\r\n", string(k.data))
	assert.Equal(t, []command{
		{verb: do, option: optComPort},
		{verb: sb, option: optComPort, sub: []byte{101, 0, 0, 0x25, 0x80}},
		{verb: sb, option: optComPort, sub: []byte{106, 2}},
		{verb: sb, option: optComPort, sub: []byte{101, 0, 0, 0xFF, 0}},
	}, k.commands)

	// A command inside a subnegotiation is an error that drops it alone.
	k = taken{}
	k.data = tn.feed(nil, unhex(t, "FFFA2C65 FFFD03 41 FFFA2C65 FFF1 42 FFFA2C FFFA2C0A FFF0 43"), k.take)
	assert.Equal(t, "ABC", string(k.data))
	assert.Equal(t, []command{{verb: do, option: 3}, {verb: sb, option: optComPort, sub: []byte{10}}}, k.commands)

	// One too long is dropped, and what follows is not.
	k = taken{}
	long := append(unhex(t, "FFFA2C"), make([]byte, 10_000)...)
	k.data = tn.feed(nil, append(long, unhex(t, "FFF0 44 FFFB01")...), k.take)
	assert.Equal(t, "D", string(k.data))
	assert.Equal(t, []command{{verb: will, option: 1}}, k.commands)
	assert.LessOrEqual(t, len(tn.sub), longestSub)

	// Before both agree on binary, CR NUL is a CR.
	tn = telnet{}
	assert.Equal(t, "1\r2\r\n3\x00", string(tn.feed(nil, []byte("1\r\x002\r\n3\x00"), k.take)))
	tn.binary = true
	assert.Equal(t, "1\r\x00", string(tn.feed(nil, []byte("1\r\x00"), k.take)))
}

// Whatever comes and however it is cut, the same bytes and commands come out,
// never more than went in; and what we send comes out at the other end as it
// was.
func FuzzTelnet(f *testing.F) {
	seeds := []string{"", "0.420\r\n", "\xff\xff\xff\xfd\x2c", "\xff\xfa\x2c\x65\x00\x00\x25\x80\xff\xf0", "\xff\xfa\x2c\xff\xfa\x2c\xff", "\r\x00\r\x00\xff\xf1", strings.Repeat("\xff\xfa", 400)}
	require.NotEmpty(f, seeds)
	for i, s := range seeds {
		f.Add([]byte(s), uint8(i), i%2 == 0)
	}
	f.Fuzz(func(t *testing.T, b []byte, cut uint8, binary bool) {
		var whole, pieces taken
		a, c := telnet{binary: binary}, telnet{binary: binary}
		whole.data = a.feed(nil, b, whole.take)
		for rest, n := b, int(cut%7)+1; len(rest) > 0; rest = rest[min(n, len(rest)):] {
			pieces.data = c.feed(pieces.data, rest[:min(n, len(rest))], pieces.take)
		}
		assert.Equal(t, string(whole.data), string(pieces.data))
		assert.Equal(t, whole.commands, pieces.commands)
		require.LessOrEqual(t, len(whole.data), len(b))
		inPlace := append([]byte(nil), b...)
		again := telnet{binary: binary}
		assert.Equal(t, string(whole.data), string(again.feed(inPlace[:0], inPlace, func(command) {})))

		sent := appendData(nil, b, binary)
		back := telnet{binary: binary}
		got := back.feed(nil, sent, func(c command) { t.Fatalf("data became the command %v", c) })
		if binary {
			require.Equal(t, string(b), string(got))
		}
		value := b[:min(len(b), 64)]
		var sub taken
		back.feed(nil, appendSub(nil, setBaud, value...), sub.take)
		require.Len(t, sub.commands, 1)
		require.Equal(t, append([]byte{setBaud}, value...), sub.commands[0].sub)
	})
}
