package rfc2217

// Telnet commands (RFC 854).
const (
	iac  = 255
	dont = 254
	do   = 253
	wont = 252
	will = 251
	sb   = 250
	se   = 240
)

// Telnet options.
const (
	optBinary   = 0
	optNoGoWait = 3 // suppress go-ahead
	optComPort  = 44
)

// longestSub bounds a subnegotiation. The longest of RFC 2217 is a signature,
// free text.
const longestSub = 256

// telnet takes the commands out of a stream of bytes. It is a pure state
// machine: any split of the bytes gives the same.
type telnet struct {
	// binary is set once the other side has agreed to send bytes as they are;
	// before that a CR alone is sent as CR NUL.
	binary bool

	state  state
	verb   byte // WILL, WONT, DO or DONT, waiting for its option
	sub    []byte
	over   bool // the subnegotiation is too long
	lastCR bool
}

type state uint8

const (
	inData state = iota
	afterIAC
	afterVerb
	inSub
	afterSubIAC
)

// command is a telnet command: a verb with an option, or SB with what stood
// between it and SE. sub is valid until the next byte.
type command struct {
	verb, option byte
	sub          []byte
}

// feed appends the device's bytes among in to dst, and tells of each command.
// It never makes more bytes than it is given; dst may be in[:0].
func (t *telnet) feed(dst, in []byte, on func(command)) []byte {
	for _, b := range in {
		switch t.state {
		case inData:
			switch {
			case b == iac:
				t.state = afterIAC
			case b == 0 && t.lastCR && !t.binary:
				t.lastCR = false
			default:
				t.lastCR = b == '\r'
				dst = append(dst, b)
			}
		case afterIAC:
			t.state = inData
			switch b {
			case iac:
				t.lastCR = false
				dst = append(dst, iac)
			case will, wont, do, dont:
				t.state, t.verb = afterVerb, b
			case sb:
				t.state, t.sub, t.over = inSub, t.sub[:0], false
			} // the rest has no option: no-operation, are-you-there, and so on
		case afterVerb:
			t.state = inData
			on(command{verb: t.verb, option: b})
		case inSub:
			if b == iac {
				t.state = afterSubIAC
				continue
			}
			t.keep(b)
		case afterSubIAC:
			t.state = inSub
			switch b {
			case iac:
				t.keep(iac)
			case se:
				t.state = inData
				if !t.over && len(t.sub) > 0 {
					on(command{verb: sb, option: t.sub[0], sub: t.sub[1:]})
				}
			default: // a command inside is an error: take it, and drop the rest
				t.state = afterIAC
				if b == will || b == wont || b == do || b == dont {
					t.state, t.verb = afterVerb, b
				} else if b == sb {
					t.state, t.sub, t.over = inSub, t.sub[:0], false
				} else {
					t.state = inData
				}
			}
		}
	}
	return dst
}

func (t *telnet) keep(b byte) {
	if len(t.sub) == longestSub {
		t.over = true
		return
	}
	t.sub = append(t.sub, b)
}

// appendData appends bytes for the device: 255 doubled and, unless the other
// side takes bytes as they are, a CR alone as CR NUL.
func appendData(dst, b []byte, binary bool) []byte {
	for i, c := range b {
		dst = append(dst, c)
		switch {
		case c == iac:
			dst = append(dst, iac)
		case c == '\r' && !binary && (i+1 == len(b) || b[i+1] != '\n'):
			dst = append(dst, 0)
		}
	}
	return dst
}

// appendSub appends a subnegotiation of the com port option.
func appendSub(dst []byte, code byte, value ...byte) []byte {
	dst = append(dst, iac, sb, optComPort, code)
	for _, c := range value {
		dst = append(dst, c)
		if c == iac {
			dst = append(dst, iac)
		}
	}
	return append(dst, iac, se)
}
