package lines

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// finding is what a sample of a stream was found to be.
type finding struct {
	format Format
	says   string // what the format looks like, in words
	// assumes is what nothing told, in a sentence for everybody; note is the part
	// of it that is not about the unit.
	assumes, note string
	// guessed: the unit or scale of the lift was neither printed nor said.
	guessed bool
	ok      bool
	// doubt is what is in the way, where it is not ok.
	doubt string
	// near: the lines are read, and it only cannot be told which column is what.
	near bool

	reads  int    // lines that are explained
	choice string // which column was taken, to see whether another is later
	strong bool   // the lines themselves tell which, by unit or name
	moved  bool   // it was seen to move as a spindle or a crank does
	alone  bool   // no other column may be it
	view   View
	endsIn string
}

// find makes a format for a sample of a stream. It makes up a candidate for
// each way in which lines may be cut into columns, lets a [Decoder] of each
// read the sample, and takes the one that explains the most lines. If none does
// for six in ten, doubt says what is in the way.
func find(chunks []wire.Chunk, quiet bool, o Options) finding {
	sample := joined(chunks)
	end, frame := endOf(sample)
	all := cutLines(chunks, end, frame, quiet)
	if len(all) < findFewLines {
		return finding{doubt: endless(sample)}
	}
	words := endWords(sample, end)
	if frame.size > 0 {
		words = fmt.Sprintf("%d bytes behind a byte %02x", frame.size, frame.start)
	}
	return findIn(all, end, frame, words, o)
}

// findIn makes a format for lines that are cut from each other.
func findIn(all []heard, end byte, frame frame, endsIn string, o Options) finding {
	all = tidied(all)
	if f, ok := checked(all, o); ok && frame.size == 0 {
		if o.Port == EncoderPort && (o.Crank == nil || o.Crank.Step() == 0) {
			return finding{near: true, reads: len(all), doubt: countsWanted(string(all[len(all)-1].text)), view: plainView(all)}
		}
		return finding{format: f, says: f.Says + ", " + endsIn, ok: true, strong: true, alone: true, choice: f.Name, view: plainView(all), endsIn: endsIn}
	}
	all = thinned(all)
	for i := range all {
		all[i].cover = masked(string(all[i].text))
	}
	var best, near finding
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
			case g.ok && g.reads*32 > best.reads*33:
				best = g
			case !g.ok && g.near && g.reads*32 > near.reads*33 && !best.ok || g.near && g.reads*32 > max(near.reads, best.reads)*33:
				near = g
			case !g.ok && g.doubt != "" && !comma:
				why = append(why, g.doubt)
			}
		}
	}
	if near.near && (!best.ok || best.reads*32 <= near.reads*33) {
		return near
	}
	if !best.ok || best.reads*10 < len(all)*6 {
		return finding{doubt: refusal(all, best.reads, why), view: plainView(all)}
	}
	best.endsIn = endsIn
	best.says += ", " + endsIn
	return best
}

