package tracefile

import (
	"bytes"
	"fmt"
	"io"
)

const (
	bufferBytes  = 256 << 10
	maxLineBytes = 64 << 10
)

// lines cuts a stream into lines, counted from 1, in a buffer of its own. A
// line is valid until the next. CR LF and LF both end one.
type lines struct {
	r          io.Reader
	buf        []byte
	start, end int
	n          int // number of the last line given out
	read       int64
	err        error
	back       []byte // a line that was given out and is given out again; nil for none
}

// taken is how many bytes were given out as lines.
func (l *lines) taken() int64 { return l.read - int64(l.end-l.start) }

func newLines(r io.Reader) *lines {
	return &lines{r: r, buf: make([]byte, bufferBytes)}
}

// head fills the buffer as far as the stream lets it, for a first look.
func (l *lines) head() []byte {
	for l.err == nil && l.end < 4096 {
		l.fill()
	}
	return l.buf[l.start:l.end]
}

func (l *lines) fill() {
	if l.start > 0 && l.end == len(l.buf) {
		l.end = copy(l.buf, l.buf[l.start:l.end])
		l.start = 0
	}
	// A reader that gives nothing and no error is asked again, as often as
	// io.Reader's contract makes sensible.
	for range 100 {
		n, err := l.r.Read(l.buf[l.end:])
		l.end += n
		l.read += int64(n)
		if l.err = err; n > 0 || err != nil {
			return
		}
	}
	l.err = io.ErrNoProgress
}

// next returns the next line without its ending. The error is io.EOF after the
// last line, a *Fault for a line that is too long, or the stream's own.
func (l *lines) next() ([]byte, error) {
	if line := l.back; line != nil {
		l.back = nil
		return line, nil
	}
	for searched := 0; ; {
		if i := bytes.IndexByte(l.buf[l.start+searched:l.end], '\n'); i >= 0 {
			line := l.buf[l.start : l.start+searched+i]
			l.start += searched + i + 1
			return l.give(line)
		}
		searched = l.end - l.start
		if l.err != nil {
			if l.err != io.EOF || searched == 0 {
				return nil, l.err
			}
			line := l.buf[l.start:l.end]
			l.start = l.end
			return l.give(line)
		}
		if searched > maxLineBytes {
			return nil, &Fault{Line: l.n + 1, Says: fmt.Sprintf("the line is longer than %d KB; this is no trace, or its line ends are lost", maxLineBytes>>10)}
		}
		l.fill()
	}
}

func (l *lines) give(line []byte) ([]byte, error) {
	l.n++
	if len(line) > maxLineBytes {
		return nil, &Fault{Line: l.n, Says: fmt.Sprintf("the line is longer than %d KB; this is no trace, or its line ends are lost", maxLineBytes>>10)}
	}
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	return line, nil
}
