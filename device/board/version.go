package board

import (
	"fmt"
	"strconv"
	"strings"
)

// Version is that of the firmware in this folder, as protocol.h has it.
const Version = 2

// Hello is how a board's version line begins.
const Hello = "LOBESCRIBE BOARD "

// Said is what a board's version line tells.
type Said struct {
	Version int `json:"version"`
	// Bits is how many bits the indicator sends that it is switched to: 24 or 52;
	// 0 where an old firmware does not tell.
	Bits int `json:"bits,omitempty"`
}

// ParseVersion reads a version line; ok is false for any other text.
func ParseVersion(line string) (s Said, ok bool) {
	rest, ok := strings.CutPrefix(line, Hello)
	if !ok {
		return s, false
	}
	f := strings.Fields(rest)
	if len(f) == 0 {
		return s, false
	}
	n, err := strconv.Atoi(f[0])
	if err != nil || n < 1 {
		return s, false
	}
	s.Version = n
	if len(f) == 3 && f[1] == "BITS" {
		s.Bits, _ = strconv.Atoi(f[2]) // zero where it is no number
	}
	return s, true
}

// Outdated says what to do where a board's firmware is not the one of this folder;
// "" where it is.
func (s Said) Outdated() string {
	switch {
	case s.Version < Version:
		return fmt.Sprintf("its firmware is of version %d, and %d is current: make -C device/board/firmware flash PORT=...", s.Version, Version)
	case s.Version > Version:
		return fmt.Sprintf("its firmware is of version %d, newer than this program knows (%d): get a newer lobescribe", s.Version, Version)
	}
	return ""
}
