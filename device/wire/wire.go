// Package wire holds the few words that links and wire formats share, so that
// a format is written against this package and [lobescribe/device/measure]
// alone and knows nothing of ports, reconnecting or other formats.
//
// A wire format is a pure, incremental decoder: [Chunk]s of bytes go in, in the
// order they came and cut anywhere; readings, notes, conditions and counts of
// what was refused come out in an [Out]. It has no goroutine, no clock and no
// I/O. It must give the same readings however the bytes were cut, must not
// allocate for a reading, and must hold a bounded amount of bytes whatever
// comes: device bytes are hostile input.
//
// Times: a chunk carries the monotonic moment at which its last byte was read,
// and how long a byte takes on the line. [Chunk.Stamp] places earlier bytes
// earlier (though never before zero), and [Out.Add] keeps the stamps of readings strictly increasing.
package wire

import (
	"fmt"
	"strings"
	"time"

	"lobescribe/device/measure"
)

// Chunk is what one read of a link gave.
type Chunk struct {
	// Bytes belong to the caller and are valid during the call only.
	Bytes []byte
	// At is when the last of Bytes had come.
	At measure.Stamp
	// ByteTime is how long one byte takes on the line; 0 if that is unknown.
	ByteTime time.Duration
}

// Stamp returns when the first n bytes of the chunk had come: a line that ends
// early in a chunk was there earlier than the chunk's end. That is never before
// the zero of the clock.
func (c Chunk) Stamp(n int) measure.Stamp {
	if c.ByteTime == 0 {
		return c.At
	}
	return max(min(c.At, 0), c.At-measure.StampOf(time.Duration(len(c.Bytes)-n)*c.ByteTime))
}

// Refused counts what was not taken as a reading, by the reason why.
type Refused struct {
	TooLong     int64 `json:"too_long"`     // a line without end
	NotANumber  int64 `json:"not_a_number"` // noise, chatter, an unknown word
	Misshapen   int64 `json:"misshapen"`    // a number, but cut or of another shape than its neighbours
	BadChecksum int64 `json:"bad_checksum"` // the check at the end did not agree
	Jump        int64 `json:"jump"`         // no spindle moves that far between two readings
	Stale       int64 `json:"stale"`        // from before the link had settled
	Unanswered  int64 `json:"unanswered"`   // asked, and nothing came
	Flood       int64 `json:"flood"`        // more than can be followed
	Missing     int64 `json:"missing"`      // never came, as the numbers of the lines tell
}

// Total returns how many things were refused.
func (r Refused) Total() int64 {
	return r.TooLong + r.NotANumber + r.Misshapen + r.BadChecksum + r.Jump + r.Stale + r.Unanswered + r.Flood + r.Missing
}

// Plus returns the sum of both, kind by kind.
func (r Refused) Plus(o Refused) Refused {
	return Refused{
		TooLong: r.TooLong + o.TooLong, NotANumber: r.NotANumber + o.NotANumber,
		Misshapen: r.Misshapen + o.Misshapen, BadChecksum: r.BadChecksum + o.BadChecksum,
		Jump: r.Jump + o.Jump, Stale: r.Stale + o.Stale, Unanswered: r.Unanswered + o.Unanswered, Flood: r.Flood + o.Flood, Missing: r.Missing + o.Missing,
	}
}

// Mostly says in words what most of it was; "" if nothing was refused.
func (r Refused) Mostly() string {
	most, says := int64(0), ""
	for _, kind := range []struct {
		n    int64
		says string
	}{
		{r.NotANumber, "the lines are no numbers"}, {r.TooLong, "the lines have no end"},
		{r.Misshapen, "the lines are cut, or of another shape"}, {r.BadChecksum, "the checksums do not agree"},
		{r.Jump, "they jump further than a spindle can"}, {r.Flood, "there are more than can be followed"},
	} {
		if kind.n > most {
			most, says = kind.n, kind.says
		}
	}
	return says
}

