//go:build !linux

package ports

// HolderOf cannot be answered here without the system's own tools; the open
// itself says that a port is busy.
func HolderOf(string) (holder string, held bool) { return "", false }

func PermissionHint(string) string {
	return "the port belongs to another account: ask whoever runs this computer for the right to use it"
}
