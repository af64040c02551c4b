package rfc2217

import (
	"encoding/binary"
	"fmt"
	"strconv"
)

// Codes of the com port option, as the client sends them. The bridge answers
// with the code plus 100.
const (
	setBaud      = 1
	setBits      = 2
	setParity    = 3
	setStop      = 4
	setControl   = 5
	notifyLine   = 6
	notifyModem  = 7
	suspend      = 8
	resume       = 9
	setLineMask  = 10
	setModemMask = 11
	purge        = 12
	signature    = 0
	answer       = 100 // added by the bridge
)

// Values of SET-CONTROL and PURGE-DATA.
const (
	controlNoFlow = 1
	controlDTR    = 8 // on; off is 9
	controlRTS    = 11
	purgeReceived = 1
)

// Level is what is asked of DTR and RTS.
type Level uint8

// What can be asked of DTR and RTS.
const (
	AsIs Level = iota
	On
	Off
)

// Settings are how the bridge's port is set. Zero values stand for 9600, 8, N
// and 1, and for modem lines left alone.
type Settings struct {
	Baud     int
	Bits     int    // 5 to 8
	Parity   byte   // N O E M S
	Stop     string // "1", "1.5" or "2"
	DTR, RTS Level
}

// wish is one setting and what it is called.
type wish struct {
	code  byte
	value []byte
	name  string
	print func([]byte) string
}

func number(value []byte) string {
	n := 0
	for _, b := range value {
		n = n<<8 | int(b)
	}
	return strconv.Itoa(n)
}

const parities = " NOEMS"

// wishes returns what must be confirmed. The error says what cannot be asked.
func (s Settings) wishes() ([]wish, error) {
	if s.Baud == 0 {
		s.Baud = 9600
	}
	if s.Bits == 0 {
		s.Bits = 8
	}
	if s.Parity == 0 {
		s.Parity = 'N'
	}
	if s.Stop == "" {
		s.Stop = "1"
	}
	stops := map[string]byte{"1": 1, "2": 2, "1.5": 3}
	parity := byte(0)
	for i := 1; i < len(parities); i++ {
		if parities[i] == s.Parity {
			parity = byte(i)
		}
	}
	if s.Baud < 0 || s.Bits < 5 || s.Bits > 8 || parity == 0 || stops[s.Stop] == 0 {
		return nil, fmt.Errorf("%d baud %d%c%s cannot be asked of a bridge", s.Baud, s.Bits, s.Parity, s.Stop)
	}
	return []wish{
		{setBaud, binary.BigEndian.AppendUint32(nil, uint32(s.Baud)), "baud", number},
		{setBits, []byte{byte(s.Bits)}, "data bits", number},
		{setParity, []byte{parity}, "parity", func(b []byte) string {
			if len(b) == 1 && b[0] > 0 && int(b[0]) < len(parities) {
				return parities[b[0] : b[0]+1]
			}
			return fmt.Sprintf("code %x", b)
		}},
		{setStop, []byte{stops[s.Stop]}, "stop bits", func(b []byte) string {
			for text, code := range stops {
				if len(b) == 1 && b[0] == code {
					return text
				}
			}
			return fmt.Sprintf("code %x", b)
		}},
	}, nil
}

// Lines is what the bridge told of its port.
type Lines struct {
	CTS, DSR, RI, CD bool
	// Told says that the bridge spoke of the modem lines at all.
	Told bool
	// Faults of the line since it was opened.
	Overruns, ParityErrors, FramingErrors, Breaks int64
}

// Bits of NOTIFY-MODEMSTATE and NOTIFY-LINESTATE (RFC 2217; the bits are those
// of the usual UART, from memory).
const (
	modemCTS = 1 << 4
	modemDSR = 1 << 5
	modemRI  = 1 << 6
	modemCD  = 1 << 7

	lineOverrun = 1 << 1
	lineParity  = 1 << 2
	lineFraming = 1 << 3
	lineBreak   = 1 << 4
	lineFaults  = lineOverrun | lineParity | lineFraming | lineBreak
)

func (l *Lines) modem(b byte) {
	l.Told = true
	l.CTS, l.DSR, l.RI, l.CD = b&modemCTS != 0, b&modemDSR != 0, b&modemRI != 0, b&modemCD != 0
}

func (l *Lines) line(b byte) {
	for bit, n := range map[byte]*int64{lineOverrun: &l.Overruns, lineParity: &l.ParityErrors, lineFraming: &l.FramingErrors, lineBreak: &l.Breaks} {
		if b&bit != 0 {
			*n++
		}
	}
}
