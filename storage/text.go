package storage

import (
	"strings"
	"unicode/utf8"
)

// MostName bounds a name, in letters (Unicode code points).
const MostName = 200

// Unprintable says of a letter that it is none: a control character other than the
// end of a line and a tab, or a mark that turns the order of letters round.
func Unprintable(c rune) bool {
	switch {
	case c == '\n' || c == '\t':
		return false
	case c < ' ', c >= 0x7f && c <= 0x9f, c == 0x061c, c == 0x200e, c == 0x200f,
		c >= 0x2028 && c <= 0x202e, c >= 0x2066 && c <= 0x2069:
		return true
	}
	return false
}

// checkName refuses what is too long for a name, or would be printed as something
// else than it is.
func checkName(bad func(field, format string, args ...any) error, field, text string) error {
	if n := utf8.RuneCountInString(text); n > MostName {
		return bad(field, "has %d letters; a name may have %d", n, MostName)
	}
	if strings.ContainsAny(text, "\n\t") {
		return bad(field, "has more than one line or a tab in it; a name is one line of letters")
	}
	if text != "" && strings.TrimSpace(text) == "" {
		return bad(field, "is nothing but blanks, and would be seen nowhere; write letters, or leave it empty")
	}
	return checkText(bad, field, text)
}

// checkText is checkName for text of several lines and any length.
func checkText(bad func(field, format string, args ...any) error, field, text string) error {
	if !utf8.ValidString(text) {
		return bad(field, "is not UTF-8; type it again")
	}
	for _, c := range text {
		if c == utf8.RuneError { // what JSON's decoder makes of bytes that are no UTF-8
			return bad(field, "holds a letter that did not arrive as it was typed (U+FFFD stands in its place); send UTF-8")
		}
		if Unprintable(c) && c != '\r' {
			return bad(field, "holds the control character U+%04X; leave it out", c)
		}
	}
	return nil
}

// Printable leaves out of a text what is Unprintable.
func Printable(text string) string {
	return strings.Map(func(c rune) rune {
		if Unprintable(c) {
			return -1
		}
		return c
	}, text)
}
