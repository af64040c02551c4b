package find_test

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lobescribe/device/encoder"
	"lobescribe/device/lines"
	"lobescribe/device/lines/find"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// A layout is a line as an instrument or a board sends it; README.md in
// testdata/lines tells the keys.
type layout struct {
	ID, Line, Source, Lift, Angle, Hint, Encoding string
	Hz, Atol                                      float64
	CPR                                           int
	Unknowable                                    bool `json:"unit_unknowable"`

	encoder bool
}

func layouts(t testing.TB) (all []layout) {
	t.Helper()
	for _, name := range []string{"given.json", "own.json", "third.json", "fourth.json"} {
		text, err := os.ReadFile("../../../testdata/lines/" + name)
		require.NoError(t, err)
		var file struct{ Indicators, Encoders []layout }
		require.NoError(t, json.Unmarshal(text, &file), name)
		require.NotEmpty(t, file.Indicators, name)
		for i := range file.Encoders {
			file.Encoders[i].encoder = true
		}
		all = append(all, append(file.Indicators, file.Encoders...)...)
	}
	return all
}

// A play is a way of turning and of listening.
type play struct {
	name    string
	middle  bool // joined in mid-line
	damaged bool // six lines in a hundred
	down    bool // the valve moves the spindle out, and the crank turns back
	rest    float64
}

var plays = []play{
	{name: "whole", rest: 0.4},
	{name: "joined in mid-line", middle: true, rest: 0},
	{name: "damaged", damaged: true, middle: true, rest: 2},
	{name: "damaged and downward", damaged: true, middle: true, down: true, rest: 0.7},
}

// said is what a board sent and what is right.
type said struct {
	at          measure.Stamp // when its end came
	bytes       []byte
	whole       bool // it came as it was sent
	lift, angle float64
	reading     bool // it holds one
}

// turned plays some twenty seconds of an uneven hand: a lobe of 9.6 mm, 240
// degrees of crank wide, once in two turns.
func (l layout) turned(t testing.TB, p play) (all []said) {
	t.Helper()
	rng := rand.New(rand.NewPCG(7, uint64(len(l.Line))))
	cpr := cmp.Or(l.CPR, 2400)
	hz := cmp.Or(l.Hz, 10)
	const cycles = 2.6
	deg, sec := 0.0, 0.0
	if p.middle {
		deg = 250 // on the opening flank
	}
	start := deg
	for i := 0; deg < start+720*cycles; i++ {
		step := (1 + 0.2*(rng.Float64()-0.5)) / hz
		sec += step
		if sec > p.rest {
			speed := 75 + 45*math.Sin(1.1*sec) + 20*math.Sin(3.7*sec) // degrees a second
			deg += max(speed, 3) * step
		}
		phase := math.Mod(deg, 720) - 360
		mm := 0.0
		if math.Abs(phase) < 120 {
			mm = 4.8 * (1 + math.Cos(phase/120*math.Pi))
		}
		sign := 1.0
		if p.down {
			sign = -1
		}
		s := scene{"mm": sign * mm, "inch": sign * mm / 25.4, "deg": sign * deg, "cnt": int(sign * deg * float64(cpr) / 360), "cpr": cpr,
			"ms": 15052 + int(sec*1e3), "us": 15052000 + int(sec*1e6), "t": sec, "i": i, "rng": rng}
		text, err := s.fill(l.Line)
		require.NoError(t, err, l.ID)
		one := said{at: measure.Second + measure.Stamp(sec*1e6), bytes: latin(text, l.Encoding), whole: true}
		if l.Lift != "" && strings.ContainsAny(text, "0123456789") {
			v, err := s.value(l.Lift)
			require.NoError(t, err, l.ID)
			one.lift, one.reading = float(v), true
		}
		if l.Angle != "" {
			v, err := s.value(l.Angle)
			require.NoError(t, err, l.ID)
			one.angle, one.reading = float(v), true
		}
		if p.damaged && rng.Float64() < 0.06 {
			one.bytes, one.whole = damage(one.bytes, rng), false
		}
		all = append(all, one)
	}
	if p.middle {
		all[0].bytes, all[0].whole = all[0].bytes[len(all[0].bytes)/2:], false
	}
	return all
}

