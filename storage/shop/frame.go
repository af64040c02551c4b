package shop

import (
	"bytes"
	"compress/flate"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
)

// How a message stands in bytes:
//
//	offset  bytes  what
//	0       2      'L' 'm'
//	2       1      version, 1
//	3       1      0: the body as it is; 1: the body deflated (RFC 1951)
//	4       4      CRC-32C of all other bytes, little-endian
//	8       -      body
//
// The body is a uvarint with the length of the JSON, the JSON, and for a part
// the chunk of readings.
const (
	frameVersion = 1
	frameBytes   = 8
	plainBody    = 0
	deflated     = 1
)

// mostBody bounds a body that is inflated; what the stream's own limit lets
// through is a few times less.
const mostBody = 16 << 20

// What can be wrong with a message, for whoever counts.
var (
	// ErrFrame: it is no message of ours, or a part of one.
	ErrFrame = errors.New("not a whole message")
	// ErrChecksum: its bytes were changed on the way.
	ErrChecksum = errors.New("its checksum does not fit its bytes")
	// ErrNewer: it was written by a later version.
	ErrNewer = errors.New("it was written by a newer version")
	// ErrMeaning: it reads, and cannot be.
	ErrMeaning = errors.New("it makes no sense")
	// ErrName: it speaks under another bench's name.
	ErrName = errors.New("it speaks under another name")
)

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Encode returns the message in bytes, and its ID. The same message always has
// the same bytes before they are deflated, and so the same ID.
func Encode(m Message) (frame []byte, id string, err error) {
	if err := m.validate(); err != nil {
		return nil, "", err
	}
	text, err := json.Marshal(m)
	if err != nil {
		return nil, "", fmt.Errorf("writing a message for the shop: %w", err)
	}
	body := binary.AppendUvarint(nil, uint64(len(text)))
	body = append(body, text...)
	if m.Part != nil {
		body = append(body, m.Part.Chunk...)
	}
	id = ID(body)
	frame = make([]byte, frameBytes, frameBytes+len(body))
	frame[0], frame[1], frame[2], frame[3] = 'L', 'm', frameVersion, plainBody
	// Readings are packed as tightly as they get.
	if packed := deflate(body); m.Part == nil && len(packed) < len(body) {
		frame[3], body = deflated, packed
	}
	frame = append(frame, body...)
	binary.LittleEndian.PutUint32(frame[4:], frameSum(frame))
	return frame, id, nil
}

func deflate(body []byte) []byte {
	var b bytes.Buffer
	w, err := flate.NewWriter(&b, flate.BestSpeed)
	if err != nil {
		panic(err) // the level is a constant
	}
	_, _ = w.Write(body) // into memory
	_ = w.Close()
	return b.Bytes()
}

func frameSum(b []byte) uint32 {
	return crc32.Update(crc32.Checksum(b[:4], castagnoli), castagnoli, b[frameBytes:])
}

// Decode reads a message, whose bytes may come from anywhere, and returns its
// ID. The error wraps one of the sentinels above. A part's chunk shares the
// frame's memory.
func Decode(frame []byte) (m Message, id string, err error) {
	fail := func(err error, says string) (Message, string, error) {
		return Message{}, "", fmt.Errorf("%w: %s", err, says)
	}
	if len(frame) < frameBytes || frame[0] != 'L' || frame[1] != 'm' {
		return fail(ErrFrame, "it does not begin as one does")
	}
	if frameSum(frame) != binary.LittleEndian.Uint32(frame[4:]) {
		return Message{}, "", ErrChecksum
	}
	if frame[2] != frameVersion || frame[3] > deflated {
		return fail(ErrNewer, fmt.Sprintf("version %d, coding %d; this program reads version %d", frame[2], frame[3], frameVersion))
	}
	body := frame[frameBytes:]
	if frame[3] == deflated {
		if body, err = io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(body)), mostBody+1)); err != nil {
			return fail(ErrFrame, "it does not inflate")
		}
		if len(body) > mostBody {
			return fail(ErrMeaning, "it is too long")
		}
	}
	size, n := binary.Uvarint(body)
	if n <= 0 || size > uint64(len(body)-n) {
		return fail(ErrFrame, "it breaks off")
	}
	text, rest := body[n:n+int(size)], body[n+int(size):]
	if err := json.Unmarshal(text, &m); err != nil {
		return fail(ErrMeaning, err.Error())
	}
	if m.Part != nil {
		m.Part.Chunk = rest
	} else if len(rest) > 0 {
		return fail(ErrFrame, "something comes after it")
	}
	if err := m.validate(); err != nil {
		return Message{}, "", err
	}
	return m, ID(body), nil
}
