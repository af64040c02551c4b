package simulator

import "golang.org/x/sys/unix"

const (
	getTermios  = unix.TIOCGETA
	setTermios  = unix.TIOCSETA
	unreadBytes = 0x4004667f // FIONREAD of sys/filio.h, which x/sys does not name here
)

func flushInput(fd int) error {
	const read = 1 // FREAD of sys/fcntl.h
	return unix.IoctlSetPointerInt(fd, unix.TIOCFLUSH, read)
}
