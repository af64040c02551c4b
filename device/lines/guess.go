package lines

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// find makes a format for a sample of a stream. It makes up a candidate for
// each way in which lines may be cut into columns, lets a [Decoder] of each
// read the sample, and takes the one that makes readings of the most lines. If
// none does for six in ten, doubt says what is in the way.
func find(chunks []wire.Chunk, quiet bool, o Options) (f Format, says, doubt string, ok bool) {
	sample := joined(chunks)
	end := endOf(sample)
	all := cutLines(chunks, end, quiet)
	if len(all) < findFewLines {
		return f, "", endless(sample), false
	}
	if f, ok := checked(all, o); ok {
		return f, f.Says + ", " + endWords(sample, end), "", true
	}
	best := 0
	for _, sep := range []byte{0, ',', ';', '\t', '|', ' '} {
		for _, comma := range []bool{false, true} {
			if sep == end || comma && sep == ',' {
				continue
			}
			g, s, fits := candidate(all, sep, comma, o)
			if !fits {
				continue
			}
			g.End = end
			if end == '\n' || end == '\r' {
				g.End = 0
			}
			if n := reads(g, all, o); n > best {
				f, says, best = g, s, n
			}
		}
	}
	if best < findFewLines && (o.Crank == nil || o.Crank.Step() == 0) && onlyCounts(all, end, o) {
		return f, "", "counts of an encoder come, and how many make a turn was not said: add counts=, as in counts=2400", false
	}
	if best < findFewLines || best*10 < len(all)*6 {
		return f, "", fmt.Sprintf("lines come, but %d of %d are not readings: is the baud rate right, or is it a format of its own?", len(all)-best, len(all)), false
	}
	return f, says + ", " + endWords(sample, end), "", true
}

// checked returns the built-in format of lines that prove themselves, if that
// reads them.
func checked(all []heard, o Options) (Format, bool) {
	if _, check := withoutCheck(all); check == NoCheck {
		return Format{}, false
	}
	for _, f := range BuiltIn() {
		if f.Name == "checked" && reads(f, all, o)*10 >= len(all)*6 {
			return f, true
		}
	}
	return Format{}, false
}

// onlyCounts reports whether the lines would be read if it was known how many
// counts make a turn.
func onlyCounts(all []heard, end byte, o Options) bool {
	o.Crank = anyCrank{}
	f, _, ok := candidate(all, 0, false, o)
	if end != '\n' && end != '\r' {
		f.End = end
	}
	return ok && f.Columns[0].Role == Counts && reads(f, all, o)*10 >= len(all)*6
}

// reads counts the lines that a decoder of f makes readings or conditions of.
func reads(f Format, all []heard, o Options) int {
	o.Crank = anyCrank{} // the person's must not see the sample twice
	d, out := NewDecoder(f, o), &wire.Out{}
	for i, l := range all {
		d.line(d.split.frame(l.text), measure.Stamp(i)*2*measure.Second, out)
	}
	return len(out.Readings) + len(out.Conditions)
}

type anyCrank struct{}

func (anyCrank) FromCounts(n int64) measure.Angle          { return 0 }
func (anyCrank) FromDegrees(a measure.Angle) measure.Angle { return a }
func (anyCrank) Step() measure.Angle                       { return 1 }

// endOf finds the byte that ends a line: CR or LF, or another if there is
// neither.
func endOf(sample []byte) byte {
	usual := bytes.Count(sample, []byte("\r")) + bytes.Count(sample, []byte("\n"))
	for _, c := range []byte{0x03, ';'} {
		// A stray CR or LF is noise beside many of them.
		if n := bytes.Count(sample, []byte{c}); usual == 0 && n >= findFewLines || usual <= 2 && n >= findLines {
			return c
		}
	}
	return '\n'
}

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
}

func joined(chunks []wire.Chunk) (sample []byte) {
	for _, c := range chunks {
		sample = append(sample, c.Bytes...)
	}
	return sample
}

