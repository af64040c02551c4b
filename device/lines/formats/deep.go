package formats

import (
	"strings"
)

// mostDeep bounds how deep TOML is nested: brackets in brackets, parts of one key.
const mostDeep = 32

// TooDeep returns the line on which TOML text is nested deeper than anything of
// ours, or 0. A decoder takes minutes for a key of a hundred thousand parts.
func TooDeep(text string) (line int) {
	line = 1
	depth, parts, at := 0, 0, 0
	for at < len(text) {
		rest := text[at:]
		switch c := text[at]; {
		case strings.HasPrefix(rest, `"""`), strings.HasPrefix(rest, `'''`):
			end := strings.Index(rest[3:], rest[:3])
			if end < 0 {
				return 0 // the decoder says so
			}
			line += strings.Count(rest[:3+end], "\n")
			at += 3 + end + 3
			continue
		case c == '"' || c == '\'':
			end := 1
			for end < len(rest) && rest[end] != c && rest[end] != '\n' {
				if c == '"' && rest[end] == '\\' {
					end++
				}
				end++
			}
			at += min(end, len(rest))
			if at < len(text) && text[at] == c {
				at++
			}
			continue
		case c == '#':
			end := strings.IndexByte(rest, '\n')
			if end < 0 {
				return 0
			}
			at += end
			continue
		case c == '\n':
			line, parts = line+1, 0
		case c == '[' || c == '{':
			depth, parts = depth+1, 0
		case c == ']' || c == '}':
			depth, parts = max(0, depth-1), 0
		case c == ',' || c == '=':
			parts = 0
		case c == '.':
			parts++
		}
		if depth > mostDeep || parts > mostDeep {
			return line
		}
		at++
	}
	return 0
}
