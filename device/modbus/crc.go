package modbus

import "time"

// crc16 returns the check of b; its low byte goes first on the wire.
func crc16(b []byte) uint16 {
	crc := uint16(0xFFFF)
	for _, c := range b {
		crc ^= uint16(c)
		for range 8 {
			odd := crc & 1
			crc = crc>>1 ^ 0xA001*odd
		}
	}
	return crc
}

func appendCRC(b []byte) []byte {
	crc := crc16(b)
	return append(b, byte(crc), byte(crc>>8))
}

// checked reports whether frame ends with its CRC.
func checked(frame []byte) bool {
	n := len(frame) - 2
	return n > 0 && crc16(frame[:n]) == uint16(frame[n])|uint16(frame[n+1])<<8
}

// Silence returns how long the line must have been silent before a frame: 3.5
// characters, and 1.750 ms where they are shorter (above 19200 baud).
func Silence(perByte time.Duration) time.Duration {
	return max(perByte*7/2, 1750*time.Microsecond)
}
