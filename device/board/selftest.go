package board

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// SelfTest gathers what the lines of a board tell of its wiring, while somebody
// turns the crank and moves the spindle by hand. It is a pure state machine: bytes
// in by [SelfTest.Take], in any pieces; [SelfTest.Result] at any time. Its zero
// value has heard nothing. It reads the lines by itself, and not by the decoder
// that readings come through.
type SelfTest struct {
	held    []byte
	synced  bool
	r       Result
	last    int64 // count
	counted bool
	number  int64 // of the line
	known   bool
	bad     int64
	edge    mark // the latest mark of the index
	marked  bool
	turns   []mark // counts from mark to mark: between from and to
}

// mark is where an edge lies: between two counts.
type mark struct{ from, to int64 }

// Result is what a self-test came to. Counts are edges of the encoder.
type Result struct {
	Board *Said `json:"board,omitempty"` // nil where no version line was heard

	Lines     int64 `json:"lines"`
	BadChecks int64 `json:"bad_checks"` // lines whose check is wrong
	Missing   int64 `json:"missing"`    // lines that never came, by their numbers
	Restarts  int64 `json:"restarts"`

	Up        int64 `json:"edges_up"` // edges while the count grew
	Down      int64 `json:"edges_down"`
	EdgesLost int64 `json:"edges_lost"` // times that both wires changed at once
	Marks     int64 `json:"index_marks"`
	// IndexFrom and IndexTo are between which numbers of counts lie from one mark
	// of the index to the next; the fewest lines between make it the narrowest.
	IndexFrom int64 `json:"index_from,omitempty"`
	IndexTo   int64 `json:"index_to,omitempty"`

	Figures   int64           `json:"figures"`
	Last      string          `json:"last_figure,omitempty"`
	Different int             `json:"different_figures"` // up to a hundred
	Silences  int64           `json:"silences"`          // half seconds without a frame
	WrongBits int64           `json:"frames_of_wrong_bits"`
	LostBits  map[int64]int64 `json:"frames_by_bits,omitempty"` // frames of another number of bits, by that
	Pedal     int64           `json:"pedal_presses"`

	figures map[string]bool
}

const maxLine = 64

// Take takes the bytes that came next.
func (s *SelfTest) Take(b []byte) {
	for _, c := range b {
		switch {
		case c == '\r' || c == '\n':
			if len(s.held) > 0 && s.synced {
				s.line(string(s.held))
			}
			s.held, s.synced = s.held[:0], true
		case len(s.held) < maxLine:
			s.held = append(s.held, c)
		default:
			s.synced = false // a line without end
		}
	}
}

func (s *SelfTest) line(line string) {
	s.r.Lines++
	body, ok := checkedBody(line)
	if !ok {
		s.r.BadChecks++
		s.bad++
		return
	}
	if said, ok := ParseVersion(body); ok {
		if s.known {
			s.r.Restarts++
		}
		s.r.Board = &said
		s.known, s.counted, s.marked = false, false, false
		return
	}
	f := strings.Split(body, ",")
	if len(f) != 3 && len(f) != 2 { // two where lines are not numbered
		s.words(body)
		return
	}
	head, index := strings.CutSuffix(f[0], "I")
	count, err := strconv.ParseInt(head, 10, 32)
	if err != nil {
		s.bad++
		return
	}
	if len(f) == 3 {
		if n, err := strconv.ParseInt(f[2], 10, 16); err == nil {
			s.numbered(n)
		}
	}
	s.count(count, index)
	if strings.HasSuffix(f[1], "mm") || strings.HasSuffix(f[1], "in") {
		s.r.Figures++
		s.r.Last = f[1]
		if s.r.figures == nil {
			s.r.figures = map[string]bool{}
		}
		if len(s.r.figures) < 100 {
			s.r.figures[f[1]] = true
		}
		return
	}
	s.words(f[1])
}

// checkedBody returns what stands between $ and * where the check agrees.
func checkedBody(line string) (string, bool) {
	body, check, ok := strings.Cut(line, "*")
	body, started := strings.CutPrefix(body, "$")
	var x byte
	for i := range len(body) {
		x ^= body[i]
	}
	return body, ok && started && strings.EqualFold(check, fmt.Sprintf("%02X", x))
}

func (s *SelfTest) numbered(n int64) {
	if s.known {
		if lost := ((n-s.number-1)%256+256)%256 - s.bad; lost > 0 {
			s.r.Missing += lost
		}
	}
	s.number, s.known, s.bad = n, true, 0
}

func (s *SelfTest) count(count int64, index bool) {
	from := count
	if s.counted {
		from = s.last
		if d := count - s.last; d > 0 {
			s.r.Up += d
		} else {
			s.r.Down -= d
		}
	}
	s.last, s.counted = count, true
	if !index {
		return
	}
	s.r.Marks++
	now := mark{min(from, count), max(from, count)}
	if s.marked {
		apart := mark{now.from - s.edge.to, now.to - s.edge.from}
		if apart.to < 0 {
			apart = mark{-apart.to, -apart.from}
		}
		// The crank rocked over one mark passes it again and again.
		if apart.from > 0 && apart.from > 4*(apart.to-apart.from) && len(s.turns) < 1000 {
			s.turns = append(s.turns, apart)
		}
	}
	s.edge, s.marked = now, true
}

