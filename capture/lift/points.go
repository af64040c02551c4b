package lift

import "math"

// point is a reading, or several neighbours melted into one. Lengths are
// nanometres, times microseconds, angles degrees.
type point struct {
	t, y float64
	a    float64 // NaN without an encoder
	w    float64 // how many readings stand behind it
}

// points is a stretch of signal in bounded memory: when it is full, neighbours
// that lie close together in lift are melted into their mean, which is where a
// hand rests and where nothing is lost by it.
type points struct {
	p    []point
	most int
}

const (
	// The live side keeps so many points, the findings of a finished trace as
	// many as it takes within reason.
	livePoints     = 16_384
	finishedPoints = 1 << 20
	// So far apart in lift may neighbours be that are melted, for each reading
	// that would then stand behind the one.
	meltNear = 250.0
	// The newest points stay as they are.
	unmelted = 64
)

func (s *points) add(p point) {
	if len(s.p) >= s.most {
		s.melt()
	}
	s.p = append(s.p, p)
}

// melt makes a quarter of the room free: first by pairs of single readings,
// then by ever larger groups, so that no point stands for many while others
// stand for one.
func (s *points) melt() {
	for group := 2.0; len(s.p) > s.most*3/4; group *= 2 {
		dst := s.p[:0]
		old, rest := s.p[:len(s.p)-unmelted], s.p[len(s.p)-unmelted:]
		for i := 0; i < len(old); i++ {
			p := old[i]
			if i+1 < len(old) && (p.w+old[i+1].w <= group || group > 1e9) &&
				math.Abs(old[i+1].y-p.y) <= meltNear*group && !parted(p.a, old[i+1].a, group/4) {
				p = melted(p, old[i+1])
				i++
			}
			dst = append(dst, p)
		}
		s.p = append(dst, rest...)
	}
}

// parted says that two angles are more than some degrees apart, or that only
// one of them is known; neither counts any more once memory is short.
func parted(a, b, degrees float64) bool {
	if math.IsNaN(a) || math.IsNaN(b) {
		return math.IsNaN(a) != math.IsNaN(b) && degrees < 1e6
	}
	return math.Abs(a-b) > degrees
}

func melted(a, b point) point {
	w := a.w + b.w
	f := b.w / w
	m := point{t: a.t + f*(b.t-a.t), y: a.y + f*(b.y-a.y), a: a.a + f*(b.a-a.a), w: w}
	if math.IsNaN(a.a) {
		m.a = b.a
	} else if math.IsNaN(b.a) {
		m.a = a.a
	}
	return m
}

// since drops everything before t.
func (s *points) since(t float64) {
	i := s.from(t)
	s.p = s.p[:copy(s.p, s.p[i:])]
}

// from returns the index of the first point at or after t.
func (s *points) from(t float64) int {
	lo, hi := 0, len(s.p)
	for lo < hi {
		m := (lo + hi) / 2
		if s.p[m].t < t {
			lo = m + 1
		} else {
			hi = m
		}
	}
	return lo
}

// between returns the points with from <= t < to; none when to is before from,
// as after a jump in time that no clock makes but a file may hold.
func (s *points) between(from, to float64) []point {
	first := s.from(from)
	return s.p[first:max(first, s.from(to))]
}
