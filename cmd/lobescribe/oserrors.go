package main

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"syscall"
)

// plainly prints err with what the system says of a file put in words that say what
// to do.
func plainly(err error) string {
	text := err.Error()
	for _, e := range ofFiles(err) {
		if words := fileWords(e); words != "" {
			text = strings.Replace(text, e.Error(), words, 1)
		}
	}
	return text
}

// ofFiles returns the system's errors that name a path, out of all that err wraps.
func ofFiles(err error) (all []*fs.PathError) {
	if e, ok := err.(*fs.PathError); ok {
		return []*fs.PathError{e}
	}
	switch e := err.(type) {
	case interface{ Unwrap() error }:
		if inner := e.Unwrap(); inner != nil {
			return ofFiles(inner)
		}
	case interface{ Unwrap() []error }:
		for _, inner := range e.Unwrap() {
			all = append(all, ofFiles(inner)...)
		}
	}
	return all
}

// fileWords says what is wrong with a path; empty where the system's words have to do.
func fileWords(e *fs.PathError) string {
	switch folder := filepath.Dir(e.Path); {
	case errors.Is(e, fs.ErrNotExist):
		if info, err := os.Stat(folder); err != nil || !info.IsDir() {
			return "there is no folder " + folder + ": make it first, or check the name"
		}
		return "there is no file " + e.Path + "; check the name and the folder"
	case errors.Is(e, fs.ErrPermission):
		return "you may not use " + e.Path + "; ask its owner, or copy it"
	case errors.Is(e, syscall.EISDIR):
		return e.Path + " is a folder; give the name of a file"
	case errors.Is(e, syscall.ENOTDIR):
		return "a part of " + e.Path + " is a file and no folder; check the name"
	case errors.Is(e, syscall.ENOSPC):
		return "no room is left on the disk of " + e.Path + "; make some"
	case errors.Is(e, syscall.EROFS):
		return "the disk of " + e.Path + " cannot be written to; name another folder"
	}
	return ""
}
