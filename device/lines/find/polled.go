package find

import (
	"bytes"

	"lobescribe/device/lines"
	"lobescribe/device/lines/guess"
	"lobescribe/device/wire"
)

// Follower is a [lines.Decoder] or a [Finder].
type Follower interface {
	Decode(c wire.Chunk, out *wire.Out)
	Reset()
	BeginsQuiet()
	Found() wire.Found
}

// Polled is a device that answers a request with a line.
type Polled struct {
	Follower
	request  []byte
	answered bool
	text     bool // something stands in the line that is running
}

// NewPolled returns f with the request that makes its device speak.
func NewPolled(f Follower, request []byte) *Polled {
	p := &Polled{Follower: f, request: bytes.Clone(request), answered: true}
	f.BeginsQuiet()
	return p
}

// Decode takes the bytes that came next.
func (p *Polled) Decode(c wire.Chunk, out *wire.Out) {
	for _, b := range c.Bytes {
		switch {
		case b == '\r' || b == '\n' || b == 0x03 || b == ';':
			p.answered = p.answered || p.text
			p.text = false
		case b != ' ' && b != '\t' && b != 0:
			p.text = true
		}
	}
	p.Follower.Decode(c, out)
}

// Reset says that bytes were lost. A device that speaks only when asked is
// silent after an open, so what comes then begins a line.
func (p *Polled) Reset() {
	p.Follower.Reset()
	p.BeginsQuiet()
	p.answered, p.text = true, false
}

// Format returns the format that was found, and View the last lines, where the
// device's lines are those of a [Finder].
func (p *Polled) Format() (lines.Format, bool) {
	if f, ok := p.Follower.(*Finder); ok {
		return f.Format()
	}
	return lines.Format{}, false
}

// View is as [Finder.View].
func (p *Polled) View() guess.View {
	if f, ok := p.Follower.(*Finder); ok {
		return f.View()
	}
	return guess.View{}
}

// Ask appends the next request to dst.
func (p *Polled) Ask(dst []byte) []byte {
	p.answered = false
	return append(dst, p.request...)
}

// Answered reports whether the last request has had a whole line.
func (p *Polled) Answered() bool { return p.answered }

// Unanswered says that the time for the answer is over.
func (p *Polled) Unanswered(out *wire.Out) {
	out.Refused.Unanswered++
	p.Reset()
}
