package dial

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"strings"

	"go.bug.st/serial"

	"lobescribe/device/address"
	"lobescribe/device/port"
	"lobescribe/device/ports"
)

// Dial opens the link of an address: a serial port, by name or by USB
// identity, a socket, or a port behind a bridge.
func Dial(ctx context.Context, a address.Address) (port.Link, error) {
	switch a.Kind {
	case address.Serial:
		return serialLink(a.Port, a)
	case address.USB:
		name, err := ports.FindUSB(ctx, a.USB)
		if err != nil {
			return nil, err
		}
		return serialLink(name, a)
	case address.TCP:
		return dialTCP(ctx, a.Host)
	case address.RFC2217:
		return dialRFC2217(ctx, a)
	}
	return nil, fmt.Errorf("open %s: this kind of address is not known here", a.Redacted())
}

func serialLink(name string, a address.Address) (port.Link, error) {
	l, err := Port(name, a)
	if err != nil {
		return nil, err // a nil *Serial must not become a Link
	}
	return l, nil
}

// Serial is a serial port that is open.
type Serial struct {
	serial.Port
	name string
}

// Name returns the port that was opened.
func (l *Serial) Name() string { return l.name }

// Present reports whether the port still exists. Some systems give no read
// error when a converter is pulled.
func (l *Serial) Present() bool {
	if runtime.GOOS == "windows" {
		return true // a COM name is no file; there a pulled port ends the read
	}
	_, err := os.Stat(l.name)
	return err == nil
}

// Modem returns the lines that the other side drives.
func (l *Serial) Modem() (cts, dsr bool, err error) {
	m, err := l.GetModemStatusBits()
	if err != nil {
		return false, false, err
	}
	return m.CTS, m.DSR, nil
}

// Gatherer returns the port as one that can wait for several reads; nil where the
// system has none.
func (l *Serial) Gatherer() port.Gatherer {
	g, _ := l.Port.(port.Gatherer)
	return g
}

// Tune sets the speed, 8N1, and drops what came at the old one.
func (l *Serial) Tune(baud int) error {
	if err := l.SetMode(&serial.Mode{BaudRate: baud, DataBits: 8}); err != nil {
		return err
	}
	if err := l.ResetInputBuffer(); err != nil && !ports.Pseudo(l.name) {
		return err
	}
	return nil
}

// Port opens a serial port by its name, with the line settings of an address.
func Port(name string, a address.Address) (*Serial, error) {
	if holder, held := ports.HolderOf(name); held {
		return nil, Busy(name, holder)
	}
	l := a.Line()
	mode := &serial.Mode{BaudRate: l.Baud, DataBits: l.Bits,
		Parity:   serial.Parity(strings.IndexByte("NOEMS", l.Parity)),
		StopBits: map[string]serial.StopBits{"1": serial.OneStopBit, "1.5": serial.OnePointFiveStopBits, "2": serial.TwoStopBits}[l.Stop]}
	p, err := port.Open(name, mode, !ports.Pseudo(name))
	if err != nil {
		return nil, openError(name, l, err)
	}
	link := &Serial{Port: p, name: name}
	if err := link.prepare(a); err != nil {
		p.Close()
		return nil, &port.OpenError{Port: name, Cause: err, Hint: "unplug the converter and plug it in again"}
	}
	return link, nil
}

// prepare sets what the open left. The modem lines are set after the open and
// only if asked: a pseudo-tty has none and would not open otherwise, and no
// Unix can open a port without raising them for a moment anyhow.
func (l *Serial) prepare(a address.Address) error {
	if err := l.SetReadTimeout(port.ReadPause); err != nil {
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
			if ports.Pseudo(l.name) {
				continue
			}
			return fmt.Errorf("set %s %s: %w", line.name, line.want.String(), err)
		}
	}
	// What the driver kept from before has no known time.
	if err := l.ResetInputBuffer(); err != nil && !ports.Pseudo(l.name) {
		return fmt.Errorf("empty the input: %w", err)
	}
	return nil
}

// openError sorts the errors of an open by what there is to do.
func openError(name string, l address.Line, err error) error {
	e := &port.OpenError{Port: name, Cause: err}
	var pe *serial.PortError
	code := serial.PortErrorCode(-1)
	if errors.As(err, &pe) {
		code = pe.Code()
	}
	switch {
	case code == serial.PermissionDenied, errors.Is(err, os.ErrPermission):
		if runtime.GOOS == "windows" { // there it means that somebody has it
			return Busy(name, "")
		}
		e.Cause = port.ErrPermission
		e.Hint = ports.PermissionHint(name)
	case code == serial.PortBusy, errors.Is(err, port.ErrBusy):
		holder, _ := ports.HolderOf(name)
		return Busy(name, holder)
	case code == serial.PortNotFound, errors.Is(err, os.ErrNotExist), missing(name):
		e.Cause = port.ErrNotFound
		e.Hint = "is it plugged in? `lobescribe ports` lists what is"
	case code == serial.InvalidSerialPort:
		e.Hint = "this is no serial port; `lobescribe ports` lists those there are"
	case code == serial.InvalidSpeed, code == serial.InvalidParity, code == serial.InvalidDataBits, code == serial.InvalidStopBits:
		e.Hint = fmt.Sprintf("the port cannot do %s; try another baud, bits, parity or stop", l)
	}
	return e
}

// Busy is the error of a port that another program holds, with its name where that is known.
func Busy(name, holder string) error {
	e := &port.OpenError{Port: name, Cause: port.ErrBusy}
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
