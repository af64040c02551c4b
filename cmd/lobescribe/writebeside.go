package main

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// writeBeside writes a file whole or not at all: beside its place, then
// renamed over it. A store is never in the way of anything: it is refused.
func writeBeside(name string, write func(io.Writer) error) (err error) {
	if err := notAStore(name); err != nil {
		return err
	}
	return replaceWhole(name, write)
}

// notAStore refuses to write over what begins as a store does, or a backup of one:
// whoever names it has mistaken the name. That of the database (bbolt's meta page)
// stands behind 16 bytes of each of the first two pages.
func notAStore(name string) error {
	if info, err := os.Stat(name); err != nil || !info.Mode().IsRegular() {
		return nil
	}
	f, err := os.Open(name)
	if err != nil {
		return nil // it says so when it is written
	}
	defer f.Close()
	var magic [4]byte
	for _, at := range []int64{16, 4096 + 16} {
		if _, err := f.ReadAt(magic[:], at); err == nil && binary.LittleEndian.Uint32(magic[:]) == 0xED0CDAED {
			return fmt.Errorf("%s is a store, or a backup of one, and is not written over; name another file", name)
		}
	}
	return nil
}

// replaceWhole is writeBeside for what may take the place of a store.
func replaceWhole(name string, write func(io.Writer) error) (err error) {
	defer func() {
		if err != nil {
			err = fmt.Errorf("writing %s: %w", name, plain(err, filepath.Dir(name)))
		}
	}()
	if info, err := os.Stat(name); err == nil && info.IsDir() {
		return errors.New("this is a folder: name a file in it")
	} else if err == nil && !info.Mode().IsRegular() {
		return writeInto(name, write) // /dev/null and a pipe are not to be replaced
	}
	f, err := os.CreateTemp(filepath.Dir(name), filepath.Base(name)+".part-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			f.Close()
			os.Remove(f.Name())
		}
	}()
	if err := write(f); err != nil {
		return err
	}
	if err := f.Chmod(0o644); err != nil {
		return err
	}
	if err := f.Sync(); err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	return os.Rename(f.Name(), name)
}

// writeInto writes to what is no ordinary file.
func writeInto(name string, write func(io.Writer) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY, 0)
	if err != nil {
		return err
	}
	return errors.Join(write(f), f.Close())
}

// plain says what to do about an error of the file system, without the name of a
// temporary file or the system's own words where there are better ones. folder is
// where something was to be written.
func plain(err error, folder string) error {
	switch {
	case errors.Is(err, syscall.ENOSPC):
		return errors.New("the disk is full: make room, or write to another")
	case errors.Is(err, syscall.EFBIG):
		return errors.New("no file may be so large here: raise the limit (ulimit -f), or write to another disk")
	case errors.Is(err, fs.ErrExist):
		return fmt.Errorf("%s leads nowhere, or is no folder: check the name", folder)
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("there is no folder %s: make it first", folder)
	case errors.Is(err, syscall.ENOTDIR):
		return fmt.Errorf("%s is a file and no folder: check the name", folder)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("you may not write in %s: choose another folder", folder)
	case errors.Is(err, syscall.EROFS):
		return fmt.Errorf("%s can only be read: choose another folder", folder)
	}
	if path := (*fs.PathError)(nil); errors.As(err, &path) {
		return path.Err
	}
	if link := (*os.LinkError)(nil); errors.As(err, &link) {
		return link.Err
	}
	return err
}
