package device

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"go.bug.st/serial"

	"lobescribe/device/address"
)

// readPause is how often a read comes back without bytes, so that whoever
// reads can be told to stop. Then no descriptor is closed under a reader.
const readPause = 100 * time.Millisecond

// Dial opens the link of an address: a serial port, by name or by USB
// identity, a socket, or a port behind a bridge.
func Dial(ctx context.Context, a address.Address) (Link, error) {
	switch a.Kind {
	case address.Serial:
		return dialSerial(a.Port, a)
	case address.USB:
		port, err := findUSB(ctx, a.USB)
		if err != nil {
			return nil, err
		}
		return dialSerial(port, a)
	case address.TCP:
		return dialTCP(ctx, a.Host)
	case address.RFC2217:
		return dialRFC2217(ctx, a)
	}
	return nil, fmt.Errorf("open %s: this kind of address is not known here", a.Redacted())
}

// serialLink is a serial port.
type serialLink struct {
	serial.Port
	name string
}

// Name returns the port that was opened.
func (l *serialLink) Name() string { return l.name }

// Present reports whether the port still exists. Some systems give no read
// error when a converter is pulled.
func (l *serialLink) Present() bool {
	if runtime.GOOS == "windows" {
		return true // a COM name is no file; there a pulled port ends the read
	}
	_, err := os.Stat(l.name)
	return err == nil
}

// Modem returns the lines that the other side drives.
func (l *serialLink) Modem() (cts, dsr bool, err error) {
	m, err := l.GetModemStatusBits()
	if err != nil {
		return false, false, err
	}
	return m.CTS, m.DSR, nil
}

func dialSerial(name string, a address.Address) (Link, error) {
	if holder, held := holderOf(name); held {
		return nil, busy(name, holder)
	}
	l := a.Line()
	mode := &serial.Mode{BaudRate: l.Baud, DataBits: l.Bits,
		Parity:   serial.Parity(strings.IndexByte("NOEMS", l.Parity)),
		StopBits: map[string]serial.StopBits{"1": serial.OneStopBit, "1.5": serial.OnePointFiveStopBits, "2": serial.TwoStopBits}[l.Stop]}
	p, err := openSerial(name, mode, !pseudo(name))
	if err != nil {
		return nil, openError(name, l, err)
	}
	link := &serialLink{Port: p, name: name}
	if err := link.prepare(a); err != nil {
		p.Close()
		return nil, &OpenError{Port: name, Cause: err, Hint: "unplug the converter and plug it in again"}
	}
	return link, nil
}

// prepare sets what the open left. The modem lines are set after the open and
// only if asked: a pseudo-tty has none and would not open otherwise, and no
// Unix can open a port without raising them for a moment anyhow.
func (l *serialLink) prepare(a address.Address) error {
	if err := l.SetReadTimeout(readPause); err != nil {
		return err
	}
	for _, line := range []struct {
		name string
		want address.Level
		set  func(bool) error
	}{{"dtr", a.DTR, l.SetDTR}, {"rts", a.RTS, l.SetRTS}} {
		if line.want == address.AsIs {
			continue
		}
		if err := line.set(line.want == address.On); err != nil {
			if pseudo(l.name) {
				continue
			}
			return fmt.Errorf("set %s %s: %w", line.name, line.want.String(), err)
		}
	}
	// What the driver kept from before has no known time.
	if err := l.ResetInputBuffer(); err != nil && !pseudo(l.name) {
		return fmt.Errorf("empty the input: %w", err)
	}
	return nil
}

// pseudo reports whether name is a pseudo-tty: it is held open by whoever made
// it and has no modem lines.
func pseudo(name string) bool {
	if real, err := filepath.EvalSymlinks(name); err == nil {
		name = real // a stable name may stand for it
	}
	return strings.HasPrefix(name, "/dev/pts/") || strings.HasPrefix(name, "/dev/ttys0") && runtime.GOOS == "darwin"
}

// openError sorts the errors of an open by what there is to do.
func openError(name string, l address.Line, err error) error {
	e := &OpenError{Port: name, Cause: err}
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case code == serial.PermissionDenied, errors.Is(err, os.ErrPermission):
		if runtime.GOOS == "windows" { // there it means that somebody has it
			return busy(name, "")
		}
		e.Cause = ErrPermission
		e.Hint = permissionHint(name)
	case code == serial.PortBusy, errors.Is(err, ErrBusy):
		holder, _ := holderOf(name)
		return busy(name, holder)
	case code == serial.PortNotFound, errors.Is(err, os.ErrNotExist), missing(name):
		e.Cause = ErrNotFound
		e.Hint = "is it plugged in? `lobescribe ports` lists what is"
	case code == serial.InvalidSerialPort:
		e.Hint = "this is no serial port; `lobescribe ports` lists those there are"
	case code == serial.InvalidSpeed, code == serial.InvalidParity, code == serial.InvalidDataBits, code == serial.InvalidStopBits:
		e.Hint = fmt.Sprintf("the port cannot do %s; try another baud, bits, parity or stop", l)
	}
	return e
}

func busy(name, holder string) error {
	e := &OpenError{Port: name, Cause: ErrBusy}
	if holder != "" {
		e.Hint = fmt.Sprintf("%s holds it; close that program, it is taken up by itself then", holder)
		return e
	}
	e.Hint = "another program holds it; close that program, it is taken up by itself then"
	if runtime.GOOS == "linux" {
		e.Hint += fmt.Sprintf(" (sudo fuser -v %s names it)", name)
	}
	return e
}

func missing(name string) bool {
	if runtime.GOOS == "windows" {
		return false
	}
	_, err := os.Stat(name)
	return errors.Is(err, os.ErrNotExist)
}
