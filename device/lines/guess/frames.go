package guess

import (
	"bytes"
	"fmt"

	"lobescribe/device/lines"
)

// frame is how a device without ends of lines marks its frames.
type frame struct {
	start byte
	size  int
}

// endOf finds the byte that ends a line: CR or LF, or another if there is
// neither. Where nothing ends one, a byte that comes back at even distances
// begins it.
func endOf(sample []byte) (byte, frame) {
	usual := bytes.Count(sample, []byte("\r")) + bytes.Count(sample, []byte("\n"))
	for _, c := range []byte{0x03, ';'} {
		// A stray CR or LF is noise beside many of them.
		if n := bytes.Count(sample, []byte{c}); usual == 0 && n >= Few || usual <= 2 && n >= Enough {
			return c, frame{}
		}
	}
	if usual > 2 {
		return '\n', frame{}
	}
	for _, c := range []byte{0xff, 0xfe, 0x02, 0x01, 0xaa, 0x55, '#', '$', '>', ':'} {
		if size := evenly(sample, c); size > 0 {
			return 0, frame{start: c, size: size}
		}
	}
	return '\n', frame{}
}

// evenly returns how many bytes stand between a byte and the next of its kind,
// if that is nearly always the same; 0 if it is not.
func evenly(sample []byte, c byte) int {
	gaps, last, n := map[int]int{}, -1, 0
	for i, b := range sample {
		if b != c {
			continue
		}
		if last >= 0 {
			gaps[i-last-1]++
			n++
		}
		last = i
	}
	for size, times := range gaps {
		if n >= Enough/2 && times*10 >= n*8 && size >= 3 && size <= lines.MaxLine {
			return size
		}
	}
	return 0
}

// Endless tells what is the matter with bytes that make no lines.
func Endless(b []byte) string {
	switch {
	case bytes.Count(b, []byte{0}) == len(b):
		return "nothing but NUL bytes comes: is the wire in, and is the baud rate right?"
	case CountEnds(b) >= Few && len(b) > Few*lines.MaxLine:
		return fmt.Sprintf("lines come that are longer than %d bytes, which no reading is: is this the right port?", lines.MaxLine)
	}
	return "bytes come, but no ends of lines: is the baud rate right?"
}

// CountEnds counts what may be ends of lines: CR, LF or both as one, and the
// bytes that end a line of a device that sends neither.
func CountEnds(b []byte) int {
	n := 0
	for i, c := range b {
		switch c {
		case '\n':
			if i == 0 || b[i-1] != '\r' {
				n++
			}
		case '\r', 0x03, ';':
			n++
		}
	}
	return n
}
