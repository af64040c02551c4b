package storage

import (
	"io"
	"os"
)

type salvaged struct{ rows }

func (*salvaged) close() error { return nil }

func (s *Store) examine(f *os.File) error { return nil }

func checkPages(r io.ReaderAt, size int64) error { return nil }
