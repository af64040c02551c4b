package board

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"math"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// compiled returns the host program of host/lines.c, built with the machine's C
// compiler and the flags given.
func compiled(t *testing.T, flags ...string) string {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("NOT TESTED: the firmware's protocol, for want of a C compiler (cc)")
	}
	name := filepath.Join(t.TempDir(), "lines")
	args := append([]string{"-std=c99", "-Wall", "-Wextra", "-Werror", "-O1", "-fsanitize=undefined", "-fsanitize-undefined-trap-on-error", "-o", name}, flags...)
	out, err := exec.Command(cc, append(args, "host/lines.c", "firmware/protocol.c")...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	return name
}

// says runs the program on so many lines and returns as many.
func says(t require.TestingT, program string, asked ...string) []string {
	cmd := exec.Command(program)
	cmd.Stdin = strings.NewReader(strings.Join(asked, "\n") + "\n")
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	require.NoError(t, cmd.Run(), "%s", &errs)
	lines := strings.Split(strings.TrimSuffix(out.String(), "\r\n"), "\r\n")
	require.Len(t, lines, len(asked))
	return lines
}

// twoWire returns the 24 bits of a figure in whole counts: 20 bits of magnitude
// from the lowest, the sign in bit 20, the unit in bit 23 (common practice, no
// source).
func twoWire(counts int, inch bool) string {
	v := uint32(max(counts, -counts))
	if counts < 0 {
		v |= 1 << 20
	}
	if inch {
		v |= 1 << 23
	}
	return hex.EncodeToString([]byte{byte(v), byte(v >> 8), byte(v >> 16), 0, 0, 0, 0})
}

// onRequest returns the thirteen nibbles of a figure (common practice, no
// source): four of ones, the sign, six digits, the decimals, the unit.
func onRequest(digits, decimals int, inch bool) [7]byte {
	nibbles := append([]byte{15, 15, 15, 15, 0}, fmt.Sprintf("%06d", max(digits, -digits))...)
	for i := 5; i < 11; i++ {
		nibbles[i] -= '0'
	}
	if digits < 0 {
		nibbles[4] = 8
	}
	nibbles = append(nibbles, byte(decimals), 0)
	if inch {
		nibbles[12] = 1
	}
	var frame [7]byte
	for i, n := range nibbles {
		frame[i/2] |= n << (4 * (i % 2))
	}
	return frame
}

// The line of the manual, its check worked out there by hand, and the longer
// lines with checks by the rule of NMEA 0183 (the exclusive or of all between $
// and *), computed here a byte at a time.
func TestLines(t *testing.T) {
	t.Parallel()
	program, plain := compiled(t), compiled(t, "-DPLAIN")
	request := onRequest(10668, 3, false)
	frame := hex.EncodeToString(request[:])
	assert.Equal(t, []string{"$710,10.668mm*0D"}, says(t, plain, "52 710 1 37 "+frame))
	for _, c := range []struct{ asked, body string }{
		{"52 710 0 37 " + frame, "710,10.668mm,37"},
		{"52 -710 1 255 " + frame, "-710I,10.668mm,255"},
		{"24 0 0 0 " + twoWire(0, false), "0,0.00mm,0"},
		{"24 0 0 0 " + twoWire(-1, false), "0,-0.01mm,0"},
		{"24 0 0 0 " + twoWire(1, true), "0,0.0005in,0"},
		{"24 5 0 9 " + twoWire(-840, true), "5,-0.4200in,9"},
		{"24 5 0 9 " + twoWire(50000, false), "5,500.00mm,9"},
		{"24 -2147483648 1 255 " + twoWire(-50000, true), "-2147483648I,-25.0000in,255"},
		{"words 710 1 37 NO SIGNAL", "710I,NO SIGNAL,37"},
		{"words -2147483648 1 255 " + strings.Repeat("x", 60), "-2147483648I," + strings.Repeat("x", 30) + ",255"},
		{"first LOBESCRIBE BOARD 2 BITS 24", "LOBESCRIBE BOARD 2 BITS 24"},
	} {
		var check byte
		for i := range len(c.body) {
			check ^= c.body[i]
		}
		assert.Equal(t, fmt.Sprintf("$%s*%02X", c.body, check), says(t, program, c.asked)[0])
	}
}

