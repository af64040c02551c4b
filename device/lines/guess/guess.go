package guess

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"lobescribe/device/lines"
	"lobescribe/device/lines/formats"
	"lobescribe/device/lines/tidy"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// How many lines tell something: from so Few on there is a guess, and with Enough
// one may be believed.
const (
	Few    = 2
	Enough = 8
)

// Finding is what a sample of a stream was found to be.
type Finding struct {
	Format lines.Format
	Says   string // what the format looks like, in words
	// Assumes is what nothing told, in a sentence for everybody; Note is the part
	// of it that is not about the unit.
	Assumes, Note string
	// Guessed: the unit or scale of the lift was neither printed nor said.
	Guessed bool
	OK      bool
	// Doubt is what is in the way, where it is not OK.
	Doubt string

	Choice string // which column was taken, to see whether another is later
	Moved  bool   // it was seen to move as a spindle or a crank does
	Alone  bool   // no other column may be it
	View   View   // the last lines, and what is taken for what in them
	EndsIn string // what ends a line, in words

	// near: the lines are read, and it only cannot be told which column is what.
	near  bool
	reads int // lines that are explained
}

// Find makes a format for a sample of a stream. It makes up a candidate for
// each way in which lines may be cut into columns, lets a [Decoder] of each
// read the sample, and takes the one that explains the most lines. If none does
// for six in ten, doubt says what is in the way.
func Find(chunks []wire.Chunk, quiet bool, o lines.Options) Finding {
	sample := joined(chunks)
	end, frame := endOf(sample)
	all := cutLines(chunks, end, frame, quiet)
	if len(all) < Few {
		return Finding{Doubt: Endless(sample)}
	}
	words := endWords(sample, end)
	if frame.size > 0 {
		words = fmt.Sprintf("%d bytes behind a byte %02x", frame.size, frame.start)
	}
	return findIn(all, end, frame, words, o)
}

// Again makes a format for lines that are cut from each other. f is the format that
// they were cut by, and endsIn what was said of its end.
func Again(all []Heard, f lines.Format, endsIn string, o lines.Options) Finding {
	end := f.End
	if f.End == 0 && f.Size == 0 {
		end = '\n'
	}
	return findIn(all, end, frame{f.Start, f.Size}, endsIn, o)
}

func findIn(all []Heard, end byte, frame frame, endsIn string, o lines.Options) Finding {
	all = tidied(all)
	if f, ok := checked(all, o); ok && frame.size == 0 {
		if o.Port == lines.EncoderPort && (o.Crank == nil || o.Crank.Step() == 0) {
			return Finding{near: true, reads: len(all), Doubt: countsWanted(string(all[len(all)-1].Text)), View: plainView(all)}
		}
		return Finding{Format: f, Says: f.Says + ", " + endsIn, OK: true, Alone: true, Choice: f.Name, View: plainView(all), EndsIn: endsIn}
	}
	all = thinned(all)
	for i := range all {
		all[i].cover = masked(string(all[i].Text))
	}
	var best, near Finding
	var why []string
	for _, sep := range []byte{0, ',', ';', '\t', '|', ' ', ':'} {
		for _, comma := range []bool{false, true} {
			if sep != 0 && sep == end || comma && sep == ',' || o.Separator != 0 && sep != o.Separator {
				continue
			}
			c := cutting{all: all, sep: sep, comma: comma, end: end, frame: frame, o: o}
			g := c.find()
			switch {
			// Of ways that explain as much, the one that cuts less is better.
			case g.OK && g.reads*32 > best.reads*33:
				best = g
			case !g.OK && g.near && g.reads*32 > near.reads*33 && !best.OK || g.near && g.reads*32 > max(near.reads, best.reads)*33:
				near = g
			case !g.OK && g.Doubt != "" && !comma:
				why = append(why, g.Doubt)
			}
		}
	}
	if near.near && (!best.OK || best.reads*32 <= near.reads*33) {
		return near
	}
	if !best.OK || best.reads*10 < len(all)*6 {
		return Finding{Doubt: refusal(all, best.reads, why), View: plainView(all)}
	}
	best.EndsIn = endsIn
	best.Says += ", " + endsIn
	return best
}

// refusal says why lines are no readings, and what may be done next.
func refusal(all []Heard, read int, why []string) string {
	last := all[len(all)-1].Text
	s := fmt.Sprintf("lines come, but %d of %d are not readings: is the baud rate right, or is it a format of its own? The last line is %s", len(all)-read, len(all), quoted(last))
	if len(why) > 0 {
		why = slices.Compact(why)
		s += "; " + strings.Join(why[:min(len(why), 2)], "; ")
	}
	return s + ". Next: `lobescribe formats new ADDRESS` writes a format of your own from that very line, `lobescribe formats NAME` prints a built-in one to begin with, `lobescribe doctor ADDRESS` looks at the link"
}

