package shop

import (
	"bytes"
	"fmt"
	"strconv"
)

// The sizes that a server's words may have, in bytes. The client makes room for
// whatever size a message is said to have; NATS' own server allows 64 MB at most
// (MAX_PAYLOAD_MAX_SIZE in its source), and greets with less than one.
const (
	mostMessage  = 64 << 20
	mostGreeting = 1 << 20
)

// sizes follows what a server says in the clear and stops at a message or a line
// that is too large, before the client has made room for it. From TLS on it sees
// nothing, and the certificate vouches for the server. The protocol: docs.nats.io,
// "Client Protocol".
type sizes struct {
	line    []byte // so far
	payload int64  // bytes of it to come, with the line's end behind
	sealed  bool   // by TLS
}

func (s *sizes) see(b []byte) error {
	for len(b) > 0 && !s.sealed {
		if s.payload > 0 {
			n := min(int64(len(b)), s.payload)
			b, s.payload = b[n:], s.payload-n
			continue
		}
		const handshake = 0x16 // how a record of TLS begins (RFC 8446, 5.1), and no line
		if len(s.line) == 0 && b[0] == handshake {
			s.sealed = true
			return nil
		}
		end := bytes.IndexByte(b, '\n')
		if end < 0 {
			end = len(b) - 1
		}
		if len(s.line)+end >= mostGreeting {
			return fmt.Errorf("a line of more than %d bytes came: this is no server of a shop", mostGreeting)
		}
		s.line, b = append(s.line, b[:end+1]...), b[end+1:]
		if s.line[len(s.line)-1] != '\n' {
			return nil
		}
		words := bytes.Fields(s.line)
		s.line = s.line[:0]
		if len(words) < 4 || !bytes.EqualFold(words[0], []byte("MSG")) && !bytes.EqualFold(words[0], []byte("HMSG")) {
			continue
		}
		size, err := strconv.ParseInt(string(words[len(words)-1]), 10, 64)
		if err != nil || size < 0 || size > mostMessage {
			return fmt.Errorf("a message of %.20s bytes came; no server of a shop sends more than %d", words[len(words)-1], mostMessage)
		}
		s.payload = size + 2
	}
	return nil
}
