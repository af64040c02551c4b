package device

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"syscall"
	"time"
	"unsafe"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"lobescribe/device/measure"
)

// polledPort is a serial port that is waited for by the runtime's poller and
// not, as the library does, by a thread in a blocking system call. Each of
// those takes a thread from the runtime and wakes its monitor for about a
// millisecond, which was more than half of what a reading cost.
//
// The library opens and sets the port; what is read comes by a second
// descriptor. That one stands in an epoll set of its own, and it is this set
// that the runtime polls: so a port that is left to gather can be made to wake
// nobody, which the runtime itself has no word for.
type polledPort struct {
	serial.Port

	reading sync.Mutex // held by the reader, so that no descriptor is closed under it
	in      int
	set     *os.File // the epoll set
	poll    syscall.RawConn
	armed   bool // bytes wake the reader
}

// openSerial opens a port. The descriptor to read from comes first: the library
// then takes the port for itself alone. Where there is none, as when the port is
// busy or not there, the library has the word on why.
func openSerial(name string, mode *serial.Mode) (serial.Port, error) {
	in, err := unix.Open(name, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return serial.Open(name, mode)
	}
	port, err := serial.Open(name, mode)
	if err != nil {
		unix.Close(in)
		return nil, err
	}
	p := &polledPort{Port: port, in: in}
	if err := p.makeSet(); err != nil {
		unix.Close(in)
		return port, nil // waited for by a thread, then
	}
	return p, nil
}

func (p *polledPort) makeSet() error {
	fd, err := unix.EpollCreate1(unix.EPOLL_CLOEXEC)
	if err != nil {
		return err
	}
	err = unix.SetNonblock(fd, true) // what makes the next line poll it
	p.set = os.NewFile(uintptr(fd), "readiness of a port")
	if err == nil {
		err = p.arm(uintptr(fd), unix.EPOLL_CTL_ADD, unix.EPOLLIN)
	}
	if err == nil {
		err = p.set.SetReadDeadline(time.Time{}) // the runtime must be able to
	}
	if err == nil {
		p.poll, err = p.set.SyscallConn()
	}
	if err != nil {
		p.set.Close()
	}
	return err
}

// arm sets which events of the port the set tells.
func (p *polledPort) arm(set uintptr, op int, events uint32) error {
	err := unix.EpollCtl(int(set), op, p.in, &unix.EpollEvent{Events: events, Fd: int32(p.in)})
	p.armed = err == nil && events != 0
	return err
}

// Read returns what has come, or nothing after readPause.
func (p *polledPort) Read(b []byte) (int, error) {
	into := batch{bytes: b}
	err := p.Gather(&into, Now, 0)
	return into.used, err
}

// Gather adds to b what comes: see [gatherer].
func (p *polledPort) Gather(b *batch, clock func() measure.Stamp, hold measure.Stamp) (failed error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	if err := p.set.SetReadDeadline(time.Now().Add(readPause)); err != nil {
		return err
	}
	err := p.poll.Read(func(set uintptr) (done bool) {
		for {
			n, err := p.take(b.free())
			switch {
			case n > 0:
				b.add(n, clock())
				return b.ripe(hold)
			case err == unix.EINTR:
				continue
			case err == unix.EAGAIN:
				if !p.armed {
					failed = p.arm(set, unix.EPOLL_CTL_MOD, unix.EPOLLIN)
				}
				return failed != nil
			case err == 0: // so Linux tells that the converter was pulled
				failed = errPulled
			default:
				failed = fmt.Errorf("read the port: %w", err)
			}
			return true
		}
	})
	if failed == nil && !errors.Is(err, os.ErrDeadlineExceeded) {
		failed = err
	}
	return failed
}

// take reads what is there. The read does not wait, so the runtime need not be
// told of it: telling it wakes its monitor, which costs more than the read.
func (p *polledPort) take(b []byte) (int, syscall.Errno) {
	n, _, err := unix.RawSyscall(unix.SYS_READ, uintptr(p.in), uintptr(unsafe.Pointer(unsafe.SliceData(b))), uintptr(len(b)))
	if err != 0 {
		return 0, err
	}
	return int(n), 0
}

// Doze has bytes wake nobody until the next Gather waits for them.
func (p *polledPort) Doze() (err error) {
	p.reading.Lock()
	defer p.reading.Unlock()
	if !p.armed {
		return nil
	}
	return errors.Join(p.poll.Control(func(set uintptr) { err = p.arm(set, unix.EPOLL_CTL_MOD, 0) }), err)
}

// Close lets go of the port. A reader that waits comes back first.
func (p *polledPort) Close() error {
	err := p.set.Close()
	p.reading.Lock()
	defer p.reading.Unlock()
	if p.in >= 0 {
		err = errors.Join(err, unix.Close(p.in), p.Port.Close())
		p.in = -1
	}
	return err
}
