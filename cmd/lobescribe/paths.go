package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// pathFlags are what a flag that takes a path is marked with: what is read there.
const pathFlags = "takes_path"

// readsFile marks a flag as the name of a file that is read, and what it ends in.
// One that is read more than once can be no pipe.
func readsFile(flags *pflag.FlagSet, flag string, endings ...string) {
	_ = cobra.MarkFlagFilename(flags, flag, endings...)
	_ = flags.SetAnnotation(flag, pathFlags, []string{"file"})
}

// readsFolder marks a flag as the name of a folder that is read.
func readsFolder(flags *pflag.FlagSet, flag string) {
	_ = cobra.MarkFlagDirname(flags, flag)
	_ = flags.SetAnnotation(flag, pathFlags, []string{"folder"})
}

// checkPaths refuses what was given as a path and cannot be read, before anything
// is started: each flag that takes one says the same of the same trouble.
func checkPaths(cmd *cobra.Command) (err error) {
	cmd.Flags().Visit(func(f *pflag.Flag) {
		kind := f.Annotations[pathFlags]
		if len(kind) == 0 || f.Value.String() == "" || err != nil {
			return
		}
		if wrong := usable(f.Value.String(), kind[0] == "folder"); wrong != nil {
			err = wordsError{fmt.Errorf("--%s: %w", f.Name, wrong)}
		}
	})
	return err
}

// usable tells why a path cannot be read, or nil.
func usable(path string, folder bool) error {
	info, err := os.Stat(path)
	switch {
	case err != nil && folder && os.IsNotExist(err):
		return fmt.Errorf("there is no folder %s; check the name", path)
	case err != nil:
		return err
	case folder && !info.IsDir():
		return fmt.Errorf("%s is a file; give the name of a folder", path)
	case !folder && info.IsDir():
		return &fs.PathError{Op: "read", Path: path, Err: syscall.EISDIR}
	case !folder && !info.Mode().IsRegular():
		return fmt.Errorf("%s is a pipe or a device; give the name of a file", path)
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return f.Close()
}

// piped tells whether a path is there and gives what it holds only once: a pipe, or
// the shell's <(command).
func piped(path string) bool {
	info, err := os.Stat(path)
	return err == nil && !info.IsDir() && !info.Mode().IsRegular()
}

// inFile marks an error about what stands in a file, in the file's own words.
type inFile struct{ error }

func (e inFile) Unwrap() error { return e.error }

// openText opens a file, or a pipe, that must hold something.
func openText(path string) (io.ReadCloser, error) {
	if info, err := os.Stat(path); err == nil && info.IsDir() {
		return nil, &fs.PathError{Op: "read", Path: path, Err: syscall.EISDIR}
	}
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	text := bufio.NewReader(f)
	if _, err := text.Peek(1); err == io.EOF {
		f.Close()
		return nil, fmt.Errorf("%s is empty", path)
	}
	return struct {
		io.Reader
		io.Closer
	}{text, f}, nil
}

// mostRecording bounds a recording of bytes, which is held in memory: what a port
// sends in some six hours at its fastest.
const mostRecording = 256 << 20

// readAtMost reads what cannot be read piece by piece.
func readAtMost(in io.Reader, most int64) ([]byte, error) {
	text, err := io.ReadAll(io.LimitReader(in, most+1))
	if err == nil && int64(len(text)) > most {
		return nil, fmt.Errorf("it is longer than %d bytes, which is more than can be read at once", most)
	}
	return text, err
}

// openPatiently opens a file. At a pipe it waits for whoever writes, until ctx ends:
// a system call that waits cannot be called off, so it is left behind.
func openPatiently(ctx context.Context, name string) (*os.File, error) {
	if !piped(name) {
		return os.Open(name)
	}
	type opened struct {
		f   *os.File
		err error
	}
	done := make(chan opened, 1)
	go func() {
		f, err := os.Open(name)
		done <- opened{f, err}
	}()
	select {
	case o := <-done:
		return o.f, o.err
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	}
}

// patient reads what may not come, until ctx ends.
type patient struct {
	ctx context.Context
	in  io.Reader
}

// Read reads into a buffer of its own, since a read that is left behind may still
// write into it.
func (p patient) Read(b []byte) (int, error) {
	type result struct {
		n   int
		err error
	}
	own, done := make([]byte, len(b)), make(chan result, 1)
	go func() {
		n, err := p.in.Read(own)
		done <- result{n, err}
	}()
	select {
	case r := <-done:
		return copy(b, own[:r.n]), r.err
	case <-p.ctx.Done():
		return 0, context.Cause(p.ctx)
	}
}
