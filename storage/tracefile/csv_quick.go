package tracefile

import "lobescribe/device/measure"

// quickColumn is what the quick way through a row knows of a column: what one of
// the last of so many decimals is worth, and the most of these that may be taken.
// Both are zero where the unit has no such decimals.
type quickColumn struct {
	what        quantity
	worth, most [19]int64
}

func quickColumnOf(c column) quickColumn {
	q := quickColumn{what: c.what}
	if c.what == other || c.what == numberQ {
		return q
	}
	for decimals, p := range pow10 {
		if worth := c.unit / p; worth*p == c.unit {
			q.worth[decimals], q.most[decimals] = worth, (1<<62)/worth
		}
	}
	return q
}

// quickRow reads the next row where all of it stands in the buffer and is plain:
// bare numbers of no more decimals than a unit has, between commas. Anything else
// it leaves where it is, for the long way, which says what is wrong with it; the
// rows that it takes the long way reads alike.
func (r *Reader) quickRow() (x measure.Reading, ok bool) {
	b := r.lines.buf[r.lines.start:r.lines.end]
	i, timed := 0, false
	for k := range r.csv.quick {
		c := &r.csv.quick[k]
		if c.what == other || c.what == numberQ {
			for i < len(b) && b[i] != ',' && b[i] != '\n' && b[i] != '\r' {
				if b[i] == '"' || b[i] == '#' {
					return x, false
				}
				i++
			}
		} else {
			negative := i < len(b) && b[i] == '-'
			if negative {
				i++
			}
			first, point := i, -1
			var v int64
			for ; i < len(b); i++ {
				d := b[i] - '0'
				if d <= 9 {
					v = v*10 + int64(d)
				} else if b[i] == '.' && point < 0 && i > first {
					point = i
				} else {
					break
				}
			}
			n, decimals := i-first, 0
			if point >= 0 {
				decimals = i - point - 1
				if decimals == 0 {
					return x, false
				}
			}
			if n == 0 || n > 18 {
				return x, false
			}
			worth := c.worth[decimals]
			if worth == 0 || v > c.most[decimals] {
				return x, false
			}
			v *= worth
			if negative {
				v = -v
			}
			timed = timed || c.what == timeQ
			set(&x, c.what, v)
		}
		if k < len(r.csv.quick)-1 {
			if i >= len(b) || b[i] != ',' {
				return x, false
			}
			i++
		}
	}
	if i < len(b) && b[i] == '\r' {
		i++
	}
	if i >= len(b) || b[i] != '\n' || i > maxLineBytes || !timed {
		return x, false
	}
	r.lines.start += i + 1
	r.lines.n++
	return x, true
}