// latin is a text as the board sends it: a byte a letter, unless it speaks UTF-8.
func latin(text, encoding string) (b []byte) {
	if encoding == "utf-8" {
		return []byte(text)
	}
	for _, r := range text {
		b = append(b, byte(r))
	}
	return b
}

// damage is what a bad cable makes of a line: a byte is lost or another, or a
// piece is missing.
func damage(b []byte, rng *rand.Rand) []byte {
	b = slices.Clone(b)
	at := rng.IntN(len(b))
	switch rng.IntN(4) {
	case 0:
		return slices.Delete(b, at, at+1)
	case 1:
		b[at] ^= 1 << rng.IntN(7)
	case 2:
		return slices.Delete(b, at, min(at+1+rng.IntN(6), len(b)))
	default:
		b[at] = byte(0x80 + rng.IntN(0x7f))
	}
	return b
}

// heard is what came of a play.
type heardOf struct {
	found        wire.Found
	wholeLines   int // with a reading
	right        int // of them
	wrong        int // readings that are wrong, of whole lines
	through      int // wrong readings of damaged lines
	first        measure.Stamp
	ratios       []float64 // of what is right to what was read, where it is large
	readings     int
	says         []string // all sentences on the way
	missing      int      // whole lines without a reading, after the first
	angleMissing bool
}

func (l layout) listen(t testing.TB, p play, o lines.Options) (h heardOf) {
	t.Helper()
	if o.Crank == nil {
		o.Crank, _ = encoder.New(encoder.Options{}) // as an address without a word of it
	}
	f := find.New(o)
	all := l.turned(t, p)
	var out wire.Out
	at := 0
	var angleFrom float64
	var angleRead measure.Angle
	started := false
	n := 0
	got := map[int]bool{}
	for _, s := range all {
		out.Reset()
		// A line comes in two reads, as from a tty.
		cut := len(s.bytes) / 3
		perByte := measure.Stamp(80)
		if cut > 0 {
			f.Decode(wire.Chunk{Bytes: slices.Clone(s.bytes[:cut]), At: s.at - measure.Stamp(len(s.bytes)-cut)*perByte, ByteTime: 80 * time.Microsecond}, &out)
		}
		f.Decode(wire.Chunk{Bytes: slices.Clone(s.bytes[cut:]), At: s.at, ByteTime: 80 * time.Microsecond}, &out)
		if says := f.Found().Says; len(h.says) == 0 || h.says[len(h.says)-1] != says {
			h.says = append(h.says, says)
		}
		for _, r := range out.Readings {
			if h.readings == 0 {
				h.first = s.at - measure.Second
			}
			h.readings++
			for at < len(all)-1 && all[at].at < r.At {
				at++
			}
			line := all[at]
			got[at] = true
			wrong := false
			if l.Lift != "" {
				lift := r.Lift.Millimetres()
				tol := 0.0006 + 2e-5*math.Abs(line.lift)
				wrong = r.Has&measure.HasLift == 0 || math.Abs(lift-line.lift) > max(tol, l.Atol)
				if line.whole && math.Abs(line.lift) > 0.5 && math.Abs(lift) > 1e-6 {
					h.ratios = append(h.ratios, line.lift/lift)
				}
			} else if r.Has&measure.HasLift != 0 {
				wrong = true
			}
			if l.Angle != "" {
				if r.Has&measure.HasAngle == 0 {
					h.angleMissing = true
					wrong = true
				} else if !started && line.whole {
					started, angleFrom, angleRead = true, line.angle, r.Angle
				} else {
					// A turn more or less is the same place; e01 and its like wrap in
					// what is right, too.
					d := (r.Angle - angleRead).Degrees() - (line.angle - angleFrom)
					d -= 360 * math.Round(d/360)
					wrong = wrong || math.Abs(d) > max(l.Atol, 0.06)
				}
			} else if r.Has&measure.HasAngle != 0 {
				wrong = true
			}
			switch {
			case !wrong && line.whole:
				h.right++
			case !wrong:
			case line.whole:
				h.wrong++
			default:
				h.through++
			}
			n++
		}
	}
	for i, s := range all {
		if s.whole && s.reading {
			h.wholeLines++
			if !got[i] {
				h.missing++
			}
		}
	}
	h.found = f.Found()
	return h
}

