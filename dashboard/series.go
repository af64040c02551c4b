package dashboard

import (
	"context"
	"net/http"
	"strconv"
	"strings"
	"sync"

	"lobescribe/capture/join"
	"lobescribe/dashboard/sheet"
	"lobescribe/dashboard/thin"
	"lobescribe/device/measure"
	"lobescribe/storage"
)

// decoded is a trace as it is drawn: in columns, with its head and notes.
type decoded struct {
	head    storage.Head
	notes   []measure.Note
	columns thin.Columns
	damage  []string
	// readings is what the trace's line says; a trace in the making grows past
	// what was decoded.
	readings uint64
}

// size is what counts in the cache: readings, and a little for the rest.
func (d *decoded) size() int { return d.columns.Len() + 1000 }

// seriesCache keeps the traces drawn last, so that zooming does not read the
// disk. It is bounded by readings, 24 bytes each; loading is done once however
// many ask.
type seriesCache struct {
	load func(storage.ID) (*decoded, error)
	most int

	mu   sync.Mutex
	list []*seriesEntry // the one used last at the end
	held int
}

type seriesEntry struct {
	id   storage.ID
	done chan struct{} // closed when d and err are set
	d    *decoded
	err  error
	size int // counted in held
}

// seriesHeld is about 100 MB of columns.
const seriesHeld = 4_000_000

func newSeriesCache(load func(storage.ID) (*decoded, error)) *seriesCache {
	return &seriesCache{load: load, most: seriesHeld}
}

// get returns a decoded trace, which nobody may change.
func (c *seriesCache) get(ctx context.Context, id storage.ID) (*decoded, error) {
	c.mu.Lock()
	for i, e := range c.list {
		if e.id == id {
			c.list = append(append(c.list[:i:i], c.list[i+1:]...), e)
			c.mu.Unlock()
			select {
			case <-e.done:
				return e.d, e.err
			case <-ctx.Done():
				return nil, ctx.Err()
			}
		}
	}
	e := &seriesEntry{id: id, done: make(chan struct{})}
	c.list = append(c.list, e)
	c.mu.Unlock()

	e.d, e.err = c.load(id)
	close(e.done)

	c.mu.Lock()
	defer c.mu.Unlock()
	if e.err != nil {
		c.drop(e)
		return nil, e.err
	}
	for _, other := range c.list {
		if other == e {
			e.size = e.d.size()
			c.held += e.size
		}
	}
	for c.held > c.most && len(c.list) > 1 && c.list[0] != e {
		c.drop(c.list[0])
	}
	return e.d, nil
}

func (c *seriesCache) drop(e *seriesEntry) {
	for i, other := range c.list {
		if other == e {
			c.list = append(c.list[:i:i], c.list[i+1:]...)
			c.held -= e.size
			return
		}
	}
}

// forget drops a trace that was changed.
func (c *seriesCache) forget(id storage.ID) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, e := range c.list {
		if e.id == id {
			c.drop(e)
			return
		}
	}
}

// loadColumns decodes a stored trace.
func (s *Server) loadColumns(id storage.ID) (*decoded, error) {
	head, trace, err := s.store.Load(id)
	d := &decoded{head: head, notes: trace.Notes}
	if err != nil {
		if d.damage = sheet.Damaged(err); d.damage == nil {
			return nil, err
		}
	}
	d.readings = uint64(len(trace.Readings))
	readings := join.All(trace.Readings)
	n, angle := len(readings), false
	for i := range readings {
		if readings[i].Has&measure.HasAngle != 0 {
			angle = true
			break
		}
	}
	d.columns = thin.Columns{At: make([]int64, n), Lift: make([]int64, n)}
	if angle {
		d.columns.Angle = make([]int64, n)
	}
	kept := 0
	var lastAngle int64
	for i := range readings {
		r := &readings[i]
		if r.Has&measure.HasAngle != 0 {
			lastAngle = int64(r.Angle)
		}
		if r.Has&measure.HasLift == 0 {
			continue
		}
		d.columns.At[kept], d.columns.Lift[kept] = int64(r.At), int64(r.Lift)
		if angle {
			d.columns.Angle[kept] = lastAngle
		}
		kept++
	}
	d.columns.At, d.columns.Lift = d.columns.At[:kept], d.columns.Lift[:kept]
	if angle {
		d.columns.Angle = d.columns.Angle[:kept]
	}
	return d, nil
}

// shownSeries is a trace, or a span of it, thinned for a chart.
type shownSeries struct {
	From     measure.Stamp `json:"from_s"`
	To       measure.Stamp `json:"to_s"`
	Seconds  measure.Stamp `json:"seconds"`  // the whole trace's end
	Readings int           `json:"readings"` // the whole trace's
	Columns  int           `json:"columns"`
	thin.Series
}

const (
	columnsShown = 900
	columnsMost  = 10_000
)

func (s *Server) showSeries(w http.ResponseWriter, r *http.Request) error {
	id, err := traceID(r)
	if err != nil {
		return err
	}
	q := r.URL.Query()
	columns, err := wholeNumber(q.Get("columns"), "columns", columnsShown, 1, columnsMost)
	if err != nil {
		return err
	}
	d, err := s.drawn(r.Context(), id)
	if err != nil {
		return err
	}
	out := shownSeries{Readings: d.columns.Len(), Columns: columns}
	if n := d.columns.Len(); n > 0 {
		out.From, out.To = measure.Stamp(d.columns.At[0]), measure.Stamp(d.columns.At[n-1])
		out.Seconds = out.To
	}
	if err := span(q.Get("from_s"), "from_s", &out.From); err != nil {
		return err
	}
	if err := span(q.Get("to_s"), "to_s", &out.To); err != nil {
		return err
	}
	if out.To < out.From {
		return wrong("to_s", "to_s is before from_s.")
	}
	// A span of no length still shows the reading that is there.
	out.Series = thin.MinMax(d.columns, int64(out.From), max(int64(out.To), int64(out.From)+1), columns)
	answer(w, http.StatusOK, out)
	return nil
}

// drawn returns a decoded trace, read again when it has grown since.
func (s *Server) drawn(ctx context.Context, id storage.ID) (*decoded, error) {
	sum, err := s.store.Summary(id)
	if err != nil {
		return nil, err
	}
	done, err := s.alone(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	d, err := s.series.get(ctx, id)
	if err == nil && sum.Recording && d.readings < sum.Readings {
		s.series.forget(id)
		d, err = s.series.get(ctx, id)
	}
	return d, err
}

// longest is 300 days: no trace is longer, and the sums of two such times stay
// inside 64 bits.
const longest = 300 * 24 * 3600 * measure.Second

// span reads a time of the query into t, if it is there.
func span(text, field string, t *measure.Stamp) error {
	if text == "" {
		return nil
	}
	var v measure.Stamp
	// Only what is a plain number: NaN and infinity are refused by it.
	if _, err := strconv.ParseFloat(text, 64); err != nil || strings.ContainsAny(text, "xXpP_") {
		return wrong(field, "%s should be a number of seconds, not %q.", field, text)
	}
	if err := v.UnmarshalJSON([]byte(text)); err != nil || v > longest || v < -longest {
		return wrong(field, "%s should be a number of seconds, not %q.", field, text)
	}
	*t = v
	return nil
}
