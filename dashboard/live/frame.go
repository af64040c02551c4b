package live

import (
	"encoding/json"
	"fmt"
	"strconv"

	"github.com/gorilla/websocket"

	"lobescribe/capture"
	"lobescribe/capture/replay"
)

// lane is how a frame is treated when its client falls behind.
type lane uint8

const (
	lossless lane = iota // kept, or the client is sent away
	batches              // the oldest go, and the client is told how many readings
	newest               // only the latest of a source matters
)

// frame is one message, encoded once for all clients.
type frame struct {
	lane     lane
	word     string // its type
	source   uint64 // the trace being replayed, 0 for the live engine
	readings int    // how many a batch holds
	body     []byte // the JSON text; shared, never altered
	prepared *websocket.PreparedMessage
}

// newFrame encodes m. trace is added to an opening.
func newFrame(m capture.Message, source, trace uint64) (*frame, error) {
	f := &frame{word: m.Type(), source: source}
	switch v := m.(type) {
	case capture.Readings:
		f.lane, f.readings = batches, len(v.At)
		f.body = appendReadings(nil, v, source)
		return f.prepare()
	case capture.Position, Agreement, ProofNow:
		f.lane = newest // each says all that the one before it said
	case replay.State:
		f.lane = newest
		if v.Ended {
			f.lane = lossless
		}
	}
	fields, err := json.Marshal(m)
	if err != nil || len(fields) < 2 || fields[0] != '{' {
		return nil, fmt.Errorf("writing a %s message: %w", m.Type(), err)
	}
	b := append(make([]byte, 0, len(fields)+48), `{"type":`...)
	b = strconv.AppendQuote(b, m.Type())
	if source != 0 {
		b = strconv.AppendUint(append(b, `,"replay":`...), source, 10)
	}
	if _, opened := m.(capture.Opened); opened {
		b = strconv.AppendUint(append(b, `,"trace":`...), trace, 10)
	}
	if len(fields) > 2 {
		b = append(b, ',')
	}
	f.body = append(b, fields[1:]...)
	return f.prepare()
}

func (f *frame) prepare() (*frame, error) {
	var err error
	f.prepared, err = websocket.NewPreparedMessage(websocket.TextMessage, f.body)
	if err != nil {
		return nil, fmt.Errorf("framing a message: %w", err)
	}
	return f, nil
}

// noneLost ends every encoded batch. A client that lost readings before it gets
// the same bytes with another number here: see withLost.
const noneLost = `,"lost":0}`

func appendReadings(b []byte, m capture.Readings, source uint64) []byte {
	if b == nil {
		b = make([]byte, 0, 64+len(m.At)*32)
	}
	b = append(b, `{"type":"readings"`...)
	if source != 0 {
		b = strconv.AppendUint(append(b, `,"replay":`...), source, 10)
	}
	b = appendColumn(b, `,"t_us":[`, m.At)
	if len(m.Lift) > 0 || len(m.At) == 0 {
		b = appendColumn(b, `,"lift_nm":[`, m.Lift)
	}
	if len(m.Angle) > 0 {
		b = appendColumn(b, `,"angle_udeg":[`, m.Angle)
	}
	if len(m.Sweep) > 0 {
		b = appendColumn(b, `,"sweep_nm":[`, m.Sweep)
	}
	return append(b, noneLost...)
}

func appendColumn(b []byte, name string, column []int64) []byte {
	b = append(b, name...)
	for i, v := range column {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendInt(b, v, 10)
	}
	return append(b, ']')
}

// withLost returns the text of a batch for a client that lost n readings
// before it.
func (f *frame) withLost(n int) []byte {
	b := append(make([]byte, 0, len(f.body)+20), f.body[:len(f.body)-len("0}")]...)
	return append(strconv.AppendInt(b, int64(n), 10), '}')
}

// Text is a message as a client gets it: its fields, with its type before them and,
// where replayOf is a trace that it is replayed from, that. trace is added to an
// opening.
func Text(m capture.Message, replayOf, trace uint64) ([]byte, error) {
	f, err := newFrame(m, replayOf, trace)
	if err != nil {
		return nil, err
	}
	return f.body, nil
}
