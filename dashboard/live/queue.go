package live

import "errors"

// errBehind is why a client is sent away: it could not even keep up with what
// must not be lost.
var errBehind = errors.New("this page fell too far behind and was let go; it connects again by itself")

// queue is what waits for one client. It is bounded: a client that falls
// behind loses its oldest batches of readings (and learns how many readings
// that was), sees only the newest state, and is sent away when what must not be
// lost piles up too high. Order across the lanes is kept by number.
//
// It is a plain state machine; its owner locks.
type queue struct {
	maxLossless int
	maxBatches  int
	maxReadings int

	next     uint64
	lossless []numbered
	batches  []numbered
	newest   []numbered // one a source and type at most
	readings int        // in batches
	lost     map[uint64]int
	dropped  int // readings, ever
}

type numbered struct {
	number uint64
	*frame
}

// put adds a frame. The error is errBehind.
func (q *queue) put(f *frame) error {
	n := numbered{q.next, f}
	q.next++
	switch f.lane {
	case newest:
		for i, old := range q.newest {
			if old.source == f.source && old.word == f.word {
				q.newest = append(q.newest[:i], q.newest[i+1:]...)
				break
			}
		}
		q.newest = append(q.newest, n)
	case batches:
		q.batches = append(q.batches, n)
		q.readings += f.readings
		for len(q.batches) > 1 && (len(q.batches) > q.maxBatches || q.readings > q.maxReadings) {
			old := q.batches[0]
			q.batches[0].frame = nil
			q.batches = q.batches[1:]
			q.readings -= old.readings
			q.lose(old.source, old.readings)
		}
	default:
		if len(q.lossless) >= q.maxLossless {
			return errBehind
		}
		q.lossless = append(q.lossless, n)
	}
	return nil
}

// lose counts readings of a source that this client will not see.
func (q *queue) lose(source uint64, readings int) {
	if q.lost == nil {
		q.lost = make(map[uint64]int)
	}
	q.lost[source] += readings
	q.dropped += readings
}

// take removes the frame that was put first, and returns how many readings of
// its source were lost before it. It returns nil when nothing waits.
func (q *queue) take() (f *frame, lost int) {
	var from *[]numbered
	for _, l := range []*[]numbered{&q.lossless, &q.batches, &q.newest} {
		if len(*l) > 0 && (from == nil || (*l)[0].number < (*from)[0].number) {
			from = l
		}
	}
	if from == nil {
		return nil, 0
	}
	f = (*from)[0].frame
	(*from)[0].frame = nil // the memory goes with it
	*from = (*from)[1:]
	if f.lane == batches {
		q.readings -= f.readings
		lost = q.lost[f.source]
		delete(q.lost, f.source)
	}
	return f, lost
}