// quoted is a line as a person may read it.
func quoted(line []byte) string {
	const most = 80
	if len(line) > most {
		return fmt.Sprintf("%q and more", line[:most])
	}
	return fmt.Sprintf("%q", line)
}

// checked returns the built-in format of lines that prove themselves, if that
// reads them.
func checked(all []Heard, o lines.Options) (lines.Format, bool) {
	for _, f := range formats.BuiltIn() {
		if f.Check == lines.NoCheck || !hasLift(f) || len(f.Columns) > 1 && (f.Version == "" || o.Column != "") {
			continue
		}
		if o.Port == lines.EncoderPort {
			var turns bool
			if f, turns = f.WithoutLift(); !turns {
				continue
			}
		}
		if n := reads(f, all, o); n >= Few && n*10 >= len(all)*6 {
			return f, true
		}
	}
	return lines.Format{}, false
}

// reads counts the lines that a decoder of f makes readings or conditions of, or
// knows to skip.
func reads(f lines.Format, all []Heard, o lines.Options) int {
	o.Crank = anyCrank{} // the person's must not see the sample twice
	d, out := lines.NewDecoder(f, o), &wire.Out{}
	passed := 0
	for i, l := range all {
		if d.Line(l.Text, measure.Stamp(i)*2*measure.Second, out) {
			passed++
		}
	}
	return len(out.Readings) + len(out.Conditions) + passed
}

type anyCrank struct{}

func (anyCrank) FromCounts(n int64) measure.Angle          { return 0 }
func (anyCrank) FromDegrees(a measure.Angle) measure.Angle { return a }
func (anyCrank) Step() measure.Angle                       { return 1 }

func endWords(sample []byte, end byte) string {
	crlf, cr, lf := bytes.Count(sample, []byte("\r\n")), bytes.Count(sample, []byte("\r")), bytes.Count(sample, []byte("\n"))
	switch {
	case end == 0x03:
		return "ends in ETX"
	case end == ';':
		return "ends in a semicolon"
	case cr == 0:
		return "ends in LF"
	case lf == 0:
		return "ends in CR"
	case crlf*10 >= max(cr, lf)*9:
		return "ends in CR LF"
	}
	return "ends in CR or LF, mixed"
}

// Heard is a line and when it came.
type Heard struct {
	Text []byte
	At   measure.Stamp
	// cover is text with a letter where no number may stand; "" until it is made.
	cover string
}

// thinned returns some of the lines where there are very many: a guess needs the
// movement, and not each of them. Lines in a row stay together, so that channels
// in turn do.
func thinned(all []Heard) []Heard {
	const enough, row = 320, 16
	if len(all) <= enough {
		return all
	}
	every := (len(all) + enough - 1) / enough
	var out []Heard
	for i := 0; i < len(all); i += row * every {
		out = append(out, all[i:min(i+row, len(all))]...)
	}
	return append(out, all[max(len(all)-row, 0):]...)
}

func joined(chunks []wire.Chunk) (sample []byte) {
	for _, c := range chunks {
		sample = append(sample, c.Bytes...)
	}
	return sample
}

// tidied returns the lines tidied, without a copy where none needs it.
func tidied(all []Heard) []Heard {
	var out []Heard
	for i, l := range all {
		text, changed := tidy.Line(nil, l.Text, lines.ScanUnit)
		if !changed {
			continue
		}
		if out == nil {
			out = append(out, all...)
		}
		out[i].Text = text
	}
	if out == nil {
		return all
	}
	return out
}

// cutLines returns the whole lines of a sample, framed.
func cutLines(chunks []wire.Chunk, end byte, fr frame, quiet bool) (all []Heard) {
	f := lines.Format{Start: fr.start, Size: fr.size}
	if end != '\n' && fr.size == 0 {
		f.End = end
	}
	lines.Cut(chunks, f, quiet && fr.size == 0, func(line []byte, at measure.Stamp) {
		all = append(all, Heard{Text: slices.Clone(line), At: at})
	})
	return all
}

// cutting is one way to cut the lines of a sample into columns.
type cutting struct {
	all   []Heard
	sep   byte
	comma bool
	end   byte
	frame frame
	o     lines.Options
}

