package main

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// writeBeside writes a file whole or not at all: beside its place, then
// renamed over it.
func writeBeside(name string, write func(io.Writer) error) (err error) {
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
