package device

import (
	"slices"

	"lobescribe/device/lines"
	"lobescribe/device/lines/guess"
)

// View returns the last lines and what is taken for what in them, while the
// format is found by listening.
func (s *Source) View() guess.View {
	s.mu.Lock()
	v, f := s.view, s.format
	s.mu.Unlock()
	if f.Name == "" {
		return v
	}
	const enough = 2048 // bytes: some lines
	var raw []byte
	tail := s.RawTail()
	for i := len(tail) - 1; i >= 0 && len(raw) < enough; i-- {
		raw = append(slices.Clone(tail[i].Bytes), raw...)
	}
	return v.Of(f, raw)
}

// Format returns the line format that was found by listening; ok is false while
// none was.
func (s *Source) Format() (f lines.Format, ok bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.format, s.format.Name != ""
}