// Counts says in words how many there were of each kind; "" if nothing was refused.
func (r Refused) Counts() string {
	var parts []string
	for _, kind := range []struct {
		n    int64
		says string
	}{
		{r.Missing, "never came"}, {r.BadChecksum, "with a wrong check"}, {r.Misshapen, "cut or of another shape"},
		{r.NotANumber, "no numbers"}, {r.Jump, "further off than a spindle goes"}, {r.TooLong, "without an end"},
		{r.Stale, "from before the link had settled"}, {r.Unanswered, "asked for in vain"}, {r.Flood, "more than can be followed"},
	} {
		if kind.n > 0 {
			parts = append(parts, fmt.Sprintf("%d %s", kind.n, kind.says))
		}
	}
	return strings.Join(parts, ", ")
}

// Minus returns what r has more than o, kind by kind.
func (r Refused) Minus(o Refused) Refused {
	return Refused{
		TooLong: r.TooLong - o.TooLong, NotANumber: r.NotANumber - o.NotANumber,
		Misshapen: r.Misshapen - o.Misshapen, BadChecksum: r.BadChecksum - o.BadChecksum,
		Jump: r.Jump - o.Jump, Stale: r.Stale - o.Stale, Unanswered: r.Unanswered - o.Unanswered, Flood: r.Flood - o.Flood, Missing: r.Missing - o.Missing,
	}
}

// Condition is something the instrument said about itself instead of giving a
// reading: its battery is low, its spindle is out of range, a request was
// wrong. It is shown as the state of the device and is never a reading.
type Condition struct {
	At   measure.Stamp `json:"t_s"`
	Says string        `json:"says"`
}

// Out collects what came out of a chunk. Its owner calls Reset before each
// chunk; the slices keep their capacity, so a steady stream allocates nothing.
type Out struct {
	Readings   []measure.Reading
	Notes      []measure.Note
	Conditions []Condition
	Refused    Refused

	last    measure.Stamp
	started bool
}

// Reset empties o and keeps its order of time.
func (o *Out) Reset() {
	o.Readings, o.Notes, o.Conditions = o.Readings[:0], o.Notes[:0], o.Conditions[:0]
	o.Refused = Refused{}
}

// Add appends a reading. If its stamp is not after that of the reading before,
// it is moved to the microsecond after it: readings are in the order of their
// bytes, whatever the guess at their times.
func (o *Out) Add(r measure.Reading) {
	if o.started && r.At <= o.last {
		r.At = o.last + measure.Microsecond
	}
	o.last, o.started = r.At, true
	o.Readings = append(o.Readings, r)
}

// Note appends something that happened to the stream.
func (o *Out) Note(n measure.Note) { o.Notes = append(o.Notes, n) }

// Condition appends what the instrument said about itself.
func (o *Out) Condition(at measure.Stamp, says string) {
	o.Conditions = append(o.Conditions, Condition{At: at, Says: says})
}

// Found is what a decoder knows about its device by now.
type Found struct {
	// Settled is false while the decoder is still finding out; until then no
	// reading comes (they are kept and come when it has settled).
	Settled bool
	// Format is the name of the format, Says what it looks like, in words.
	Format, Says string
	// Unit is the unit of the latest reading; Assumed says that nothing told
	// the unit and it was guessed.
	Unit    measure.Unit
	Assumed bool
	// Assumes is a sentence for everybody: what nothing told and was assumed
	// (the unit, the scale, which column), and the key that says it; "" if
	// nothing was.
	Assumes string
	// Resolution is the least step of the indicator, AngleStep the encoder's
	// angle a count; 0 while unknown.
	Resolution measure.Length
	AngleStep  measure.Angle
	// Firmware is the device's name and version, where it tells them.
	Firmware string
}

// Crank turns what an encoder said into crank angle that grows without end.
// It may keep state (the last count, to undo a wrap), so one Crank serves one
// stream.
type Crank interface {
	// FromCounts takes the number of counts as printed.
	FromCounts(counts int64) measure.Angle
	// FromDegrees takes an angle as printed, which may wrap.
	FromDegrees(printed measure.Angle) measure.Angle
	// Step is the angle of one count; 0 when not known.
	Step() measure.Angle
}