// refusal says why lines are no readings, and what may be done next.
func refusal(all []heard, read int, why []string) string {
	last := all[len(all)-1].text
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
func checked(all []heard, o Options) (Format, bool) {
	for _, f := range BuiltIn() {
		if f.Check == NoCheck || f.lift() < 0 || len(f.Columns) > 1 && (f.Version == "" || o.Column != "") {
			continue
		}
		if o.Port == EncoderPort {
			var turns bool
			if f, turns = f.WithoutLift(); !turns {
				continue
			}
		}
		if n := reads(f, all, o); n >= findFewLines && n*10 >= len(all)*6 {
			return f, true
		}
	}
	return Format{}, false
}

// reads counts the lines that a decoder of f makes readings or conditions of, or
// knows to skip.
func reads(f Format, all []heard, o Options) int {
	o.Crank = anyCrank{} // the person's must not see the sample twice
	d, out := NewDecoder(f, o), &wire.Out{}
	passed := 0
	for i, l := range all {
		d.passed = false
		d.line(d.split.frame(l.text), measure.Stamp(i)*2*measure.Second, out)
		if d.passed {
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

// heard is a line and when it came.
type heard struct {
	text []byte
	at   measure.Stamp
	// cover is text with a letter where no number may stand; "" until it is made.
	cover string
}

// thinned returns some of the lines where there are very many: a guess needs the
// movement, and not each of them. Lines in a row stay together, so that channels
// in turn do.
func thinned(all []heard) []heard {
	const enough, row = 320, 16
	if len(all) <= enough {
		return all
	}
	every := (len(all) + enough - 1) / enough
	var out []heard
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

// cutLines returns the whole lines of a sample, framed.
func cutLines(chunks []wire.Chunk, end byte, fr frame, quiet bool) (all []heard) {
	s := splitter{max: defaultMaxLine, synced: quiet && fr.size == 0, start: fr.start, size: fr.size}
	if end != '\n' && fr.size == 0 {
		s.end = end
	}
	var out wire.Out
	for _, c := range chunks {
		s.each(c, &out, func(line []byte, at measure.Stamp, _ *wire.Out) {
			all = append(all, heard{text: slices.Clone(line), at: at})
		})
	}
	return all
}

// cutting is one way to cut the lines of a sample into columns.
type cutting struct {
	all   []heard
	sep   byte
	comma bool
	end   byte
	frame frame
	o     Options
}

// find makes a format of the lines, if they are cut this way.
func (c cutting) find() (g finding) {
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
			g.doubt = why
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
	g.view = c.view(all, tables, picked)
	if !g.ok {
		return g
	}
	f := &picked.f
	f.Skip, f.Words = c.chatter(all, kinds, picked)
	g.format = *f
	if g.format.Validate() != nil {
		return finding{}
	}
	g.reads = reads(g.format, c.all, c.o)
	if f.Start == 0x02 && c.frame.size == 0 {
		g.says += ", begins with STX"
	}
	if f.Check == XorAfterStar {
		g.says += ", checked by an exclusive or after *"
	}
	return g
}

// explained counts the lines that belong to a kind.
func (c cutting) explained(all []heard, kinds []kind) (n int) {
	for _, k := range kinds {
		n += len(k.rows)
	}
	return min(n, len(all))
}

func withoutStart(all []heard) ([]heard, byte) {
	n := 0
	for _, l := range all {
		if bytes.IndexByte(l.text, 0x02) >= 0 {
			n++
		}
	}
	if n*2 <= len(all) {
		return all, 0
	}
	out := make([]heard, 0, len(all))
	for _, l := range all {
		at := bytes.LastIndexByte(l.text, 0x02) + 1
		out = append(out, heard{l.text[at:], l.at, l.cover[at:]})
	}
	return out, 0x02
}

func withoutCheck(all []heard) ([]heard, Check) {
	var out []heard
	for _, l := range all {
		if body, v := xorAfterStar(l.text); v == taken {
			at := bytes.Index(l.text, body)
			out = append(out, heard{body, l.at, l.cover[at : at+len(body)]})
		}
	}
	if len(out)*2 <= len(all) {
		return all, NoCheck
	}
	return out, XorAfterStar
}

// likelyComma: each number has one comma, and the same digits behind it. One in
// ten may be noise.
func likelyComma(rows [][]field) bool {
	places, parts := map[int]int{}, map[int64]bool{}
	var fields []field
	for _, r := range rows {
		if x := r[0]; strings.Count(x.text, ",") == 1 && !strings.Contains(x.text, ".") && x.n.decimals > 0 {
			places[x.n.decimals]++
			parts[x.n.mantissa%int64(math.Pow10(x.n.decimals))] = true
			fields = append(fields, x)
		}
	}
	if !nearlyAll(places, len(rows)) {
		return false
	}
	// Behind the point of a number that goes on, nothing stays as it is.
	return len(parts) > 2 || fields[0].n.decimals > 1 && courseOf(fields).span < 2
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
