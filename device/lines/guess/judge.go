package guess

import (
	"math/bits"

	"lobescribe/device/lines"
	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Judgement is how much a sample of bytes looks like lines of readings.
type Judgement struct {
	// Score is from 0 (noise) to 1 (every line is a reading).
	Score float64
	// SevenEven and SevenOdd say that the bytes are of seven bits with a
	// parity bit, received as eight: the line is 7E1 or 7O1.
	SevenEven, SevenOdd bool
	// Lines are the whole lines of the sample, Read those that are readings.
	Lines, Read int
	// Says is what was found, or what is in the way.
	Says string
	// Assumes is what nothing told and was assumed, with the key that says it.
	Assumes string
	// Format is the name of a built-in format that was found; Firmware is the
	// device's name and version, where its lines tell them.
	Format, Firmware string
}

// Judge judges what was received as eight bits without parity, starting in the
// middle of a line.
func Judge(sample []byte, o lines.Options) Judgement {
	j := judge(sample, o)
	even, odd := 0, 0
	seven := make([]byte, len(sample))
	for i, b := range sample {
		seven[i] = b & 0x7f
		if bits.OnesCount8(b)%2 == 0 {
			even++
		} else {
			odd++
		}
	}
	// Parity that holds for nearly every byte is no chance: of twenty random
	// bytes it is one in a million.
	if n := len(sample); n >= 20 && max(even, odd)*50 >= n*49 {
		if s := judge(seven, o); s.Score > j.Score {
			s.SevenEven, s.SevenOdd = even > odd, odd > even
			return s
		}
	}
	return j
}

func judge(sample []byte, o lines.Options) Judgement {
	chunks := []wire.Chunk{{Bytes: sample}}
	end, frame := endOf(sample)
	all := cutLines(chunks, end, frame, false)
	g := Find(chunks, false, o)
	switch {
	case g.near: // lines of numbers, whichever is what
		return Judgement{Score: 0.5 + 0.5*float64(min(g.reads, len(all)))/float64(len(all)), Lines: len(all), Read: g.reads, Says: g.Doubt}
	case !g.OK:
		return Judgement{Score: 0.4 * readable(sample), Lines: len(all), Says: g.Doubt}
	}
	n := min(reads(g.Format, all, o), len(all))
	return Judgement{Score: 0.5 + 0.5*float64(n)/float64(len(all)), Lines: len(all), Read: n, Says: g.Says, Assumes: g.Assumes,
		Format: g.Format.Name, Firmware: firmware(g.Format, all)}
}

// firmware is what lines of a format tell of the device's name and version.
func firmware(f lines.Format, all []Heard) string {
	d := lines.NewDecoder(f, lines.Options{Crank: anyCrank{}})
	for i, l := range all {
		d.Line(l.Text, measure.Stamp(i)*measure.Second, &wire.Out{})
	}
	return d.Found().Firmware
}

// readable is the share of bytes that a line of numbers may hold.
func readable(sample []byte) float64 {
	if len(sample) == 0 {
		return 0
	}
	n := 0
	for _, b := range sample {
		if b >= ' ' && b < 0x7f || b == '\r' || b == '\n' || b == '\t' {
			n++
		}
	}
	return float64(n) / float64(len(sample))
}
