package lines

import (
	"bytes"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// skips reports whether the line is one that is neither a reading nor a fault.
func (d *Decoder) skips(line []byte) bool {
	for _, s := range d.f.Skip {
		if len(line) >= len(s) && string(line[:len(s)]) == s {
			return true
		}
	}
	return false
}

// word reports whether the line is one of the format's words.
func (d *Decoder) word(line []byte, at measure.Stamp, out *wire.Out) bool {
	for i := range d.f.Words {
		w := &d.f.Words[i]
		more := w.More && len(line) > len(w.Text) && line[len(w.Text)] == ' ' && equalFold(line[:len(w.Text)], w.Text)
		if !more && !equalFold(line, w.Text) {
			continue
		}
		says := w.Says
		switch {
		case says == "":
			says = string(line)
		case more:
			says += " (" + string(line) + ")"
		}
		switch {
		case w.ReZero:
			out.Note(measure.Note{At: at, Kind: measure.NoteReZero, Says: says})
		case w.Mark:
			out.Note(measure.Note{At: at, Kind: measure.NoteMark, Says: says})
		default:
			out.Condition(at, says)
		}
		return true
	}
	return d.version(line)
}

// wordInPlace reports whether the line has words where the lift should be. Its
// count, its index and its number hold all the same.
func (d *Decoder) wordInPlace(line []byte, at measure.Stamp, out *wire.Out) bool {
	var turn, row number
	var words []byte
	last := len(d.f.Columns) - 1
	for i := range d.f.Columns {
		c := &d.f.Columns[i]
		field, rest, more := bytes.Cut(line, []byte{d.f.Separator})
		if more != (i < last) {
			return false
		}
		v := taken
		switch i {
		case d.lift:
			words = bytes.TrimSpace(field)
		case d.turn:
			v = d.lastColumn(c, field, &turn)
		case d.number:
			v = d.lastColumn(c, field, &row)
		}
		if v != taken {
			return false
		}
		line = rest
	}
	if !d.word(words, at, out) {
		return false
	}
	d.row.next(row.mantissa, at, out)
	if d.counts && d.counted() {
		d.o.Crank.FromCounts(turn.mantissa)
		if turn.status != nil && turn.status.Index {
			d.index(at, out)
		}
	}
	return true
}

// counted reports whether it is known how many counts make a turn.
func (d *Decoder) counted() bool { return d.o.Crank.Step() > 0 }

// version reports whether the line tells the name and version of the device.
func (d *Decoder) version(line []byte) bool {
	if d.f.Version == "" || !bytes.HasPrefix(line, []byte(d.f.Version)) {
		return false
	}
	if string(line) != d.firmware {
		d.firmware = string(line)
	}
	d.passed = true
	return true
}

// started tells that the device has started again, where it was heard before.
func (d *Decoder) started(at measure.Stamp, out *wire.Out) {
	if d.row.known && d.turn >= 0 {
		out.Condition(at, "the board has started again, and its count begins again at zero: set TDC again")
	}
	d.row.reset()
}