// Bits that no figure has are words, never a figure: a figure past half a
// metre, the two bits of nothing, nibbles that are no digits.
func TestWrongBitsAreWords(t *testing.T) {
	t.Parallel()
	program := compiled(t)
	asked := []string{"24 0 0 0 " + twoWire(50001, false), "24 0 0 0 00002000000000", "24 0 0 0 00004000000000"}
	good := onRequest(10668, 3, false)
	for _, c := range []struct{ nibble, bits int }{{0, 14}, {3, 0}, {4, 1}, {4, 9}, {5, 10}, {10, 15}, {11, 6}, {12, 2}} {
		bad := good
		shift := 4 * (c.nibble % 2)
		bad[c.nibble/2] = bad[c.nibble/2]&^(15<<shift) | byte(c.bits<<shift)
		asked = append(asked, "52 0 0 0 "+hex.EncodeToString(bad[:]))
	}
	for i, said := range says(t, program, asked...) {
		assert.Equal(t, "BITS WRONG", said, asked[i])
	}
}

// Every figure that an indicator of either kind can show is said to the digit.
func TestEveryFigureIsSaidToTheDigit(t *testing.T) {
	t.Parallel()
	program := compiled(t)
	rapid.Check(t, func(t *rapid.T) {
		var asked, want []string
		for range 200 {
			inch := rapid.Bool().Draw(t, "inch")
			unit := map[bool]string{false: "mm", true: "in"}[inch]
			count := rapid.Int32().Draw(t, "count")
			if rapid.Bool().Draw(t, "two-wire") {
				n := rapid.IntRange(-50000, 50000).Draw(t, "counts")
				step, decimals := 0.01, 2
				if inch {
					step, decimals = 0.0005, 4
				}
				asked = append(asked, fmt.Sprintf("24 %d 0 7 %s", count, twoWire(n, inch)))
				want = append(want, fmt.Sprintf("%d,%.*f%s,7", count, decimals, float64(n)*step, unit))
				continue
			}
			n := rapid.IntRange(-999999, 999999).Draw(t, "digits")
			decimals := rapid.IntRange(0, 5).Draw(t, "decimals")
			frame := onRequest(n, decimals, inch)
			asked = append(asked, fmt.Sprintf("52 %d 0 7 %s", count, hex.EncodeToString(frame[:])))
			want = append(want, fmt.Sprintf("%d,%.*f%s,7", count, decimals, float64(n)/math.Pow10(decimals), unit))
		}
		for i, said := range says(t, program, asked...) {
			body, _, _ := strings.Cut(strings.TrimPrefix(said, "$"), "*")
			require.Equal(t, want[i], body, asked[i])
		}
	})
}

// Two square waves a quarter apart; A leads as the count grows (textbook).
func TestQuadratureSteps(t *testing.T) {
	t.Parallel()
	var steps [16]int
	var err error
	for i, word := range strings.Fields(says(t, compiled(t), "steps")[0]) {
		_, err = fmt.Sscan(word, &steps[i])
		require.NoError(t, err)
	}
	level := func(quarter int) int { // B,A after so many quarters: A is up in the first half, B a quarter later
		q := (quarter%4 + 4) % 4
		a, b := 0, 0
		if q == 1 || q == 2 {
			a = 1
		}
		if q == 2 || q == 3 {
			b = 1
		}
		return b<<1 | a
	}
	for q := range 4 {
		assert.Equal(t, 1, steps[level(q)<<2|level(q+1)], "up from quarter %d", q)
		assert.Equal(t, -1, steps[level(q)<<2|level(q-1)], "down from quarter %d", q)
		assert.Equal(t, 0, steps[level(q)<<2|level(q)], "still in quarter %d", q)
		assert.Equal(t, 2, steps[level(q)<<2|level(q+2)], "both wires at once from quarter %d", q)
	}
}
