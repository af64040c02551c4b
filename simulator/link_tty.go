//go:build linux || darwin

package simulator

import (
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/creack/pty"
	"golang.org/x/sys/unix"
)

// ttyPlug is a pseudo-terminal with the instrument at its master side. With a
// path, a symbolic link there leads to the slave side, whatever its number, as
// the system's own links by identity do.
type ttyPlug struct {
	path string
	asks chan []byte

	mu     sync.Mutex
	pair   *ttyPair // nil while unplugged
	closed bool
	last   string // the slave's name
}

// ttyPair is one pseudo-terminal. We hold its slave side open too: it keeps
// the raw mode, and lets us see and throw away what nobody reads.
type ttyPair struct {
	master  *os.File
	running sync.WaitGroup

	mu      sync.Mutex // also keeps the slave from being closed while in use
	slave   *os.File   // nil when closed
	written int        // bytes so far
	marks   [2]writtenAt
}

// writtenAt is how many bytes had been written at a moment.
type writtenAt struct {
	when  time.Time
	bytes int
}

func openTTY(path string) (plug, error) {
	p := &ttyPlug{path: path, asks: make(chan []byte)}
	if path != "" {
		// A link that an earlier run left behind is ours to replace; anything
		// else there is not.
		if info, err := os.Lstat(path); err == nil && info.Mode()&os.ModeSymlink == 0 {
			return nil, fmt.Errorf("%s exists and is no symbolic link: name another place for the simulated port", path)
		}
		if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
			return nil, err
		}
	}
	if err := p.replug(); err != nil {
		return nil, err
	}
	return p, nil
}

func (p *ttyPlug) address() string {
	if p.path != "" {
		return "serial:" + p.path
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return "serial:" + p.last
}

func (p *ttyPlug) requests() chan []byte { return p.asks }

func (p *ttyPlug) replug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed || p.pair != nil {
		return nil
	}
	pair, err := openPair()
	if err != nil {
		return err
	}
	name := pair.slave.Name()
	if p.path != "" {
		// Renamed into place, so that the path never leads nowhere.
		fresh := p.path + ".new"
		_ = os.Remove(fresh)
		if err = os.Symlink(name, fresh); err == nil {
			err = os.Rename(fresh, p.path)
		}
		if err != nil {
			pair.close()
			return err
		}
	}
	p.pair, p.last = pair, name
	pair.running.Add(1)
	go pair.listen(p.asks)
	return nil
}

func openPair() (*ttyPair, error) {
	master, slave, err := pty.Open()
	if err != nil {
		return nil, fmt.Errorf("opening a pseudo-terminal: %w", err)
	}
	pair := &ttyPair{slave: slave}
	if err := makeRaw(int(slave.Fd())); err != nil {
		master.Close()
		slave.Close()
		return nil, fmt.Errorf("setting a pseudo-terminal to raw: %w", err)
	}
	// A second descriptor that does not block, so that writing has a deadline
	// and closing wakes the reader.
	fd, err := unix.FcntlInt(master.Fd(), unix.F_DUPFD_CLOEXEC, 0)
	if err == nil {
		err = unix.SetNonblock(fd, true)
	}
	name := master.Name()
	master.Close()
	if err != nil {
		slave.Close()
		return nil, fmt.Errorf("opening a pseudo-terminal: %w", err)
	}
	pair.master = os.NewFile(uintptr(fd), name)
	return pair, nil
}

// makeRaw turns off echo and all that a terminal does to bytes (the flags of
// cfmakeraw(3)).
func makeRaw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, getTermios)
	if err != nil {
		return err
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag &^= unix.CSIZE | unix.PARENB
	t.Cflag |= unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	return unix.IoctlSetTermios(fd, setTermios, t)
}

// listen takes what a reader writes.
func (p *ttyPair) listen(asks chan<- []byte) {
	defer p.running.Done()
	buf := make([]byte, 512)
	for {
		n, err := p.master.Read(buf)
		if n > 0 {
			asks <- append([]byte(nil), buf[:n]...)
		}
		if err != nil {
			return
		}
	}
}

func (p *ttyPlug) send(b []byte) {
	p.mu.Lock()
	pair := p.pair
	p.mu.Unlock()
	if pair != nil {
		pair.send(b)
	}
}

// send writes bytes. A port that nobody has read for a second is emptied
// first: on a real line they would be gone, and the next one to open it would
// take old readings for new.
func (p *ttyPair) send(b []byte) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.slave == nil {
		return
	}
	fd, now := int(p.slave.Fd()), time.Now()
	if now.Sub(p.marks[0].when) > time.Second {
		p.marks[0], p.marks[1] = writtenAt{now, p.written}, p.marks[0]
		// Whoever was killed while holding the port for itself alone has left
		// it locked, since we still have it open.
		_ = unix.IoctlSetInt(fd, unix.TIOCNXCL, 0)
	}
	if old := p.marks[1]; !old.when.IsZero() {
		if unread, err := unix.IoctlGetInt(fd, unreadBytes); err == nil && unread > 0 && unread >= p.written-old.bytes {
			_ = flushInput(fd)
		}
	}
	_ = p.master.SetWriteDeadline(now.Add(patience))
	n, _ := p.master.Write(b)
	p.written += n
}

// close ends the pair. The master goes first, which wakes whoever reads or
// writes it.
func (p *ttyPair) close() error {
	err := p.master.Close()
	p.mu.Lock()
	if e := p.slave.Close(); err == nil {
		err = e
	}
	p.slave = nil
	p.mu.Unlock()
	p.running.Wait()
	return err
}

func (p *ttyPlug) unplug() error {
	p.mu.Lock()
	pair := p.pair
	p.pair = nil
	if pair != nil && p.path != "" {
		_ = os.Remove(p.path)
	}
	p.mu.Unlock()
	if pair == nil {
		return nil
	}
	return pair.close()
}

func (p *ttyPlug) close() error {
	p.mu.Lock()
	already := p.closed
	p.closed = true // from here on there is no replugging
	p.mu.Unlock()
	err := p.unplug()
	if !already {
		close(p.asks)
	}
	return err
}