// cutLines returns the whole lines of a sample, framed.
func cutLines(chunks []wire.Chunk, end byte, quiet bool) (all []heard) {
	s := splitter{max: defaultMaxLine, synced: quiet}
	if end != '\n' {
		s.end = end
	}
	var out wire.Out
	for _, c := range chunks {
		s.each(c, &out, func(line []byte, at measure.Stamp, _ *wire.Out) {
			all = append(all, heard{slices.Clone(line), at})
		})
	}
	return all
}

// candidate makes a format of the lines, if they are cut by sep.
func candidate(all []heard, sep byte, comma bool, o Options) (f Format, says string, ok bool) {
	f = Format{Name: "found", Separator: sep, DecimalComma: comma, Words: commonWords()}
	all, f.Start = withoutStart(all)
	all, f.Check = withoutCheck(all)
	rows := rowsOf(all, sep, comma)
	if len(rows) == 0 {
		return f, "", false
	}
	width := len(rows[0])
	if sep != 0 && width < 2 || width > maxColumns {
		return f, "", false
	}
	if comma && sep == 0 && !likelyComma(rows) {
		return f, "", false
	}
	if !comma && sep == ',' && width == 2 && likelyCommaColumns(rows) {
		return f, "", false
	}
	columns := make([][]field, width)
	for _, r := range rows {
		for i, x := range r {
			columns[i] = append(columns[i], x)
		}
	}
	words := make([]string, width)
	for i, fields := range columns {
		c, w, fits := columnOf(fields)
		if !fits {
			return f, "", false
		}
		f.Columns, words[i] = append(f.Columns, c), w
	}
	roles(f.Columns, columns, o)
	for i := range f.Columns {
		words[i] = roleWords(&f.Columns[i], columns[i], words[i], len(f.Columns) == 1, o)
	}
	f.Says = "found by listening"
	if f.Validate() != nil {
		return f, "", false
	}
	says = strings.Join(words, " | ")
	if f.Start == 0x02 {
		says += ", begins with STX"
	}
	if f.Check == XorAfterStar {
		says += ", checked by an exclusive or after *"
	}
	return f, says, true
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
		out = append(out, heard{l.text[bytes.LastIndexByte(l.text, 0x02)+1:], l.at})
	}
	return out, 0x02
}

func withoutCheck(all []heard) ([]heard, Check) {
	var out []heard
	for _, l := range all {
		if body, v := xorAfterStar(l.text); v == taken {
			out = append(out, heard{body, l.at})
		}
	}
	if len(out)*2 <= len(all) {
		return all, NoCheck
	}
	return out, XorAfterStar
}

// rowsOf takes the lines to pieces and keeps those of the commonest width.
func rowsOf(all []heard, sep byte, comma bool) [][]field {
	byWidth := map[int][][]field{}
	best := 0
	for _, l := range all {
		var row []field
		for _, text := range cutFields(string(l.text), sep) {
			x, ok := takeApart(text, comma)
			if !ok && sep != 0 && sep != ' ' && likelyWord(x.text) {
				x.word, ok = true, true
			}
			if !ok {
				row = nil
				break
			}
			x.at = l.at
			row = append(row, x)
		}
		if n := len(row); n > 0 {
			byWidth[n] = append(byWidth[n], row)
			if len(byWidth[n]) > len(byWidth[best]) {
				best = n
			}
		}
	}
	return byWidth[best]
}

// likelyComma: each number has one comma, and the same digits behind it. One in
// ten may be noise.
func likelyComma(rows [][]field) bool {
	places := map[int]int{}
	for _, r := range rows {
		if x := r[0]; strings.Count(x.text, ",") == 1 && !strings.Contains(x.text, ".") && x.n.decimals > 0 {
			places[x.n.decimals]++
		}
	}
	return nearlyAll(places, len(rows))
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
