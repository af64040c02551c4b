// Package bytelog writes and reads recordings of raw bytes with the times at
// which they came, so that any day's puzzle can be played back.
//
// A recording is text, a line for each thing that happened, in order:
//
//	lobescribe bytes 1
//	# serial:/dev/ttyUSB0?baud=9600
//	0.016000 "0.4200 in\r\n0.42"
//	0.032000 "05 in\r\n"
//	2.500000 lost
//	3.100000 opened
//
// The first line names the kind and version. A number is seconds since the
// recording began, monotonic, to the microsecond, and never goes back. Bytes
// stand in double quotes: printable ASCII as it is, \r \n \t \\ \" and \xHH for
// the rest. The words lost and opened tell of the link. A line that begins with
// # is for people. A reader takes any line as long as [MaxLine]; a recording
// that was cut short ends with the last whole line.
package bytelog

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"lobescribe/device/measure"
)

const (
	head = "lobescribe bytes 1"
	// MaxLine bounds a line of a recording.
	MaxLine = 64 << 10
	// maxChunk is how many bytes the writer puts on a line; more are parted.
	maxChunk = 4096
)

// Kind says what happened.
type Kind uint8

// What can happen to a link.
const (
	Bytes Kind = iota
	Lost
	Opened
)

// Entry is one thing that happened.
type Entry struct {
	At    measure.Stamp // since the recording began
	Kind  Kind
	Bytes []byte
}

// Writer writes a recording. Its methods return the first error that there
// was; nothing more is written after it.
type Writer struct {
	w       *bufio.Writer
	started bool
	first   measure.Stamp
	last    measure.Stamp
	err     error
	line    []byte
}

// NewWriter begins a recording; each line of about becomes one for people.
func NewWriter(w io.Writer, about string) *Writer {
	l := &Writer{w: bufio.NewWriter(w)}
	l.put(head)
	for line := range strings.SplitSeq(about, "\n") {
		if line != "" {
			l.put("# " + strings.ToValidUTF8(strings.ReplaceAll(line, "\r", " "), "?"))
		}
	}
	return l
}

// Bytes writes what came at a moment of any origin: times are counted from the
// first entry.
func (l *Writer) Bytes(at measure.Stamp, b []byte) error {
	for len(b) > 0 {
		n := min(len(b), maxChunk)
		l.line = strconv.AppendQuoteToASCII(append(l.stamp(at), ' '), string(b[:n]))
		l.put(string(l.line))
		b = b[n:]
	}
	return l.err
}

// Mark writes that the link was lost or opened.
func (l *Writer) Mark(at measure.Stamp, k Kind) error {
	word := "lost"
	if k == Opened {
		word = "opened"
	}
	l.put(string(append(append(l.stamp(at), ' '), word...)))
	return l.err
}

// Flush writes what is held. Call it now and then, and at the end.
func (l *Writer) Flush() error {
	if err := l.w.Flush(); l.err == nil && err != nil {
		l.err = fmt.Errorf("write the recording: %w", err)
	}
	return l.err
}

func (l *Writer) stamp(at measure.Stamp) []byte {
	if !l.started {
		l.started, l.first = true, at
	}
	at = max(at-l.first, l.last)
	l.last = at
	return fmt.Appendf(l.line[:0], "%d.%06d", at/measure.Second, at%measure.Second)
}

func (l *Writer) put(line string) {
	if l.err != nil {
		return
	}
	if _, err := l.w.WriteString(line + "\n"); err != nil {
		l.err = fmt.Errorf("write the recording: %w", err)
	}
}

// ErrNotARecording is wrapped by the error of a file that is something else.
var ErrNotARecording = errors.New("not a recording of bytes")

// Reader reads a recording.
type Reader struct {
	s    *bufio.Scanner
	line int
	last measure.Stamp
}

// NewReader reads the head of a recording. The error says if it is something
// else.
func NewReader(r io.Reader) (*Reader, error) {
	l := &Reader{s: bufio.NewScanner(r)}
	l.s.Buffer(make([]byte, 0, 8<<10), MaxLine)
	if !l.s.Scan() {
		if err := l.s.Err(); err != nil && !errors.Is(err, bufio.ErrTooLong) {
			return nil, fmt.Errorf("read a recording: %w", err)
		}
		return nil, fmt.Errorf("%w: it should begin with %q", ErrNotARecording, head)
	}
	l.line = 1
	first := strings.TrimSuffix(l.s.Text(), "\r")
	if first == head {
		return l, nil
	}
	if rest, ok := strings.CutPrefix(first, "lobescribe bytes "); ok {
		return nil, fmt.Errorf("%w: its version %s is not known here; a newer lobescribe may read it", ErrNotARecording, rest)
	}
	return nil, fmt.Errorf("%w: it should begin with %q", ErrNotARecording, head)
}

// Next returns the next entry; [io.EOF] after the last. The error of a bad
// line names it.
func (l *Reader) Next() (Entry, error) {
	for l.s.Scan() {
		l.line++
		text := strings.TrimSuffix(l.s.Text(), "\r")
		if text == "" || text[0] == '#' {
			continue
		}
		e, err := parse(text)
		if err == nil && e.At < l.last {
			err = errors.New("the time goes back")
		}
		if err != nil {
			return Entry{}, fmt.Errorf("recording, line %d: %w", l.line, err)
		}
		l.last = e.At
		return e, nil
	}
	if err := l.s.Err(); err != nil {
		return Entry{}, fmt.Errorf("recording, line %d: %w", l.line+1, err)
	}
	return Entry{}, io.EOF
}

func parse(text string) (e Entry, err error) {
	when, what, ok := strings.Cut(text, " ")
	if !ok {
		return e, fmt.Errorf("%q: expected seconds and then bytes in quotes", clip(text))
	}
	if e.At, err = parseStamp(when); err != nil {
		return e, err
	}
	switch what = strings.TrimSpace(what); {
	case what == "lost":
		e.Kind = Lost
	case what == "opened":
		e.Kind = Opened
	case strings.HasPrefix(what, `"`):
		s, err := strconv.Unquote(what)
		if err != nil {
			return e, fmt.Errorf("%s: the bytes are not rightly quoted", clip(what))
		}
		e.Bytes = []byte(s)
	default:
		return e, fmt.Errorf("%q is neither bytes in quotes nor lost nor opened", clip(what))
	}
	return e, nil
}

func parseStamp(text string) (measure.Stamp, error) {
	if text == "" || text[0] < '0' || text[0] > '9' {
		return 0, fmt.Errorf("%q is no time in seconds", clip(text))
	}
	mantissa, decimals, n, err := measure.ScanDecimal([]byte(text))
	if err != nil || n != len(text) || decimals > 6 {
		return 0, fmt.Errorf("%q is no time in seconds, to the microsecond", clip(text))
	}
	for ; decimals < 6; decimals++ {
		if mantissa > (1<<62)/10 {
			return 0, fmt.Errorf("%q is too late a time", clip(text))
		}
		mantissa *= 10
	}
	return measure.Stamp(mantissa), nil
}

func clip(s string) string {
	if len(s) > 40 {
		return s[:40] + "..."
	}
	return s
}
