package board

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// checked is a line of the board: what stands between $ and *, and its check.
func checked(body string) string {
	var x byte
	for i := range len(body) {
		x ^= body[i]
	}
	return fmt.Sprintf("$%s*%02X\r\n", body, x)
}

// The version that the Go side knows is the one that the firmware says.
func TestTheVersionIsTheFirmwares(t *testing.T) {
	text, err := os.ReadFile("firmware/protocol.h")
	require.NoError(t, err)
	m := regexp.MustCompile(`#define SAYS_VERSION "(.*)"`).FindSubmatch(text)
	require.NotNil(t, m)
	said, ok := ParseVersion(string(m[1]) + "52")
	require.True(t, ok)
	assert.Equal(t, Said{Version, 52}, said)
	assert.Empty(t, said.Outdated())
	old, ok := ParseVersion("LOBESCRIBE BOARD 1")
	require.True(t, ok)
	assert.Contains(t, old.Outdated(), "make -C device/board/firmware flash")
	assert.Contains(t, Said{Version: Version + 1}.Outdated(), "newer lobescribe")
	for _, no := range []string{"", "LOBESCRIBE BOARD ", "LOBESCRIBE BOARD x", "LOBESCRIBE BOARD -1", "ANOTHER BOARD 2"} {
		_, ok := ParseVersion(no)
		assert.False(t, ok, no)
	}
}

// turnedBy is a board whose crank turns so many edges, 37 a line, with its index
// at each multiple of perTurn.
func turnedBy(edges, perTurn int) string {
	var b strings.Builder
	b.WriteString(checked("LOBESCRIBE BOARD 2 BITS 24"))
	n := 0
	for at := 0; at <= edges; at += 37 {
		index := ""
		if at > 0 && at/perTurn != (at-37)/perTurn {
			index = "I"
		}
		b.WriteString(checked(fmt.Sprintf("%d%s,%.2fmm,%d", at, index, float64(n%30)/10, n%256)))
		n++
	}
	return b.String()
}

func good(all []Finding) map[string]bool {
	m := map[string]bool{}
	for _, f := range all {
		m[f.Part] = f.Good
	}
	return m
}

func TestASoundBoardPasses(t *testing.T) {
	var s SelfTest
	for _, b := range []byte("5mm,3*00\r\n" + turnedBy(7500, 2400)) { // joined in mid-line, a byte at a time
		s.Take([]byte{b})
	}
	r := s.Result()
	assert.Equal(t, map[string]bool{"board": true, "line": true, "encoder": true, "index": true, "indicator": true}, good(r.Findings(2400)))
	assert.LessOrEqual(t, r.IndexFrom, int64(2400))
	assert.GreaterOrEqual(t, r.IndexTo, int64(2400))
	assert.Less(t, r.IndexTo-r.IndexFrom, int64(80))
	assert.EqualValues(t, 7500/37*37, r.Up)
	assert.Zero(t, r.Down)
	// Another encoder than said.
	assert.False(t, good(r.Findings(2000))["index"])
}

// Rocked over its index, the encoder passes one mark again and again: that is no
// turn.
func TestRockingOverTheIndexIsNoTurn(t *testing.T) {
	var s SelfTest
	s.Take([]byte("\n"))
	for i, line := range []string{"-5", "5I", "-5I", "6I", "-9I"} {
		s.Take([]byte(checked(fmt.Sprintf("%s,1.00mm,%d", line, i))))
	}
	r := s.Result()
	assert.EqualValues(t, 4, r.Marks)
	assert.Zero(t, r.IndexTo)
	assert.EqualValues(t, 21, r.Up)
	assert.EqualValues(t, 25, r.Down)
}

func TestEachTroubleOfAWireIsNamed(t *testing.T) {
	sound := turnedBy(7500, 2400)
	lines := strings.SplitAfter(sound, "\n")
	for name, c := range map[string]struct {
		sent, part, says string
	}{
		"nothing":         {"", "board", "nothing came"},
		"another device":  {"0.42 mm\r\n0.43 mm\r\n0.44 mm\r\n", "board", "none is of the board's firmware"},
		"old firmware":    {strings.Replace(sound, checked("LOBESCRIBE BOARD 2 BITS 24"), checked("LOBESCRIBE BOARD 1"), 1), "board", "version 1"},
		"not heard":       {strings.Join(lines[1:], ""), "board", "no version line"},
		"damaged":         {strings.Replace(sound, "mm", "nm", 3), "line", "3 came damaged, and 0 more"},
		"lost":            {strings.Join(append(lines[:20:20], lines[24:]...), ""), "line", "4 more never came"},
		"starts again":    {sound + sound, "line", "again 1 times"},
		"both wires":      {sound + checked("7474,EDGE LOST,203"), "encoder", "1 times"},
		"no edge":         {checked("0,1.00mm,0") + checked("0,1.01mm,1"), "encoder", "no edge"},
		"no mark":         {strings.ReplaceAll(turnedBy(7500, 1<<30), "x", ""), "index", "not passed"},
		"a clock lost":    {sound + checked("7474,BITS LOST 23,203"), "indicator", "1 of 23 bits"},
		"wrong bits":      {sound + checked("7474,BITS WRONG,203"), "indicator", "no figure has"},
		"silent":          {checked("LOBESCRIBE BOARD 2 BITS 52") + checked("0,NO SIGNAL,0"), "indicator", "no figure came"},
		"a loose plug":    {sound + checked("7474,NO SIGNAL,203"), "indicator", "silence"},
		"endless rubbish": {strings.Repeat("U", 5000), "board", "nothing came"},
	} {
		var s SelfTest
		s.Take([]byte("\n" + c.sent))
		found := false
		for _, f := range s.Result().Findings(2400) {
			if f.Part == c.part {
				found = true
				assert.False(t, f.Good, name)
				assert.Contains(t, f.Says, c.says, name)
			}
		}
		assert.True(t, found, name)
	}
	var s SelfTest
	s.Take([]byte("\n" + sound + checked("7474,PEDAL,203")))
	assert.True(t, good(s.Result().Findings(2400))["pedal"])
}