// find makes a format of the lines, if they are cut this way.
func (c cutting) find() (g Finding) {
	all, start := withoutStart(c.all)
	if c.frame.size > 0 {
		start = c.frame.start
	}
	all, check := withoutCheck(all)
	kinds, header := c.kindsOf(all)
	if len(kinds) == 0 {
		return g
	}
	var tables []table
	for _, k := range kinds {
		t, why := c.tableOf(k, header)
		if why != "" {
			g.Doubt = why
			continue
		}
		t.f.Start, t.f.Check, t.f.Size = start, check, c.frame.size
		tables = append(tables, t)
	}
	if len(tables) == 0 {
		return g
	}
	picked, g := pick(tables, c.o)
	g.reads = c.explained(all, kinds)
	g.View = c.view(all, tables, picked)
	if !g.OK {
		return g
	}
	f := &picked.f
	f.Skip, f.Words = c.chatter(all, kinds, picked)
	g.Format = *f
	if g.Format.Validate() != nil {
		return Finding{}
	}
	g.reads = reads(g.Format, c.all, c.o)
	if f.Start == 0x02 && c.frame.size == 0 {
		g.Says += ", begins with STX"
	}
	if f.Check == lines.XorAfterStar {
		g.Says += ", checked by an exclusive or after *"
	}
	return g
}

// explained counts the lines that belong to a kind.
func (c cutting) explained(all []Heard, kinds []kind) (n int) {
	for _, k := range kinds {
		n += len(k.rows)
	}
	return min(n, len(all))
}

func withoutStart(all []Heard) ([]Heard, byte) {
	n := 0
	for _, l := range all {
		if bytes.IndexByte(l.Text, 0x02) >= 0 {
			n++
		}
	}
	if n*2 <= len(all) {
		return all, 0
	}
	out := make([]Heard, 0, len(all))
	for _, l := range all {
		at := bytes.LastIndexByte(l.Text, 0x02) + 1
		out = append(out, Heard{l.Text[at:], l.At, l.cover[at:]})
	}
	return out, 0x02
}

func withoutCheck(all []Heard) ([]Heard, lines.Check) {
	var out []Heard
	for _, l := range all {
		if body, ok := lines.CutChecked(l.Text); ok {
			at := bytes.Index(l.Text, body)
			out = append(out, Heard{body, l.At, l.cover[at : at+len(body)]})
		}
	}
	if len(out)*2 <= len(all) {
		return all, lines.NoCheck
	}
	return out, lines.XorAfterStar
}

// likelyComma: each number has one comma, and the same digits behind it. One in
// ten may be noise.
func likelyComma(rows [][]field) bool {
	places, parts := map[int]int{}, map[int64]bool{}
	var fields []field
	for _, r := range rows {
		if x := r[0]; strings.Count(x.text, ",") == 1 && !strings.Contains(x.text, ".") && x.n.Decimals > 0 {
			places[x.n.Decimals]++
			parts[x.n.Mantissa%int64(math.Pow10(x.n.Decimals))] = true
			fields = append(fields, x)
		}
	}
	if !nearlyAll(places, len(rows)) {
		return false
	}
	// Behind the point of a number that goes on, nothing stays as it is.
	return len(parts) > 2 || fields[0].n.Decimals > 1 && courseOf(fields).span < 2
}

// likelyCommaColumns: what looks like two columns of whole numbers is more
// likely a number with a decimal comma.
func likelyCommaColumns(rows [][]field) bool {
	widths := map[int]int{}
	for _, r := range rows {
		a, b := r[0].text, r[1].text
		digits := len(b) - len(strings.TrimLeft(b, "0123456789"))
		if !strings.Contains(a, ".") && !strings.Contains(b, ".") && digits >= 2 && digits <= 5 {
			widths[digits]++
		}
	}
	return nearlyAll(widths, len(rows))
}

// nearlyAll reports whether one of the counts is nine in ten of all.
func nearlyAll(counts map[int]int, all int) bool {
	most := 0
	for _, n := range counts {
		most = max(most, n)
	}
	return most > 0 && most*10 >= all*9
}

// byTime orders fields as they came.
func byTime(a, b []field) int { return cmp.Compare(a[0].at, b[0].at) }

// Moves reports whether the lift of f, or its turn where it has none, moved in these
// lines.
func Moves(f lines.Format, o lines.Options, all []Heard) bool {
	o.Crank = anyCrank{}
	d, out := lines.NewDecoder(f, o), &wire.Out{}
	for i, l := range all {
		d.Line(l.Text, measure.Stamp(i)*2*measure.Second, out)
	}
	if len(out.Readings) < 2 {
		return false
	}
	var low, high measure.Length
	var from, to measure.Angle
	for i, r := range out.Readings {
		if i == 0 {
			low, high, from, to = r.Lift, r.Lift, r.Angle, r.Angle
		}
		low, high, from, to = min(low, r.Lift), max(high, r.Lift), min(from, r.Angle), max(to, r.Angle)
	}
	return high-low > lines.StillSteps*d.Found().Resolution || to-from > measure.Degree && !hasLift(f)
}

func hasLift(f lines.Format) bool {
	return slices.ContainsFunc(f.Columns, func(c lines.Column) bool { return c.Role == lines.Lift })
}
