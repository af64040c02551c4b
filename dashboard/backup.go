package dashboard

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
)

// backup sends a copy of the store as it stands at one moment, while recording
// goes on. It goes by way of a file beside the store: a copy under way can hold
// up whoever records, and must not last as long as a slow client likes. The file
// and the one place there is for it are held no longer than BackupWait.
func (s *Server) backup(w http.ResponseWriter, r *http.Request) error {
	if r.Method == http.MethodHead {
		return &problem{status: http.StatusMethodNotAllowed, says: "A backup has no size before it is made: GET it."}
	}
	select {
	case s.backups <- struct{}{}:
		defer func() { <-s.backups }()
	default:
		w.Header().Set("Retry-After", "30")
		return &problem{status: http.StatusServiceUnavailable, says: "Another backup is under way. Try again when it is through."}
	}
	ctx, cancel := context.WithTimeoutCause(r.Context(), s.o.BackupWait, fmt.Errorf("it took longer than the %v that a backup may take", s.o.BackupWait))
	defer cancel()
	started := s.o.Clock()
	f, size, err := s.copied(ctx)
	if err != nil {
		return err
	}
	defer discard(f)

	download(w, "application/octet-stream", "lobescribe-"+started.Format("2006-01-02-1504")+".db")
	w.Header().Set("Content-Length", strconv.FormatInt(size, 10))
	out := &steadyWriter{w: w, rc: http.NewResponseController(w), wait: s.o.AnswerWait}
	if err := sendAll(ctx, out, f); err != nil {
		s.log.Error("backup broke off", "sent", out.n, "bytes", size, "err", err)
		panic(http.ErrAbortHandler) // so that the client sees it is not whole
	}
	s.log.Info("backup sent", "bytes", size)
	return nil
}

// copied returns a copy of the store, from its beginning. On the store's own
// disk: the system's folder for such files may be memory, and small.
func (s *Server) copied(ctx context.Context) (*os.File, int64, error) {
	f, err := os.CreateTemp(filepath.Dir(s.store.Path()), "backup-*.part")
	if err != nil {
		return nil, 0, fmt.Errorf("backing up the store: %w", err)
	}
	// Where a file can be open and have no name, nothing is left of it however
	// the daemon ends. Elsewhere this fails, and discard does it.
	_ = os.Remove(f.Name())
	n, err := s.store.Backup(ctx, f)
	if err == nil {
		_, err = f.Seek(0, io.SeekStart)
	}
	if err != nil {
		discard(f)
		return nil, 0, err
	}
	return f, n, nil
}

func discard(f *os.File) {
	_ = f.Close()           // it was only read
	_ = os.Remove(f.Name()) // most often it has no name any more
}

// sendAll copies r to w as long as ctx lasts.
func sendAll(ctx context.Context, w io.Writer, r io.Reader) error {
	for {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		switch _, err := io.CopyN(w, r, 1<<20); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
	}
}