// verdictOf says how a play went.
type outcome int

const (
	right outcome = iota
	rightWithKey
	rightlyRefused // there is no reading in it
	refused
	silentlyWrong
)

var outcomeNames = []string{"right", "right with the key that the sentence names", "no reading in it, and that is said or asked about", "refused, with the reason", "silently wrong"}

func (h heardOf) right_() bool {
	return h.right > 0 && h.wrong*100 <= h.right && h.right*10 >= h.wholeLines*7
}

// judge plays a layout in every way; the worst counts.
func (l layout) judge(t testing.TB, plays []play) (worst outcome, says, key string, first measure.Stamp, through int) {
	for _, p := range plays {
		o := lines.Options{Port: lines.IndicatorPort}
		if l.encoder {
			o.Port = lines.EncoderPort
		}
		h := l.listen(t, p, o)
		through += h.through
		first = max(first, h.first)
		v, k, s := l.verdict(t, p, o, h)
		if s != "" && (v >= worst || says == "") {
			says, key = p.name+": "+s, k
		}
		worst = max(worst, v)
	}
	return
}

func (l layout) verdict(t testing.TB, p play, o lines.Options, h heardOf) (outcome, string, string) {
	if l.Lift == "" && l.Angle == "" { // there is none
		if h.readings == 0 || h.found.Assumes != "" {
			return rightlyRefused, "", h.found.Says + "; " + h.found.Assumes
		}
		return silentlyWrong, "", h.found.Says
	}
	if h.right_() {
		return right, "", ""
	}
	if h.readings > 0 && h.found.Assumes == "" {
		return silentlyWrong, "", fmt.Sprintf("%d right, %d wrong, %d missing of %d: %s", h.right, h.wrong, h.missing, h.wholeLines, h.found.Says)
	}
	said := h.found.Says + "; " + h.found.Assumes
	key := l.keyFrom(said, h, &o)
	if key == "" {
		return refused, "", fmt.Sprintf("%d right, %d wrong, %d missing of %d: ", h.right, h.wrong, h.missing, h.wholeLines) + said
	}
	again := l.listen(t, p, o)
	if again.right_() {
		return rightWithKey, key, said
	}
	if again.readings > 0 && again.found.Assumes == "" && (again.wrong > 0 || again.found.Settled) {
		return silentlyWrong, key, fmt.Sprintf("with %s: %d right, %d wrong, %d missing of %d: %s", key, again.right, again.wrong, again.missing, again.wholeLines, again.found.Says)
	}
	return refused, key, fmt.Sprintf("with %s: %d right, %d wrong, %d missing of %d: %s", key, again.right, again.wrong, again.missing, again.wholeLines, again.found.Says)
}

var named = regexp.MustCompile(`(unit|scale|counts|column)=`)

