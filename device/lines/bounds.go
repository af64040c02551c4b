package lines

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The bounds of what a person's own format may say. Each line that comes is held
// against all of its words, and some of them are printed.
const (
	mostFormatName = 64  // letters
	mostSays       = 200 // letters
	mostWordBytes  = 128 // of what stands in a line
	mostWords      = 256 // tags, statuses, words and beginnings to skip together
	mostPoll       = 64  // bytes
)

// bounded says what of a format is too long, too many, or no text.
func (f Format) bounded() error {
	if n := utf8.RuneCountInString(f.Name); n > mostFormatName {
		return fmt.Errorf("the name has %d letters; it may have %d", n, mostFormatName)
	}
	if strings.ContainsFunc(f.Name, unprintable) {
		return errors.New("the name holds a control character; write letters, digits and -")
	}
	if len(f.Poll) > mostPoll {
		return fmt.Errorf("poll has %d bytes; it may have %d", len(f.Poll), mostPoll)
	}
	says := []string{f.Says}
	words := append([]string{f.Version}, f.Skip...)
	for _, w := range f.Words {
		says, words = append(says, w.Says), append(words, w.Text)
		if w.Says == "" {
			says = append(says, w.Text) // which is told then
		}
	}
	for _, c := range f.Columns {
		words = append(words, c.Tags...)
		for _, s := range c.Status {
			says, words = append(says, s.Says), append(words, s.Text)
		}
	}
	if n := len(words) - 1; n > mostWords {
		return fmt.Errorf("it has %d tags, statuses, words and beginnings to skip; it may have %d, since each line is held against all of them", n, mostWords)
	}
	for _, w := range words {
		if len(w) > mostWordBytes {
			return fmt.Errorf("%.20q and so on has %d bytes; what stands in a line may have %d", w, len(w), mostWordBytes)
		}
	}
	for _, s := range says {
		if n := utf8.RuneCountInString(s); n > mostSays {
			return fmt.Errorf("what %.20q and so on says has %d letters; it may have %d", s, n, mostSays)
		}
		if strings.ContainsFunc(s, unprintable) {
			return fmt.Errorf("%.40q holds a control character, or a mark that turns letters round; leave it out, or give the word says", s)
		}
	}
	return nil
}

func unprintable(r rune) bool { return !unicode.IsPrint(r) }
