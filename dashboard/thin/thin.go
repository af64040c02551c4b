// Package thin makes a long column of readings as short as a chart is wide
// without hiding anything: each pixel column keeps the least and the largest
// value that fell into it, so that a spike of a single reading is still drawn
// and the nose is as high as it was. (Picking every n-th reading, or averaging,
// would lose both.)
//
// A column is a span of time of equal length: column i of n holds the readings
// with from + i*(to-from)/n <= t < from + (i+1)*(to-from)/n, edges rounded down
// to the microsecond, the last one also t = to. A column into which no reading fell is left out, not invented: a gap
// in the link stays a gap in the chart.
package thin

import "sort"

// Columns are readings in columns of equal length, in order of time. Angle is
// nil without an encoder. At is in microseconds, Lift in nanometres, Angle in
// microdegrees.
type Columns struct {
	At, Lift, Angle []int64
}

// Len returns how many readings there are.
func (c Columns) Len() int { return len(c.At) }

// Between returns the readings with from <= t <= to. It shares memory with c.
func (c Columns) Between(from, to int64) Columns {
	lo := sort.Search(len(c.At), func(i int) bool { return c.At[i] >= from })
	hi := sort.Search(len(c.At), func(i int) bool { return c.At[i] > to })
	return c.slice(lo, max(lo, hi))
}

func (c Columns) slice(lo, hi int) Columns {
	out := Columns{At: c.At[lo:hi], Lift: c.Lift[lo:hi]}
	if c.Angle != nil {
		out.Angle = c.Angle[lo:hi]
	}
	return out
}

// Series is what is drawn. At and Angle are those of one reading of each
// column, the middle one, so that they belong together; Min and Max are over
// the whole column.
type Series struct {
	At    []int64 `json:"t_us"`
	Min   []int64 `json:"min_nm"`
	Max   []int64 `json:"max_nm"`
	Angle []int64 `json:"angle_udeg,omitempty"`
}

// MinMax thins c to at most columns columns between from and to, both
// inclusive, in one pass. With no more readings than columns they come as they
// are, Min equal to Max. It panics unless columns is positive and from is
// before to.
func MinMax(c Columns, from, to int64, columns int) Series {
	if columns < 1 || from >= to {
		panic("thin: no columns to thin into")
	}
	c = c.Between(from, to)
	n := c.Len()
	if n <= columns {
		s := Series{
			At:  append(make([]int64, 0, n), c.At...),
			Min: append(make([]int64, 0, n), c.Lift...),
			Max: append(make([]int64, 0, n), c.Lift...),
		}
		if c.Angle != nil {
			s.Angle = append(make([]int64, 0, n), c.Angle...)
		}
		return s
	}
	s := Series{At: make([]int64, 0, columns), Min: make([]int64, 0, columns), Max: make([]int64, 0, columns)}
	if c.Angle != nil {
		s.Angle = make([]int64, 0, columns)
	}
	lo := 0
	for i := range columns {
		hi := n
		if i < columns-1 {
			hi = lo + ahead(c.At[lo:], edge(from, to, i+1, columns))
		}
		if hi == lo {
			continue
		}
		least, most := extremes(c.Lift[lo:hi])
		middle := lo + (hi-lo)/2
		s.At = append(s.At, c.At[middle])
		s.Min = append(s.Min, least)
		s.Max = append(s.Max, most)
		if c.Angle != nil {
			s.Angle = append(s.Angle, c.Angle[middle])
		}
		lo = hi
	}
	return s
}

// edge returns where column i begins. The products of a long trace and a wide
// chart stay inside 64 bits: ten years in microseconds by ten thousand columns.
func edge(from, to int64, i, columns int) int64 {
	span, n := to-from, int64(columns)
	return from + span/n*int64(i) + span%n*int64(i)/n
}

// ahead returns how many of at lie before edge. It doubles its step first,
// since the edge is usually near.
func ahead(at []int64, edge int64) int {
	step := 1
	for step < len(at) && at[step] < edge {
		step *= 2
	}
	lo, hi := step/2, min(step+1, len(at))
	return lo + sort.Search(hi-lo, func(i int) bool { return at[lo+i] >= edge })
}

func extremes(v []int64) (least, most int64) {
	least, most = v[0], v[0]
	for _, x := range v[1:] {
		least, most = min(least, x), max(most, x)
	}
	return least, most
}
