// Package textfile reads the small files beside a store and those that a flag
// names: keys, certificates, formats, marks. [Read] is all there is.
//
// A pipe would wait for whoever writes into it, a device may have no end, and a
// file of gigabytes fills the memory: each is refused with a sentence that names it.
package textfile

import (
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"
)

// Read returns what is in a file of at most so many bytes. The error is the
// system's own, or one that says what to give instead.
func Read(name string, most int64) ([]byte, error) {
	info, err := os.Stat(name) // before it is opened, which waits at a pipe
	if err != nil {
		return nil, err
	}
	if err := fit(name, info, most); err != nil {
		return nil, err
	}
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	text, err := io.ReadAll(io.LimitReader(f, most+1))
	if err == nil && int64(len(text)) > most { // it grew
		return nil, tooLarge(name, most)
	}
	return text, err
}

func fit(name string, info fs.FileInfo, most int64) error {
	switch {
	case info.IsDir():
		return &fs.PathError{Op: "read", Path: name, Err: syscall.EISDIR}
	case !info.Mode().IsRegular():
		return fmt.Errorf("%s is a pipe or a device; give the name of a file", name)
	case info.Size() > most:
		return tooLarge(name, most)
	}
	return nil
}

func tooLarge(name string, most int64) error {
	return fmt.Errorf("%s is larger than %d bytes, so it is some other file; check the name", name, most)
}
