package shop

import (
	"net/url"
	"strings"
)

// Redact returns the address of a server, or several parted by commas, without
// the name and password that may stand in it: for logs, pages and whatever else
// is shown. What does not read as an address may hold anything and is not shown
// at all.
func Redact(address string) string {
	var parts []string
	for part := range strings.SplitSeq(address, ",") {
		part = strings.TrimSpace(part)
		u, err := url.Parse(part)
		switch {
		case err != nil:
			part = unreadable
		case u.User != nil:
			u.User = nil
			part = u.String()
		case strings.Contains(part, "@"):
			part = unreadable
		}
		parts = append(parts, part)
	}
	return strings.Join(parts, ",")
}

const unreadable = "(unreadable)"