// keyFrom puts into o what a person who knows the instrument would answer to the
// key that is named.
func (l layout) keyFrom(says string, h heardOf, o *lines.Options) string {
	var keys []string
	for _, m := range named.FindAllStringSubmatch(says, -1) {
		keys = append(keys, m[1])
	}
	if slices.Contains(keys, "counts") && l.encoder {
		n := cmp.Or(l.CPR, 2400)
		if _, text, ok := strings.Cut(l.Hint, "counts="); ok {
			_, _ = fmt.Sscan(text, &n)
		}
		c, _ := encoder.New(encoder.Options{Counts: int64(n)})
		o.Crank = c
		return fmt.Sprintf("counts=%d", n)
	}
	if _, unit, ok := strings.Cut(l.Hint, "unit="); ok && l.encoder && slices.Contains(keys, "unit") {
		o.Angle = map[string]lines.AngleUnit{"deg": lines.Degrees, "rad": lines.Radians, "turn": lines.Turns}[unit]
		return l.Hint
	}
	if len(h.ratios) == 0 {
		return ""
	}
	slices.Sort(h.ratios)
	ratio := h.ratios[len(h.ratios)/2]
	if slices.Contains(keys, "scale") {
		scale := measure.Length(math.Round(ratio * 1000))
		for _, nice := range []measure.Length{measure.Millimetre, 100 * measure.Micrometre, 10 * measure.Micrometre, measure.Micrometre, measure.Thou / 2, measure.Thou / 10, 9922, 12700} {
			if math.Abs(float64(scale)/float64(nice)-1) < 0.02 {
				scale = nice
			}
		}
		o.Scale = scale
		return "scale=" + strings.ReplaceAll(scale.String(), " ", "")
	}
	if slices.Contains(keys, "unit") {
		for _, u := range []measure.Unit{measure.InMillimetres, measure.InInches, measure.InCentimetres, measure.InMetres, measure.InMicrometres} {
			if r := float64(u.Length()) / float64(max(h.found.Unit.Length(), 1)) / ratio; math.Abs(r-1) < 0.01 {
				o.Unit = u
				return "unit=" + u.String()
			}
		}
	}
	return ""
}

// tableOf is what came of all layouts, as DEVELOPERS has it.
func tableOf(counts map[bool]map[outcome]int) string {
	of := map[bool]int{}
	for encoder, outcomes := range counts {
		for _, n := range outcomes {
			of[encoder] += n
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "| of %d layouts | indicators (%d) | encoders (%d) |\n| --- | ---: | ---: |\n", of[false]+of[true], of[false], of[true])
	for v, name := range outcomeNames {
		fmt.Fprintf(&b, "| %s | %d | %d |\n", name, counts[false][outcome(v)], counts[true][outcome(v)])
	}
	return b.String()
}

// What real instruments and boards print is read right, or refused with the
// reason; the table is for DEVELOPERS.
func TestLinesThatAreSent(t *testing.T) {
	counts := map[bool]map[outcome]int{false: {}, true: {}}
	var slowest measure.Stamp
	all := layouts(t)
	through := 0
	type played struct {
		v         outcome
		says, key string
		first     measure.Stamp
		passed    int
	}
	of := make([]played, len(all))
	t.Run("layout", func(t *testing.T) {
		for i, l := range all {
			t.Run(l.ID, func(t *testing.T) {
				t.Parallel()
				p := &of[i]
				p.v, p.says, p.key, p.first, p.passed = l.judge(t, plays)
			})
		}
	})
	for i, l := range all {
		p := of[i]
		counts[l.encoder][p.v]++
		through += p.passed
		if p.v <= rightWithKey {
			slowest = max(slowest, p.first)
		}
		if p.v >= refused || testing.Verbose() {
			t.Logf("%s %s %s %q first %s, %d through\n      %s", l.ID, outcomeNames[p.v], p.key, l.Line, p.first, p.passed, p.says)
		}
	}
	table := tableOf(counts)
	t.Logf("for DEVELOPERS:\n%s", table)
	t.Logf("slowest first reading %s; %d wrong readings of damaged lines went through", slowest, through)
	developers, err := os.ReadFile("../../../DEVELOPERS.md")
	require.NoError(t, err)
	assert.Contains(t, string(developers), table, "the table in DEVELOPERS is another")
	good := len(all)
	for _, encoder := range []bool{false, true} {
		good -= counts[encoder][refused] + counts[encoder][silentlyWrong]
	}
	assert.Zero(t, counts[false][silentlyWrong]+counts[true][silentlyWrong])
	assert.GreaterOrEqual(t, good*100, 90*len(all))
}
