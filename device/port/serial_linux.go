package port

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

// polledPause is after what silence a read comes back without bytes: later than
// ReadPause, since a Close ends it at once. Its alarm is put off while bytes come, since
// each time that it rings wakes the processor; but only when polledNear is left of it.
const (
	polledPause = 300 * time.Millisecond
	polledNear  = 270 * time.Millisecond
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
	was     *unix.Termios // the port's settings before
	alarm   int           // a timer of the system's: one of the runtime's wakes its monitor as well
	set     *os.File      // the epoll set of both
	poll    syscall.RawConn
	armed   bool      // bytes wake the reader
	rings   time.Time // when the alarm does; zero: it is set for something else
}

// Open opens a port. The descriptor to read from comes first: the library
// then takes the port for itself alone. Where there is none, as when the port is
// busy or not there, the library has the word on why.
//
// With restore the port gets its settings back when it is closed. A pseudo-tty's
// must stay: whoever made it writes on, and the settings it came with would act on
// what is written meanwhile.
func Open(name string, mode *serial.Mode, restore bool) (serial.Port, error) {
	in, err := unix.Open(name, unix.O_RDONLY|unix.O_NOCTTY|unix.O_NONBLOCK|unix.O_CLOEXEC, 0)
	if err != nil {
		return serial.Open(name, mode)
	}
	// The system keeps a port that is taken from everybody but root: this keeps two
	// daemons of root's off each other.
	if err := unix.Flock(in, unix.LOCK_EX|unix.LOCK_NB); errors.Is(err, unix.EWOULDBLOCK) {
		unix.Close(in)
		return nil, ErrBusy
	}
	var was *unix.Termios
	if restore {
		if t, err := unix.IoctlGetTermios(in, unix.TCGETS2); err == nil {
			was = t
		}
	}
	port, err := serial.Open(name, mode)
	if err != nil {
		unix.Close(in)
		return nil, err
	}
	p := &polledPort{Port: port, in: in, alarm: -1, was: was}
	if err := p.makeSet(); err != nil {
		p.was = nil // the port is kept
		_ = p.closeOwn()
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
	if err != nil {
		return err
	}
	if p.alarm, err = unix.TimerfdCreate(unix.CLOCK_MONOTONIC, unix.TFD_CLOEXEC|unix.TFD_NONBLOCK); err != nil {
		return err
	}
	if err := unix.EpollCtl(fd, unix.EPOLL_CTL_ADD, p.alarm, &unix.EpollEvent{Events: unix.EPOLLIN}); err != nil {
		return err
	}
	if err := p.arm(uintptr(fd), unix.EPOLL_CTL_ADD, unix.EPOLLIN); err != nil {
		return err
	}
	if err := p.set.SetReadDeadline(time.Time{}); err != nil { // the runtime cannot poll it
		return err
	}
	p.poll, err = p.set.SyscallConn()
	return err
}

// arm sets which events of the port the set tells.
func (p *polledPort) arm(set uintptr, op int, events uint32) error {
	err := unix.EpollCtl(int(set), op, p.in, &unix.EpollEvent{Events: events})
	p.armed = err == nil && events != 0
	return err
}

// Read returns what has come, or nothing after ReadPause.
func (p *polledPort) Read(b []byte) (int, error) {
	into := Batch{bytes: b}
	err := p.Gather(&into, func() measure.Stamp { return 0 }, 0)
	return into.used, err
}

// Gather adds to b what comes: see [Gatherer].
func (p *polledPort) Gather(b *Batch, clock func() measure.Stamp, hold measure.Stamp) error {
	p.reading.Lock()
	defer p.reading.Unlock()
	if !p.armed { // it was left to gather
		add := b.Add
		if hold == NextRead {
			add = b.AddRested
		}
		if done, err := p.take(b, add, clock, hold); done {
			return err
		}
		if err := p.wake(unix.EPOLLIN); err != nil {
			return err
		}
	}
	if err := p.putOff(); err != nil {
		return err
	}
	var failed error
	err := p.poll.Read(func(uintptr) (done bool) {
		before := b.used
		done, failed = p.take(b, b.Add, clock, hold)
		if done || b.used > before || !p.rung() {
			return done
		}
		p.rings = time.Time{} // it rings once
		return true
	})
	return errors.Join(failed, err)
}

// putOff sets the alarm, unless it was set just now.
func (p *polledPort) putOff() error {
	if time.Until(p.rings) >= polledNear {
		return nil
	}
	p.rings = time.Now().Add(polledPause)
	return setAlarm(p.alarm, polledPause)
}

// take reads what is there, and reports whether that is all there is to do:
// b is ripe, or the port is lost.
func (p *polledPort) take(b *Batch, add func(int, measure.Stamp), clock func() measure.Stamp, hold measure.Stamp) (done bool, err error) {
	for {
		switch n, err := readNow(p.in, b.Free()); {
		case n > 0:
			add(n, clock())
			return b.Ripe(hold), nil
		case err == unix.EAGAIN:
			return false, nil
		case err == unix.EINTR:
		case err == 0: // so Linux tells that the converter was pulled
			return true, ErrPulled
		default:
			return true, fmt.Errorf("read the port: %w", err)
		}
	}
}

// Rest leaves the port alone for so long: until then bytes wake nobody.
func (p *polledPort) Rest(wait time.Duration) error {
	p.reading.Lock()
	defer p.reading.Unlock()
	if p.armed {
		if err := p.wake(0); err != nil {
			return err
		}
	}
	if err := setAlarm(p.alarm, wait); err != nil {
		return err
	}
	p.rings = time.Time{}
	return p.poll.Read(func(uintptr) (done bool) { return p.rung() })
}

// rung reports whether the alarm has rung since it was last asked.
func (p *polledPort) rung() bool {
	var times [8]byte
	_, err := readNow(p.alarm, times[:])
	return err != unix.EAGAIN
}

// wake sets by which events of the port the reader is woken.
func (p *polledPort) wake(events uint32) (err error) {
	return errors.Join(p.poll.Control(func(set uintptr) { err = p.arm(set, unix.EPOLL_CTL_MOD, events) }), err)
}

// Close lets go of the port. A reader that waits comes back first.
func (p *polledPort) Close() error {
	err := p.set.Close()
	p.reading.Lock()
	defer p.reading.Unlock()
	return errors.Join(err, p.closeOwn(), p.Port.Close())
}

// closeOwn puts the port's settings back to what they were, and closes the
// descriptors that are not the library's.
func (p *polledPort) closeOwn() (err error) {
	if p.was != nil {
		_ = unix.IoctlSetTermios(p.in, unix.TCSETS2, p.was) // of a port that was pulled nothing is left to put back
		p.was = nil
	}
	if p.set != nil {
		p.set.Close() // or has been
	}
	for _, fd := range []*int{&p.in, &p.alarm} {
		if *fd >= 0 {
			err = errors.Join(err, unix.Close(*fd))
			*fd = -1
		}
	}
	return err
}

// What follows calls the system behind the runtime's back. Neither call waits,
// so the runtime need not be told; telling it wakes its monitor, which costs
// more than the call.

func readNow(fd int, b []byte) (int, syscall.Errno) {
	n, _, err := unix.RawSyscall(unix.SYS_READ, uintptr(fd), uintptr(unsafe.Pointer(unsafe.SliceData(b))), uintptr(len(b)))
	if err != 0 {
		return 0, err
	}
	return int(n), 0
}

// setAlarm has the timer ring once, after wait.
func setAlarm(fd int, wait time.Duration) error {
	at := unix.ItimerSpec{Value: unix.NsecToTimespec(int64(max(wait, 1)))}
	if _, _, err := unix.RawSyscall6(unix.SYS_TIMERFD_SETTIME, uintptr(fd), 0, uintptr(unsafe.Pointer(&at)), 0, 0, 0); err != 0 {
		return fmt.Errorf("set a timer: %w", err)
	}
	return nil
}