func (s *SelfTest) words(words string) {
	rest, lost := strings.CutPrefix(words, "BITS LOST")
	switch {
	case lost:
		if s.r.LostBits == nil {
			s.r.LostBits = map[int64]int64{}
		}
		n, _ := strconv.ParseInt(strings.TrimSpace(rest), 10, 16) // zero where an old firmware does not tell
		if len(s.r.LostBits) < 256 {
			s.r.LostBits[n]++
		}
	case words == "NO SIGNAL":
		s.r.Silences++
	case words == "BITS WRONG":
		s.r.WrongBits++
	case words == "EDGE LOST":
		s.r.EdgesLost++
	case words == "PEDAL":
		s.r.Pedal++
	default:
		if said, ok := ParseVersion(words); ok {
			s.r.Board = &said
		}
	}
}

// Result is what has been gathered by now.
func (s *SelfTest) Result() Result {
	r := s.r
	r.Different = len(r.figures)
	for i, t := range s.turns {
		if i == 0 {
			r.IndexFrom, r.IndexTo = t.from, t.to
		}
		if t.from <= r.IndexTo && t.to >= r.IndexFrom { // the same turn, seen between other lines
			r.IndexFrom, r.IndexTo = max(r.IndexFrom, t.from), min(r.IndexTo, t.to)
		}
	}
	return r
}

// Finding is a sentence about one part of the board.
type Finding struct {
	Part string `json:"part"` // board, line, encoder, index, indicator, pedal
	Good bool   `json:"good"`
	Says string `json:"says"`
}

// Findings says how each part does. counts is how many edges the encoder makes a
// turn, 0 where nobody said.
func (r Result) Findings(counts int64) (all []Finding) {
	add := func(part string, good bool, format string, a ...any) {
		all = append(all, Finding{part, good, fmt.Sprintf(format, a...)})
	}
	switch {
	case r.Lines == 0:
		add("board", false, "nothing came: is it the right port, and is the board's power on?")
		return all
	case r.Board == nil && r.Figures == 0 && r.Silences == 0:
		add("board", false, "lines come, and none is of the board's firmware: is baud=115200 in the address, and was the board flashed?")
		return all
	case r.Board == nil:
		add("board", false, "no version line was heard: an old firmware, or one built with PLAIN=1, says it only when it starts; test for more than three seconds")
	case r.Board.Outdated() != "":
		add("board", false, "%s", r.Board.Outdated())
	default:
		add("board", true, "firmware %d, switched to the indicator that sends %d bits", r.Board.Version, r.Board.Bits)
	}
	switch {
	case r.Restarts > 0:
		add("line", false, "the board started again %d times while it was tested: look at its power and at the reset wire", r.Restarts)
	case r.BadChecks+r.Missing > 0:
		add("line", false, "of %d lines %d came damaged, and %d more never came: look at the USB cable and hub", r.Lines, r.BadChecks, r.Missing)
	default:
		add("line", true, "%d lines, none damaged and none lost", r.Lines)
	}
	switch {
	case r.EdgesLost > 0:
		add("encoder", false, "both wires changed at once %d times: look at plug, cable and screen of the encoder", r.EdgesLost)
	case r.Up+r.Down == 0:
		add("encoder", false, "no edge was seen: turn the crank during the test; then look at the encoder's power and at A and B")
	case r.Up+r.Down < 8:
		add("encoder", false, "%d edges were seen: turn it further; if there are no more, A or B is not connected", r.Up+r.Down)
	default:
		add("encoder", true, "%d edges one way and %d the other", r.Up, r.Down)
	}
	switch {
	case r.Marks == 0:
		add("index", r.Up+r.Down == 0 || counts > 0 && r.Up+r.Down < counts, "it was not passed: turn the crank by more than a turn; an encoder without an index works too")
	case r.IndexTo == 0:
		add("index", true, "passed %d times, never two turns in a row: turn on, for the counts from mark to mark", r.Marks)
	case counts > 0 && (counts < r.IndexFrom || counts > r.IndexTo):
		add("index", false, "from mark to mark are %s counts, and counts= says %d: edges are lost, or counts= is another encoder's", between(r.IndexFrom, r.IndexTo), counts)
	default:
		add("index", true, "from mark to mark are %s counts", between(r.IndexFrom, r.IndexTo))
	}
	var lost []string
	for bits, n := range r.LostBits {
		lost = append(lost, fmt.Sprintf("%d of %d bits", n, bits))
	}
	slices.Sort(lost)
	switch {
	case len(lost) > 0:
		add("indicator", false, "frames of another number of bits than its kind sends: %s. Look at its clock wire and level shifter, and at the switch for its kind", strings.Join(lost, ", "))
	case r.WrongBits > 0:
		add("indicator", false, "%d frames of bits that no figure has: look at its data wire and level shifter, and at the switch for its kind", r.WrongBits)
	case r.Figures == 0:
		add("indicator", false, "no figure came: is it switched on, and are clock and data wired through the level shifter?")
	case r.Silences > 0:
		add("indicator", false, "%d figures, the last %s, and %d times half a second of silence: a loose plug?", r.Figures, r.Last, r.Silences)
	case r.Different < 2:
		add("indicator", true, "%d figures, all of them %s: move the spindle, to see that every bit does", r.Figures, r.Last)
	default:
		add("indicator", true, "%d figures, the last %s", r.Figures, r.Last)
	}
	if r.Pedal > 0 {
		add("pedal", true, "pressed %d times", r.Pedal)
	}
	return all
}

func between(from, to int64) string {
	if from == to {
		return fmt.Sprint(from)
	}
	return fmt.Sprintf("%d to %d", from, to)
}
