package lines

import (
	"bytes"
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
		if n := bytes.Count(sample, []byte{c}); usual == 0 && n >= findFewLines || usual <= 2 && n >= findLines {
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
		if n >= findLines/2 && times*10 >= n*8 && size >= 3 && size <= defaultMaxLine {
			return size
		}
	}
	return 0
}
